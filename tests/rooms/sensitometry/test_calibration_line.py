"""Straight-line calibration: against other libraries, by simulation, and by what must not change it."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import calibrate_line

DENSITY = np.arange(21) * 0.15
SEEDS = st.integers(0, 2**32 - 1)


def _read(seed, *, offset=0.02, gain=0.97, read_sd=0.004, true_sd=0.006):
    """Readings and certificate of an instrument with known offset and gain."""
    noise = np.random.Generator(np.random.PCG64(seed))
    read = (DENSITY - offset) / gain + read_sd * noise.standard_normal(21)
    return read, DENSITY + true_sd * noise.standard_normal(21)


@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_without_uncertainties_it_is_ordinary_least_squares(seed):
    """Line, covariance and interval are those of statsmodels' OLS."""
    read, true = _read(seed)
    line, ols = calibrate_line(read, true), sm.OLS(true, sm.add_constant(read)).fit()
    assert [line.offset.value, line.gain.value] == pytest.approx(ols.params, rel=1e-9)
    assert line.covariance == pytest.approx(ols.cov_params(), rel=1e-7)
    assert [[m.low, m.high] for m in (line.offset, line.gain)] == pytest.approx(ols.conf_int(0.05), rel=1e-8)


@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_with_certified_uncertainties_alone_it_is_weighted_least_squares(seed):
    """When only the certificate is uncertain, the line and its unscaled covariance are those of statsmodels' WLS."""
    read, true = _read(seed, read_sd=0.0)
    sd = np.linspace(0.004, 0.012, 21)
    line, wls = calibrate_line(read, true, true_sd=sd), sm.WLS(true, sm.add_constant(read), weights=sd**-2.0).fit()
    assert [line.offset.value, line.gain.value] == pytest.approx(wls.params, rel=1e-8)
    scale = max(1.0, line.chi_squared / 19)
    assert line.covariance == pytest.approx(wls.normalized_cov_params * scale, rel=1e-6)
    assert line.chi_squared == pytest.approx(wls.scale * 19, rel=1e-6)


@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_changing_the_sides_inverts_the_line(seed):
    """With errors both ways no side is the cause: swapped, the line is the same one seen from the other side."""
    read, true = _read(seed)
    one = calibrate_line(read, true, read_sd=0.004, true_sd=0.006)
    other = calibrate_line(true, read, read_sd=0.006, true_sd=0.004)
    assert other.gain.value == pytest.approx(1.0 / one.gain.value, rel=1e-8)
    assert other.offset.value == pytest.approx(-one.offset.value / one.gain.value, abs=1e-8)
    assert other.chi_squared == pytest.approx(one.chi_squared, rel=1e-6)


@given(seed=SEEDS, added=st.floats(-1.0, 1.0), times=st.floats(0.5, 2.0))
@settings(max_examples=20, deadline=None)
def test_the_unit_of_the_readings_does_not_matter(seed, added, times):
    """Readings on another scale give the same calibrated values and covariance."""
    read, true = _read(seed)
    one = calibrate_line(read, true, read_sd=0.004, true_sd=0.006).at(read)
    other = calibrate_line(times * read + added, true, read_sd=0.004 * times, true_sd=0.006).at(times * read + added)
    assert other[0] == pytest.approx(one[0], abs=1e-7)
    assert other[1] == pytest.approx(one[1], abs=1e-9)


@pytest.mark.parametrize("stated", [True, False])
def test_intervals_hold_the_truth_as_often_as_they_say(stated):
    """Of 1500 calibrations, the 95 % intervals of offset and of gain hold the truth in 95 % ± 2 %."""
    sd = {"read_sd": 0.004, "true_sd": 0.006} if stated else {}
    lines = [calibrate_line(*_read(seed), **sd) for seed in range(1500)]
    for truth, measures in ((0.02, [ln.offset for ln in lines]), (0.97, [ln.gain for ln in lines])):
        held = np.mean([m.low <= truth <= m.high for m in measures])
        assert 0.93 <= held <= 0.97


