from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    SHAPE_SPREAD,
    FilmType,
    Record,
    compare,
    correct_strip,
    fit_aims,
    fit_curve,
    judge_run,
    measure_strip,
    overlay_aim,
)
from wideroll.sensitometry.richards import density_of
from wideroll.synthetic.strips import StripRecipe, aim_parameters, make_aims, make_strips

COLOUR = (Record.RED, Record.GREEN, Record.BLUE)
NEGATIVE = FilmType.COLOUR_NEGATIVE
X = np.linspace(-3.125, -0.125, 21)


def record_of(film_type):
    """A record that the film type has."""
    return Record.VISUAL if film_type is FilmType.BLACK_AND_WHITE else Record.GREEN


def readings(parameters, seed, sd=0.008, x=X):
    """Noisy readings of a curve."""
    return density_of(parameters, x) + sd * np.random.Generator(np.random.PCG64(seed)).standard_normal(len(x))


def widths(deviation):
    """Half widths of speed, contrast and minimum density."""
    measures = (deviation.speed_log_h, deviation.contrast, deviation.dmin_density)
    return np.array([(measure.high - measure.low) / 2.0 for measure in measures])


@pytest.mark.parametrize("shift", [-0.6, -0.05, 0.3])
@pytest.mark.parametrize(("lift", "stretch"), [(0.05, 0.9), (-0.04, 1.15)])
def test_a_moved_stretched_and_lifted_aim_is_found(film_type, shift, lift, stretch):
    """Whatever moved, stretched or lifted the aim without noise, the overlay finds the very curve and lets it stand."""
    record = record_of(film_type)
    low, rise, place, k, q = aim_parameters(film_type)[record]
    moved = np.array([low + lift, rise, place + shift, k * stretch, q])
    overlay = overlay_aim(fit_curve(X, density_of(moved, X)), fit_aims(make_aims(film_type))[record])
    assert overlay.same_shape
    assert overlay.fit.parameters == pytest.approx(moved, rel=1e-4)


@given(st.integers(0, 10_000), st.sampled_from(list(FilmType)))
@settings(max_examples=15, deadline=None)
def test_no_worse_than_a_general_optimiser(seed, film_type):
    """The sum of squares of readings and ties is never above that of a general optimiser started at the truth."""
    record = record_of(film_type)
    aim, truth = fit_aims(make_aims(film_type))[record], aim_parameters(film_type)[record]
    fit = fit_curve(X, readings(truth, seed), set_aside=False)
    known = aim.parameters[[1, 4]]
    sd = np.array(SHAPE_SPREAD) * [known[0], max(known[1], 0.15)]

    def misfit(p):
        return np.concatenate([(density_of(p, X) - fit.density) / fit.residual_sd, (p[[1, 4]] - known) / sd])

    bounds = ([-1, 0.05, -60, -60, -0.499], [5, 60, 60, 60, 60])
    oracle = optimize.least_squares(misfit, truth, bounds=bounds, x_scale=np.abs(truth))
    assert np.sum(misfit(overlay_aim(fit, aim).fit.parameters) ** 2) <= 2.0 * oracle.cost * (1.0 + 1e-6)


def test_a_small_spread_holds_the_shape(negative, aims):
    """With next to no spread rise and q are the aim's and certain, and the curve is the best of three parameters."""
    aim = fit_aims(aims)[Record.GREEN]
    fit = fit_curve(X, readings(negative, 3))
    laid = overlay_aim(fit, aim, shape_spread=(1e-6, 1e-6)).fit
    _, rise, _, _, q = aim.parameters
    oracle = optimize.least_squares(
        lambda p: density_of(np.array([p[0], rise, p[1], p[2], q]), X) - fit.density,
        negative[[0, 2, 3]],
        x_scale=np.abs(negative[[0, 2, 3]]),
    )
    assert laid.parameters[[1, 4]] == pytest.approx([rise, q], rel=1e-4)
    assert (np.diag(laid.covariance)[[1, 4]] < 1e-10).all()
    assert laid.parameters[[0, 2, 3]] == pytest.approx(oracle.x, rel=1e-4)
    assert laid.degrees_of_freedom == 18


