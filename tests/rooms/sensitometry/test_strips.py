import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    Aims,
    Curve,
    FilmType,
    Record,
    Strip,
    StripKind,
    compare,
    fit_aims,
    measure_strip,
    parallelism,
)
from wideroll.synthetic.strips import make_aims

COLOUR = (Record.RED, Record.GREEN, Record.BLUE)


def named(result, name, record=None):
    """The measure of that name and record."""
    return next(m for m in result.measures if m.name == name and m.record == record)


def test_a_strip_on_aim_deviates_by_nothing(film_type, strip_of):
    """A noise-free strip on aim has no deviation of any kind, for every film type."""
    strip, _ = strip_of(film_type=film_type, noise_sd=0.0)
    result = measure_strip(strip, make_aims(film_type))
    assert result.usable
    for deviation in result.deviations:
        for measure in (deviation.speed_log_h, deviation.contrast, deviation.dmin_density, deviation.worst_density):
            assert measure.value == pytest.approx(0.0, abs=1e-6)
            assert not measure.extrapolated


def test_true_shifts_are_found(strip_of, aims):
    """Noise-free shifts of speed and minimum density are found to 0.0001, each in its own record."""
    strip, truth = strip_of(
        noise_sd=0.0, shift_log_h={Record.RED: 0.08, Record.BLUE: -0.05}, dmin_offset={Record.GREEN: 0.03}
    )
    for deviation in measure_strip(strip, aims).deviations:
        assert deviation.speed_log_h.value == pytest.approx(truth.shift_log_h[deviation.record], abs=1e-4)
        assert deviation.dmin_density.value == pytest.approx(truth.dmin_offset[deviation.record], abs=1e-4)


def test_contrast_deviation_follows_the_factor(strip_of, aims):
    """A curve stretched by 10 % has an average gradient 8 to 14 % up and its speed point where it was."""
    strip, _ = strip_of(noise_sd=0.0, contrast_factor=dict.fromkeys(COLOUR, 1.10))
    for deviation in measure_strip(strip, aims).deviations:
        assert 0.08 < deviation.contrast.value < 0.14
        assert deviation.speed_log_h.value == pytest.approx(0.0, abs=1e-4)


def test_deviations_against_truth_stay_within_their_intervals(exact, strip_of, aims, log_h):
    """Over 40 noisy strips the 95 % intervals of all deviations hold the truth in at least 92 % of cases."""
    inside = []
    aim_fits = fit_aims(aims)
    for seed in range(40):
        strip, truth = strip_of(seed=seed, shift_log_h={Record.RED: 0.06}, contrast_factor={Record.BLUE: 1.05})
        for found in measure_strip(strip, aims).deviations:
            true_fit = exact(truth.parameters[found.record], log_h)
            true = compare(found.record, true_fit, aim_fits[found.record], FilmType.COLOUR_NEGATIVE)
            for field in ("speed_log_h", "contrast", "dmin_density"):
                measure = getattr(found, field)
                inside.append(measure.low <= getattr(true, field).value <= measure.high)
    assert np.mean(inside) >= 0.92


def test_the_worst_place_is_where_the_strip_was_lifted(strip_of, aims):
    """A lift by 0.05 throughout is a worst deviation of +0.05; a drop is one of −0.05."""
    for lift in (0.05, -0.05):
        strip, _ = strip_of(noise_sd=0.0, dmin_offset=dict.fromkeys(COLOUR, lift))
        for deviation in measure_strip(strip, aims).deviations:
            assert deviation.worst_density.value == pytest.approx(lift, abs=1e-5)


def test_records_that_move_together_stay_parallel(strip_of, aims):
    """A lift common to all records leaves them parallel; a red record of other contrast doesn't."""
    together, _ = strip_of(noise_sd=0.0, dmin_offset=dict.fromkeys(COLOUR, 0.04))
    crossed, _ = strip_of(noise_sd=0.0, contrast_factor={Record.RED: 1.1})
    assert named(measure_strip(together, aims), "parallelism").value == pytest.approx(0.0, abs=1e-5)
    found = named(measure_strip(crossed, aims), "parallelism")
    assert found.value > 0.05
    assert "red" in found.note


def test_one_record_cannot_be_parallel(strip_of, aims):
    """With one record there is no parallelism to state."""
    strip, _ = strip_of()
    fits = {Record.GREEN: measure_strip(strip, aims).fits[Record.GREEN]}
    assert parallelism(fits, fit_aims(aims)) is None


