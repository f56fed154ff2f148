import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    FilmType,
    Record,
    density_at,
    density_band,
    fit_curve,
    gradient_at,
    log_h_at,
)
from wideroll.sensitometry.richards import density_of
from wideroll.synthetic.strips import aim_parameters


def noisy(parameters, log_h, seed, sd=0.008):
    """Readings of a curve."""
    noise = np.random.Generator(np.random.PCG64(seed))
    return density_of(parameters, log_h) + sd * noise.standard_normal(len(log_h))


def test_noise_free_parameters_are_recovered(film_type, log_h):
    """Readings without noise give back the parameters they were made with, for every film type."""
    for parameters in aim_parameters(film_type).values():
        fit = fit_curve(log_h, density_of(parameters, log_h))
        assert fit.parameters == pytest.approx(parameters, rel=1e-5)
        assert fit.used.all()
        assert fit.residual_sd < 1e-8


@given(st.integers(0, 10_000), st.sampled_from(list(FilmType)))
@settings(max_examples=25, deadline=None)
def test_no_worse_than_a_general_fit_from_the_truth(seed, film_type):
    """The sum of squares is never above that of a general optimiser started at the true parameters."""
    log_h = np.linspace(-3.125, -0.125, 21)
    truth = aim_parameters(film_type)[Record.VISUAL if film_type is FilmType.BLACK_AND_WHITE else Record.GREEN]
    density = noisy(truth, log_h, seed)
    fit = fit_curve(log_h, density, set_aside=False)
    bounds = ([-1, 0.05, -60, -60, -0.499], [5, 60, 60, 60, 60])
    oracle = optimize.least_squares(
        lambda p: density_of(p, log_h) - density, truth, bounds=bounds, x_scale=np.abs(truth)
    )
    assert fit.residual_sd**2 * fit.degrees_of_freedom <= 2 * oracle.cost * (1 + 1e-5)


@given(st.floats(-2.0, 2.0), st.floats(-0.2, 1.0))
@settings(max_examples=15, deadline=None)
def test_moving_the_readings_moves_the_curve(shift, lift):
    """Adding to log H moves the curve along, adding to density lifts it, and neither changes its shape."""
    log_h = np.linspace(-3.125, -0.125, 21)
    density = noisy(aim_parameters(FilmType.COLOUR_NEGATIVE)[Record.GREEN], log_h, 5)
    first, moved = fit_curve(log_h, density), fit_curve(log_h + shift, density + lift)
    assert density_at(moved, log_h + shift) == pytest.approx(density_at(first, log_h) + lift, abs=1e-6)


def test_mirrored_readings_give_the_mirrored_curve(log_h, negative):
    """A falling curve is fitted as well as the rising one that mirrors it."""
    density = noisy(negative, log_h, 9)
    rising, falling = fit_curve(log_h, density), fit_curve(-log_h[::-1], density[::-1])
    assert falling.parameters[3] < 0.0 < rising.parameters[3]
    assert density_at(falling, -log_h) == pytest.approx(density_at(rising, log_h), abs=1e-6)


def test_a_held_minimum_stays(log_h, negative):
    """A minimum that is held is kept exactly and has no variance."""
    fit = fit_curve(log_h, noisy(negative, log_h, 1), low=0.65)
    assert fit.parameters[0] == 0.65
    assert not fit.covariance[0].any()
    assert not fit.covariance[:, 0].any()
    assert fit.degrees_of_freedom == 17


def test_missing_and_clipped_steps_are_left_out(log_h, negative):
    """NaN readings and those at the instrument's limit aren't used, and the rest give the same curve."""
    density = density_of(negative, log_h)
    density[4] = np.nan
    clipped = np.minimum(density, 1.6)
    fit = fit_curve(log_h, clipped, clip_density=1.6)
    assert np.flatnonzero(~fit.used).tolist() == [4, *np.flatnonzero(density >= 1.6)]
    assert fit.faulty_steps == ()
    assert fit.parameters == pytest.approx(negative, rel=1e-3)


@pytest.mark.parametrize("step", [3, 9, 16])
@pytest.mark.parametrize("fault", [-0.15, 0.15])
def test_a_faulty_step_is_set_aside_and_named(log_h, negative, step, fault):
    """A reading 0.15 off the curve is named, and the curve is that of the other readings to the last digit."""
    density = noisy(negative, log_h, 21)
    density[step] += fault
    fit = fit_curve(log_h, density)
    assert fit.faulty_steps == (step,)
    without = density.copy()
    without[step] = np.nan
    assert density_at(fit, log_h) == pytest.approx(density_at(fit_curve(log_h, without), log_h), abs=1e-6)