def test_a_wide_spread_leaves_the_free_fit(reversal):
    """With ties that say nothing the curve is the free fit's."""
    fit = fit_curve(X, readings(reversal, 3))
    aim = fit_aims(make_aims(FilmType.COLOUR_REVERSAL))[Record.VISUAL]
    laid = overlay_aim(fit, aim, shape_spread=(1e4, 1e4)).fit
    assert density_of(laid.parameters, X) == pytest.approx(density_of(fit.parameters, X), abs=1e-5)


def test_intervals_are_much_narrower_than_the_free_fit_s(strip_of, aims):
    """On strips of the aim's shape the overlay narrows all deviations of a colour negative by a quarter or more."""
    free, laid = [], []
    for seed in range(10):
        strip, _ = strip_of(seed=seed)
        result = measure_strip(strip, aims)
        for found in result.deviations:
            record = found.record
            laid.append(widths(found))
            free.append(widths(compare(record, result.fits[record], fit_aims(aims)[record], NEGATIVE)))
    assert (np.mean(laid, axis=0) < 0.75 * np.mean(free, axis=0)).all()


def test_shapes_within_the_spread_are_let_stand_and_covered(exact, film_type, log_h):
    """Over 40 strips with rise or skew 10 % off, the intervals hold the truth in at least 90 % and few are flagged."""
    record = record_of(film_type)
    aim = fit_aims(make_aims(film_type))[record]
    inside, flagged = [], []
    for seed in range(40):
        field = ("rise_factor", "skew_factor")[seed % 2]
        made = make_strips(
            StripRecipe(name="1", film_type=film_type, seed=seed, **{field: {record: 1.1 if seed % 4 < 2 else 0.9}})
        )
        strip, truth = made.strips[0], made.truth["1"].parameters[record]
        fit = fit_curve(strip.log_h, strip.density[record])
        overlay = overlay_aim(fit, aim)
        found = compare(record, fit, aim, film_type, overlay=overlay)
        true = compare(record, exact(truth, log_h), aim, film_type)
        flagged.append(not overlay.same_shape)
        for name in ("speed_log_h", "contrast", "dmin_density"):
            measure = getattr(found, name)
            inside.append(measure.low <= getattr(true, name).value <= measure.high)
    assert np.mean(inside) >= 0.90
    assert np.mean(flagged) <= 0.10


def test_another_shape_is_told_and_read_off_the_free_fit(strip_of):
    """A reversal record of a fifth less rise is flagged in a note, and its deviations are the free fit's."""
    film_type = FilmType.COLOUR_REVERSAL
    strip, _ = strip_of(film_type=film_type, rise_factor={Record.GREEN: 0.8}, seed=2)
    result = measure_strip(strip, make_aims(film_type))
    flagged = {d.record: "shape differs from aim" in d.speed_log_h.note for d in result.deviations}
    assert flagged == {Record.RED: False, Record.GREEN: True, Record.BLUE: False, Record.VISUAL: False}
    aim = fit_aims(make_aims(film_type))[Record.GREEN]
    free = compare(Record.GREEN, result.fits[Record.GREEN], aim, film_type)
    found = next(d for d in result.deviations if d.record is Record.GREEN)
    assert found.speed_log_h.value == free.speed_log_h.value
    assert found.contrast.note == found.dmin_density.note == "shape differs from aim"


def test_the_worst_place_and_the_drawn_curve_stay_the_free_fit_s(strip_of, aims):
    """Worst density and the fits of the result don't come from the overlay, so they see a change of shape."""
    strip, _ = strip_of(seed=4)
    result = measure_strip(strip, aims)
    for found in result.deviations:
        free = fit_curve(strip.log_h, strip.density[found.record])
        assert np.array_equal(result.fits[found.record].parameters, free.parameters)
        alone = compare(found.record, free, fit_aims(aims)[found.record], NEGATIVE)
        assert found.worst_density == alone.worst_density


