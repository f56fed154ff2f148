"""Records against one another."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    FilmType,
    Record,
    compare_records,
    fit_aims,
    fit_curve,
    measure_strip,
    parallelism,
)
from wideroll.sensitometry.richards import density_of
from wideroll.synthetic.strips import StripRecipe, aim_parameters, make_aims, make_strips

NEGATIVE = FilmType.COLOUR_NEGATIVE
X = np.linspace(-3.125, -0.125, 21)
COLOUR = (Record.RED, Record.GREEN, Record.BLUE)


def made(seed=0, **fields):
    """Fits of one invented colour negative."""
    strip = make_strips(StripRecipe(**{"name": "1", "film_type": NEGATIVE, "seed": seed, **fields})).strips[0]
    return {record: fit_curve(strip.log_h, density) for record, density in strip.density.items()}


def pair_of(fits, first=Record.RED, second=Record.GREEN, **options):
    """One pair of a strip against the colour negative's aims."""
    pairs = compare_records(fits, fit_aims(make_aims(NEGATIVE)), NEGATIVE, **options)
    return next(pair for pair in pairs if (pair.first, pair.second) == (first, second))


@given(st.floats(-0.3, 0.3), st.floats(-0.1, 0.1))
@settings(max_examples=15, deadline=None)
def test_moving_all_records_alike_changes_no_balance(shift, lift):
    """A strip all of whose records are slower or denser alike keeps spacing, slopes and spread of the aim."""
    every = dict.fromkeys(COLOUR, 1.0)
    fits = made(
        noise_sd=0.0,
        shift_log_h=dict.fromkeys(every, shift),
        dmin_offset=dict.fromkeys(every, lift),
        step_density=np.arange(31) * 0.15,
    )
    pair = pair_of(fits)
    assert pair.spacing_off.value == pytest.approx(0.0, abs=1e-4)
    assert pair.slope_ratio.value == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("shift", [-0.08, 0.05])
def test_one_slow_record_is_found_by_spacing_and_shift(shift):
    """Red slower by so much shows in the spacing of the speed points and in the shift that would align it."""
    pair = pair_of(made(noise_sd=0.0, shift_log_h={Record.RED: shift}))
    assert pair.spacing_off.value == pytest.approx(shift, abs=1e-4)
    assert pair.shift.value == pytest.approx(shift, abs=1e-3)
    assert pair.slope_ratio.value == pytest.approx(1.0, abs=1e-4)


def test_the_aligning_shift_is_the_best_there_is():
    """No other shift leaves less scatter between the records, as a general minimiser finds it."""
    fits = made(seed=3, shift_log_h={Record.RED: 0.06}, contrast_factor={Record.RED: 1.05})
    aims = fit_aims(make_aims(NEGATIVE))
    pair = pair_of(fits)

    def scatter(moved):
        first, second = fits[Record.RED].parameters, fits[Record.GREEN].parameters
        wanted = density_of(aims[Record.RED].parameters, pair.log_h)
        wanted = wanted - density_of(aims[Record.GREEN].parameters, pair.log_h)
        left = density_of(first, pair.log_h + moved) - density_of(second, pair.log_h) - wanted
        return float(np.var(left))

    best = optimize.minimize_scalar(scatter, bounds=(-0.3, 0.3), method="bounded", options={"xatol": 1e-9})
    assert pair.shift.value == pytest.approx(best.x, abs=1e-5)


def test_a_steeper_record_shows_in_ratio_spread_and_crossover():
    """Red 8 % steeper: the ratio holds it, and colours cross where the truth's difference changes sign."""
    recipe = {"contrast_factor": {Record.RED: 1.08}, "shift_log_h": {Record.RED: 0.06}, "noise_sd": 0.002}
    strip = make_strips(StripRecipe(name="1", film_type=NEGATIVE, seed=6, **recipe))
    fits = {record: fit_curve(X, density) for record, density in strip.strips[0].density.items()}
    pair = pair_of(fits)
    truth, aim = strip.truth["1"].parameters, aim_parameters(NEGATIVE)
    off = density_of(truth[Record.RED], X) - density_of(aim[Record.RED], X)
    first, last = pair.log_h[[0, -1]]
    middle = (first < X) & (last > X)
    crossing = float(np.interp(0.0, off[middle], X[middle]))
    exact = pair_of(made(**{**recipe, "noise_sd": 0.0}))
    assert pair.slope_ratio.low < exact.slope_ratio.value < pair.slope_ratio.high
    assert pair.slope_ratio.low > 1.02
    assert pair.spread.low > 0.0
    assert pair.crossover.low < crossing < pair.crossover.high
    assert pair.crossover.high - pair.crossover.low < 0.5


def test_records_on_aim_show_no_crossover():
    """Where the records can't be told from parallel, no place of crossing over is given, and the note says so."""
    pair = pair_of(made(seed=1))
    assert np.isnan(pair.crossover.value)
    assert "none shown" in pair.crossover.note