def test_two_swapped_steps_are_set_aside(log_h, negative):
    """Two neighbouring readings written down the wrong way round are both named."""
    density = noisy(negative, log_h, 22)
    density[[12, 13]] = density[[13, 12]]
    assert fit_curve(log_h, density).faulty_steps == (12, 13)


def test_clean_strips_lose_no_step(log_h, negative):
    """Of 100 strips with nothing but noise none loses a step (0.1 % is the stated false-alarm rate)."""
    assert not any(fit_curve(log_h, noisy(negative, log_h, seed)).faulty_steps for seed in range(100))


def test_density_and_log_h_undo_one_another(log_h, negative):
    """Reading log H at a density read at log H gives the log H again, and NaN off the curve."""
    fit = fit_curve(log_h, noisy(negative, log_h, 2))
    assert log_h_at(fit, density_at(fit, log_h[8:])) == pytest.approx(log_h[8:], abs=1e-8)
    assert np.isnan(log_h_at(fit, [0.0, 99.0])).all()
    assert gradient_at(fit, log_h).min() > 0.0


def test_the_band_holds_the_true_curve_as_often_as_it_says(log_h, negative):
    """Over 120 strips the 90 % band holds the true density at a place in 84 to 96 % of them (3 standard errors)."""
    inside = 0
    for seed in range(120):
        low, high = density_band(fit_curve(log_h, noisy(negative, log_h, seed)), log_h[[3, 10, 18]], 0.90)
        inside += (low <= density_of(negative, log_h[[3, 10, 18]])) & (density_of(negative, log_h[[3, 10, 18]]) <= high)
    assert (inside >= 0.84 * 120).all()
    assert (inside <= 0.97 * 120).all()


def test_an_error_all_steps_share_widens_the_parameters(log_h, negative):
    """An error common to all steps goes into the minimum density at full size and leaves the shape alone."""
    density = noisy(negative, log_h, 3)
    plain, shared = fit_curve(log_h, density), fit_curve(log_h, density, shared_covariance=np.full((21, 21), 0.01**2))
    added = shared.covariance - plain.covariance
    assert added[0, 0] == pytest.approx(0.01**2, rel=1e-3)
    assert abs(added[3, 3]) < 1e-6 * plain.covariance[3, 3]


@pytest.mark.parametrize(
    ("log_h", "density", "where"),
    [
        ([0, 1, 2, 3], [0, 0.1, 0.5, 0.9], "density"),
        ([0, 1, 2, 3, 4], [0, np.nan, 0.5, 0.9, 1.0], "density"),
        ([0, 1, 2, 3, 4], [0.2] * 5, "density"),
        ([0, 1, 2, 3, 4], [0, 0.1, 0.5, 0.9], "density"),
        ([0, 1, 2, 3, 4], [0, 0.1, 0.5, 0.9, np.inf], "density"),
        ([0, 1, 1, 3, 4], [0, 0.1, 0.5, 0.9, 1.0], "log_h"),
        ([4, 3, 2, 1, 0], [0, 0.1, 0.5, 0.9, 1.0], "log_h"),
        ([0, 1, 2, 3, np.nan], [0, 0.1, 0.5, 0.9, 1.0], "log_h"),
    ],
)
def test_readings_that_cannot_be_fitted_are_refused(log_h, density, where):
    """Too few, level, misshapen, infinite or unordered readings are refused by the name of the argument."""
    with pytest.raises(ArgumentError) as caught:
        fit_curve(log_h, density)
    assert caught.value.where == where


def test_a_shared_covariance_of_the_wrong_shape_is_refused(log_h, negative):
    """The shared covariance must cover each reading."""
    with pytest.raises(ArgumentError, match="shared_covariance"):
        fit_curve(log_h, noisy(negative, log_h, 3), shared_covariance=np.eye(3))


def test_five_steps_give_a_curve_without_an_interval(negative):
    """Five readings are fitted, but what is left over to judge their scatter by is nothing, and the band is endless."""
    x = np.linspace(-3.0, 0.0, 5)
    fit = fit_curve(x, density_of(negative, x))
    assert fit.degrees_of_freedom == 0
    low, high = density_band(fit, x)
    assert (low == -np.inf).all()
    assert (high == np.inf).all()


def test_confidence_must_be_a_probability(log_h, negative):
    """A confidence of 95 instead of 0.95 is refused."""
    with pytest.raises(ArgumentError, match="confidence"):
        density_band(fit_curve(log_h, noisy(negative, log_h, 3)), log_h, 95)