def test_parallelism_off_the_readings_is_not_made_up(exact, aims, negative):
    """Readings that miss the useful range give NaN, marked as extrapolated."""
    far = exact(negative, np.linspace(2.0, 5.0, 21))
    found = parallelism({Record.RED: far, Record.GREEN: far}, fit_aims(aims))
    assert math.isnan(found.value)
    assert found.extrapolated


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: {r: v for r, v in d.items() if r is not Record.BLUE}, "blue: not read"),
        (lambda d: {**d, Record.RED: np.full(21, np.nan)}, "red: needs at least 5 usable readings, has 0"),
        (lambda d: {**d, Record.RED: np.full(21, 0.25)}, "red: needs not all equal"),
        (lambda d: {**d, Record.RED: 0.25 + 0.01 * np.sin(np.arange(21.0))}, "red: density spans only"),
        (lambda d: {r: v[::-1] for r, v in d.items()}, "are the steps reversed"),
        (
            lambda d: {**d, Record.GREEN: d[Record.GREEN] + 0.2 * np.cos(7.0 * np.arange(21.0))},
            "green: readings scatter",
        ),
        (lambda d: {**d, Record.GREEN: np.where(np.arange(21) % 5 == 0, d[Record.GREEN], np.nan)}, "green: 5 readings"),
    ],
)
def test_a_strip_that_says_nothing_is_unusable_with_a_reason(strip_of, aims, change, words):
    """A missing record, unread or level steps, reversed steps or wild readings make evidence unusable, not an error."""
    strip, _ = strip_of(seed=4)
    result = measure_strip(replace(strip, density=change(strip.density)), aims)
    assert not result.usable
    assert words in result.why
    assert result.measures == result.deviations == ()


def test_a_bare_strip_is_measured_but_not_compared(strip_of):
    """Without aims there are measures and no deviations; speed only when the film type is told."""
    strip, _ = strip_of()
    bare, told = measure_strip(strip, None), measure_strip(strip, None, film_type=FilmType.COLOUR_NEGATIVE)
    assert bare.usable
    assert bare.deviations == told.deviations == ()
    assert not [m for m in bare.measures if "speed" in m.name]
    assert [m.name for m in told.measures if "speed" in m.name].count("speed point") == 3
    assert named(told, "ISO 5800 speed").note.startswith("ISO 100/21°")


def test_clipped_readings_do_not_bend_the_curve(strip_of, aims):
    """Readings at the densitometer's limit are left out when the limit is told."""
    strip, _ = strip_of(noise_sd=0.0)
    clipped = replace(strip, density={r: np.minimum(v, 1.7) for r, v in strip.density.items()})
    result = measure_strip(clipped, aims, clip_density=1.7)
    assert result.deviations[2].speed_log_h.value == pytest.approx(0.0, abs=1e-3)


def test_an_aim_that_cannot_be_fitted_is_the_callers_fault(strip_of):
    """An aim of two points is refused by its record's name."""
    strip, _ = strip_of()
    curve = Curve(log_h=np.array([-3.0, 0.0]), density=np.array([0.2, 1.5]))
    short = Aims(film_type=FilmType.COLOUR_NEGATIVE, curves=dict.fromkeys(COLOUR, curve), tolerance_density=0.05)
    with pytest.raises(ArgumentError, match="aims, red"):
        measure_strip(strip, short)


def test_a_changed_aim_is_not_remembered(strip_of, aims):
    """Aims are compared by their values: another table gives other deviations."""
    strip, _ = strip_of(noise_sd=0.0)
    lifted = {r: Curve(log_h=c.log_h, density=c.density + 0.1) for r, c in aims.curves.items()}
    result = measure_strip(strip, replace(aims, curves=lifted))
    assert all(d.dmin_density.value == pytest.approx(-0.1, abs=1e-5) for d in result.deviations)


def test_same_strip_same_result(strip_of, aims):
    """Measuring a strip twice gives the same numbers to the last bit."""
    strip, _ = strip_of(seed=6)
    first, second = measure_strip(strip, aims), measure_strip(strip, aims)
    assert first.measures == second.measures
    assert first.deviations == second.deviations


@given(
    arrays(
        np.float64,
        21,
        elements=st.one_of(st.just(np.nan), st.just(0.2), st.just(4.0), st.floats(-0.5, 6.0), st.floats(0.2, 0.21)),
    ),
    st.sampled_from(list(FilmType)),
)
@settings(max_examples=60, deadline=None)
def test_no_readings_break_the_measuring(density, film_type):
    """Whatever the densitometer read, the strip is measured or unusable with a reason; nothing raises or warns."""
    strip = Strip(
        name="1", kind=StripKind.CHECK, run="", log_h=np.linspace(-3, 0, 21), density=dict.fromkeys(Record, density)
    )
    result = measure_strip(strip, make_aims(film_type))
    assert result.usable == (result.why == "")
    assert result.usable == bool(result.measures)


def test_a_curve_that_steps_between_two_readings_says_nothing():
    """Where density jumps from toe to shoulder between two steps nobody knows where: the strip can't be used."""
    x = np.linspace(-3.125, -0.125, 21)
    steep = 0.2 + 2.0 * (x > -1.5) + 0.004 * np.cos(40.0 * x)
    strip = Strip(name="1", kind=StripKind.CHECK, run="", log_h=x, density={Record.VISUAL: steep})
    result = measure_strip(strip, None, film_type=FilmType.BLACK_AND_WHITE)
    assert not result.usable
    assert "lie between toe and shoulder" in result.why