def test_the_covariance_of_calibrated_values_is_that_seen_over_many_calibrations():
    """Calibrated values scatter over 1500 calibrations as the line's covariance (n, n) says, diagonal and corners."""
    values, covariances = zip(
        *(calibrate_line(*_read(seed), read_sd=0.004, true_sd=0.006).at([0.0, 1.5, 3.0]) for seed in range(1500)),
        strict=True,
    )
    assert np.cov(np.array(values).T) == pytest.approx(np.median(covariances, axis=0), rel=0.15, abs=2e-7)


def test_an_error_common_to_all_certified_values_shifts_the_offset_alone():
    """A common standard uncertainty adds its variance to the offset's and to nothing else."""
    read, true = _read(3)
    one, other = (calibrate_line(read, true, read_sd=0.01, true_sd=0.01, common_sd=sd) for sd in (0.0, 0.02))
    assert other.covariance - one.covariance == pytest.approx(np.diag([0.02**2, 0.0]), abs=1e-15)


def test_residuals_beyond_the_stated_uncertainty_widen_the_intervals():
    """Birge's ratio: scatter three times as large as stated gives intervals as wide as the scatter makes them."""
    read, true = _read(5, read_sd=0.012, true_sd=0.018)
    line = calibrate_line(read, true, read_sd=0.004, true_sd=0.006)
    honest = calibrate_line(read, true, read_sd=0.012, true_sd=0.018)
    assert line.p_value < 1e-6
    honest_scale = max(1.0, honest.chi_squared / 19)
    assert line.covariance == pytest.approx(honest.covariance / honest_scale * honest.chi_squared / 19, rel=1e-6)


def test_lack_of_linearity_is_found_at_the_rate_stated():
    """A straight instrument is called bent at 5 % in about 5 of 100 cases; a bend of 0.02 always, with its size."""
    straight = [calibrate_line(*_read(seed), read_sd=0.004, true_sd=0.006).bend_p_value < 0.05 for seed in range(1000)]
    assert 0.035 <= np.mean(straight) <= 0.065
    across = DENSITY / 1.5 - 1.0
    for seed in range(20):
        read, true = _read(seed, read_sd=0.002, true_sd=0.002)
        bent = calibrate_line(read, true + 0.03 * across**2)
        assert bent.bend_p_value < 1e-4
        assert bent.bend == pytest.approx(0.02, abs=0.004)


def test_exact_points_leave_no_doubt():
    """Points on a line give it with no error, and a value that wasn't read stays unknown and without covariance."""
    line = calibrate_line([0.0, 1.0, 2.0], [0.5, 2.5, 4.5])
    value, covariance = line.at([1.5, np.nan])
    assert value == pytest.approx([3.5, np.nan], nan_ok=True)
    assert covariance == pytest.approx(np.zeros((2, 2)), abs=1e-20)
    assert np.isnan(line.bend_p_value)


@pytest.mark.parametrize(
    ("read", "true", "more", "where"),
    [
        ([0.0, 1.0], [0.0, 1.0], {}, "read, true"),
        ([0.0, 1.0, 2.0], [0.0, 1.0], {}, "read, true"),
        ([0.0, 1.0, np.nan], [0.0, 1.0, 2.0], {}, "read, true"),
        ([1.0, 1.0, 1.0], [0.0, 1.0, 2.0], {}, "read"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], {"read_sd": -0.1}, "read_sd"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], {"true_sd": [0.1, 0.1]}, "true_sd"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], {"true_sd": [0.1, 0.1, 0.0]}, "sd"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 2.0], {"confidence": 1.0}, "confidence"),
    ],
)
def test_points_through_which_no_line_can_be_laid_are_refused(read, true, more, where):
    """Too few, unpaired or equal points and impossible standard deviations are refused by name."""
    with pytest.raises(ArgumentError) as caught:
        calibrate_line(read, true, **more)
    assert caught.value.where == where