def test_the_same_readings_are_set_aside(strip_of, aims):
    """A faulty step is left out of the overlay as it is of the free fit, and the aim's shape still stands."""
    strip, _ = strip_of(seed=5, faulty_steps={9: 0.2})
    for record in COLOUR:
        fit = fit_curve(strip.log_h, strip.density[record])
        overlay = overlay_aim(fit, fit_aims(aims)[record])
        assert fit.faulty_steps == overlay.fit.faulty_steps == (9,)
        assert np.array_equal(fit.used, overlay.fit.used)
        assert overlay.same_shape


def test_six_readings_are_enough(strip_of, aims):
    """Six steps give finite intervals that hold the truth; with five there is nothing to test the shape by."""
    strip, _ = strip_of(seed=1, noise_sd=0.002, shift_log_h=dict.fromkeys(COLOUR, 0.05))
    few = replace(strip, density={r: np.where(np.arange(21) % 4 == 0, d, np.nan) for r, d in strip.density.items()})
    for found in measure_strip(few, aims).deviations:
        assert found.speed_log_h.low < 0.05 < found.speed_log_h.high < 1.0
    five = fit_curve(X[:20:4], strip.density[Record.RED][:20:4])
    assert overlay_aim(five, fit_aims(aims)[Record.RED]).p_value == 1.0


def test_a_toe_that_was_not_read_is_still_extrapolated(strip_of, aims):
    """Without the steps of the toe the deviations are extrapolated and say why, though the shape is known."""
    strip, _ = strip_of(seed=1)
    cut = {r: np.where(np.arange(21) < 11, np.nan, d) for r, d in strip.density.items()}
    for found in measure_strip(replace(strip, density=cut), aims).deviations:
        assert found.speed_log_h.extrapolated
        assert found.dmin_density.extrapolated
        assert "the toe isn't reached" in found.dmin_density.note


def test_an_error_all_steps_share_widens_the_minimum_and_is_no_change_of_shape(negative, aims):
    """A common error of 0.05 goes into the minimum density at full size and isn't taken for another shape."""
    aim = fit_aims(aims)[Record.GREEN]
    density = readings(negative, 3)
    shared = np.full((21, 21), 0.05**2)
    plain, lifted = (
        overlay_aim(fit_curve(X, density), aim),
        overlay_aim(fit_curve(X, density + 0.05, shared_covariance=shared), aim, shared_covariance=shared),
    )
    assert lifted.same_shape
    sd = np.sqrt(lifted.fit.covariance[0, 0] - plain.fit.covariance[0, 0])
    assert sd == pytest.approx(0.05 * lifted.fit.residual_sd / 0.008, rel=0.6)


def test_a_shape_within_the_correction_s_error_is_not_flagged():
    """Shape that a process correction may have brought in, by its covariance, is not held against the film."""
    film_type = FilmType.COLOUR_REVERSAL
    aim, truth = fit_aims(make_aims(film_type))[Record.GREEN], aim_parameters(film_type)[Record.GREEN]
    other = truth.copy()
    other[1] *= 0.8
    brought = density_of(other, X) - density_of(truth, X)
    density = density_of(other, X) + readings(truth, 1) - density_of(truth, X)
    fit = fit_curve(X, density)
    assert not overlay_aim(fit, aim).same_shape
    assert overlay_aim(fit, aim, shared_covariance=np.outer(brought, brought)).same_shape


def test_corrected_deviations_hold_the_truth_as_often_as_they_say(aims):
    """Over 30 runs with one reference each, 95 % intervals of corrected deviations hold the truth in at least 90 %."""
    inside = []
    for seed in range(30):
        process = {"film_type": NEGATIVE, "process_fog": 0.02, "process_factor": 1.03}
        made = make_strips(
            [
                StripRecipe(name="R", seed=2 * seed, **process),
                StripRecipe(name="C", seed=2 * seed + 1, shift_log_h=dict.fromkeys(COLOUR, 0.04), **process),
            ]
        ).strips
        run = judge_run("1", made[:1], made[1:], aims, 0.2)
        for found in measure_strip(correct_strip(made[1], run), aims).deviations:
            inside.append(found.speed_log_h.low <= 0.04 <= found.speed_log_h.high)
            inside.append(found.contrast.low <= 0.0 <= found.contrast.high)
            inside.append(found.dmin_density.low <= 0.0 <= found.dmin_density.high)
    assert np.mean(inside) >= 0.90