def test_swapping_the_records_changes_signs_only():
    """Second against first is first against second with the sign, or the ratio, turned round."""
    fits = made(seed=2, shift_log_h={Record.RED: 0.05})
    aims = fit_aims(make_aims(NEGATIVE))
    one = compare_records({r: fits[r] for r in (Record.RED, Record.GREEN)}, aims, NEGATIVE)[0]
    other = compare_records({r: fits[r] for r in (Record.GREEN, Record.RED)}, aims, NEGATIVE)[0]
    assert other.spacing_off.value == pytest.approx(-one.spacing_off.value)
    assert other.slope_ratio.value == pytest.approx(1.0 / one.slope_ratio.value)
    assert other.spread.value == pytest.approx(one.spread.value)
    assert other.shift.value == pytest.approx(-one.shift.value, abs=0.01)


def test_what_all_records_share_widens_nothing():
    """An uncertain level of exposure widens each speed point, and no spacing, ratio or shift between records."""
    strip = make_strips(StripRecipe(name="1", film_type=NEGATIVE, seed=4)).strips[0]
    sure, unsure = (measure_strip(replace(strip, log_h_sd=sd), make_aims(NEGATIVE)) for sd in (0.0, 0.05))
    for one, other in zip(sure.pairs, unsure.pairs, strict=True):
        for name in ("spacing_off", "slope_ratio", "shift", "spread"):
            a, b = getattr(one, name), getattr(other, name)
            assert (b.low, b.high) == pytest.approx((a.low, a.high))
    widths = [next(m for m in r.measures if m.name == "speed point").standard_uncertainty for r in (sure, unsure)]
    assert widths[1] == pytest.approx(np.hypot(widths[0], 0.05), rel=1e-6)


def test_without_aims_records_are_held_against_a_constant_distance():
    """A bare strip whose records are one curve at three heights is parallel."""
    low, rise, place, k, q = aim_parameters(NEGATIVE)[Record.GREEN]
    curves = [np.array([low + lift, rise, place, k, q]) for lift in (0.0, 0.2, 0.4)]
    fits = {record: fit_curve(X, density_of(p, X)) for record, p in zip(COLOUR, curves, strict=True)}
    assert len(compare_records(fits, {})) == 3
    assert parallelism(fits, {}).value == pytest.approx(0.0, abs=1e-6)


def test_one_record_makes_no_pair():
    """Black-and-white film has nothing to run parallel with."""
    fits = {Record.VISUAL: made()[Record.RED]}
    assert compare_records(fits, {}) == ()
    assert parallelism(fits, {}) is None


@pytest.mark.parametrize("name", ["spacing_off", "slope_ratio", "shift"])
def test_intervals_hold_the_truth_as_often_as_they_say(name):
    """Over 120 strips of three pairs each, 95 % intervals hold the true value in 90 to 99.5 %."""
    aims = fit_aims(make_aims(NEGATIVE))
    shift = {Record.RED: 0.04, Record.BLUE: -0.03}
    exact = compare_records(made(noise_sd=0.0, shift_log_h=shift), aims, NEGATIVE)
    held = []
    for seed in range(120):
        found = compare_records(made(seed=seed, shift_log_h=shift), aims, NEGATIVE)
        for truth, pair in zip(exact, found, strict=True):
            measure = getattr(pair, name)
            held.append(measure.low <= getattr(truth, name).value <= measure.high)
    assert 0.90 <= np.mean(held) <= 0.995


def test_readings_that_miss_the_useful_range_are_said_to():
    """A strip whose exposures lie beside the aim's useful range has measures that can't be believed, and says why."""
    low, rise, _, k, q = aim_parameters(NEGATIVE)[Record.RED]
    far = np.linspace(2.0, 5.0, 21)
    fits = {r: fit_curve(far, density_of(np.array([low, rise, 3.5, k, q]), far)) for r in (Record.RED, Record.GREEN)}
    pair = pair_of(fits)
    assert pair.spread.extrapolated
    assert "don't cover" in pair.spread.note
    assert len(pair.log_h) == 0


def test_confidence_must_be_a_probability():
    """A confidence of 95 instead of 0.95 is refused."""
    with pytest.raises(ArgumentError, match="confidence"):
        compare_records(made(), {}, confidence=95)


def test_parallel_records_are_told_from_crossed_ones_as_often_as_stated():
    """Over 100 strips on aim the spread's 95 % interval reaches down to nought in at least 92 %, for each pair."""
    aims = fit_aims(make_aims(NEGATIVE))
    reaches = [[pair.spread.low <= 0.0 for pair in compare_records(made(seed=seed), aims)] for seed in range(100)]
    assert (np.mean(reaches, axis=0) >= 0.92).all()