def test_bad_arguments_are_refused(negative, aims):
    """A spread that isn't positive and a shared covariance of the wrong shape are refused by name."""
    fit, aim = fit_curve(X, readings(negative, 3)), fit_aims(aims)[Record.GREEN]
    with pytest.raises(ArgumentError, match="shape_spread"):
        overlay_aim(fit, aim, shape_spread=(0.0, 0.2))
    with pytest.raises(ArgumentError, match="shared_covariance"):
        overlay_aim(fit, aim, shared_covariance=np.eye(3))


@pytest.mark.parametrize("film_type", [NEGATIVE, FilmType.COLOUR_REVERSAL])
def test_what_a_run_shares_is_how_far_its_error_moves_the_deviations(strip_of, film_type):
    """An error of one standard deviation that all steps share moves each deviation by its run's part."""
    strip, _ = strip_of(film_type=film_type, seed=3)
    record, error = Record.GREEN, 0.01 + 0.004 * X
    aims = make_aims(film_type)
    covariance = {r: np.outer(error, error) for r in strip.density}
    moved = {r: d + error for r, d in strip.density.items()}
    at, beside = (
        next(d for d in measure_strip(one, aims).deviations if d.record is record)
        for one in (
            replace(strip, shared_covariance=covariance),
            replace(strip, shared_covariance=covariance, density=moved),
        )
    )
    for name in ("speed_log_h", "contrast", "dmin_density"):
        one, other = getattr(at, name), getattr(beside, name)
        assert one.run_uncertainty == pytest.approx(abs(other.value - one.value), rel=0.25, abs=2e-4)
        parts = one.run_uncertainty**2 + one.batch_uncertainty**2
        assert parts < one.standard_uncertainty**2


def test_what_a_batch_shares_is_how_far_other_ties_move_the_deviations(strip_of):
    """Ties moved by one standard deviation each move the deviations, added in squares, by the batch's part."""
    film_type = FilmType.COLOUR_REVERSAL
    strip, _ = strip_of(film_type=film_type, seed=3)
    record, aims = Record.GREEN, make_aims(film_type)
    fit, aim = fit_curve(strip.log_h, strip.density[record]), fit_aims(aims)[record]

    def read(tied_to):
        overlay = overlay_aim(fit, tied_to)
        assert overlay.same_shape
        found = compare(record, fit, aim, film_type, overlay=overlay)
        return found.speed_log_h, found.contrast, found.dmin_density

    others = []
    for place, spread in ((1, SHAPE_SPREAD[0]), (4, SHAPE_SPREAD[1])):
        parameters = aim.parameters.copy()
        parameters[place] *= 1.0 + 0.2 * spread
        others.append(read(replace(aim, parameters=parameters)))
    for n, found in enumerate(read(aim)):
        by_ties = [(other[n].value - found.value) / 0.2 for other in others]
        assert found.batch_uncertainty == pytest.approx(np.hypot(*by_ties), rel=0.25, abs=1e-4)
        assert found.run_uncertainty == 0.0


def test_a_free_fit_shares_nothing_with_its_batch(strip_of):
    """Where the shape differs no tie is used: the batch's part is nought, the run's that of the free fit."""
    film_type = FilmType.COLOUR_REVERSAL
    strip, _ = strip_of(film_type=film_type, rise_factor={Record.GREEN: 0.8}, seed=2)
    lifted = replace(strip, shared_covariance={r: np.full((21, 21), 0.01**2) for r in strip.density})
    found = next(d for d in measure_strip(lifted, make_aims(film_type)).deviations if d.record is Record.GREEN)
    assert "shape differs from aim" in found.dmin_density.note
    assert found.dmin_density.batch_uncertainty == 0.0
    assert found.dmin_density.run_uncertainty == pytest.approx(0.01, rel=1e-3)
