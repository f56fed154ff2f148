import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import fit_filter_peak

X = np.arange(500.0, 601.0, 4.0)


def filtered(centre=546.0, width=10.0, height=0.4):
    """Transmittance of a Gaussian filter."""
    return height * np.exp(-0.5 * ((X - centre) / width) ** 2)


@given(st.floats(520.0, 580.0), st.floats(4.0, 15.0), st.floats(0.05, 0.95))
@settings(max_examples=40, deadline=None)
def test_a_gaussian_filter_is_read_off(centre, width, height):
    """Centre, full width and height of a filter without noise come back."""
    found = fit_filter_peak(X, filtered(centre, width, height))
    assert found.centre_nm == pytest.approx(centre, abs=1e-6)
    assert found.full_width_nm == pytest.approx(2.354820045 * width, rel=1e-7)
    assert found.height == pytest.approx(height, rel=1e-7)


def test_moving_and_dimming_a_filter_only_does_that():
    """10 nm further on and half as bright, with the same noise halved, only centre, height and their errors follow."""
    noise = 0.004 * np.random.default_rng(1).standard_normal(len(X))
    plain = fit_filter_peak(X, filtered() + noise)
    moved = fit_filter_peak(X + 10.0, 0.5 * (filtered() + noise))
    assert moved.centre_nm == pytest.approx(plain.centre_nm + 10.0, abs=1e-6)
    assert moved.full_width_nm == pytest.approx(plain.full_width_nm, rel=1e-6)
    assert moved.height == pytest.approx(0.5 * plain.height, rel=1e-6)
    assert (moved.centre_sd_nm, moved.full_width_sd_nm) == pytest.approx((plain.centre_sd_nm, plain.full_width_sd_nm))
    assert moved.height_sd == pytest.approx(0.5 * plain.height_sd)


def test_standard_errors_are_those_of_simulated_readings():
    """Over 300 noisy readings, errors in standard errors have spread 1 and mean 0."""
    rng = np.random.default_rng(2)
    scores = []
    for _ in range(300):
        found = fit_filter_peak(X, filtered() + 0.004 * rng.standard_normal(len(X)))
        errors = np.array([found.centre_nm - 546.0, found.full_width_nm - 23.54820045, found.height - 0.4])
        scores.append(errors / [found.centre_sd_nm, found.full_width_sd_nm, found.height_sd])
    assert np.mean(scores, axis=0) == pytest.approx(0.0, abs=0.2)
    assert np.std(scores, axis=0) == pytest.approx(1.05, abs=0.15)  # Student's t with 23 degrees of freedom: 1.05


@pytest.mark.parametrize(
    ("transmittance", "said"),
    [
        (filtered(centre=607.0), "outside the readings"),
        (filtered(width=2.0), "above half the height"),
        (np.where(np.abs(X - 550.0) < 20.0, 0.5, 0.0), "off a Gaussian"),
    ],
)
def test_a_peak_not_to_be_relied_on_says_so(transmittance, said):
    """A peak beyond the readings, between too few of them, or of another shape is told."""
    assert said in fit_filter_peak(X, transmittance).note


@pytest.mark.parametrize(
    ("x", "y"),
    [(X[:3], X[:3]), (X, X[:-1]), (X[::-1], filtered()), (X, np.full(len(X), np.nan)), (X, np.zeros(len(X)))],
)
def test_what_has_no_peak_is_refused(x, y):
    """Too few, misshapen, unsorted, missing or dark readings are refused."""
    with pytest.raises(ArgumentError, match=r"wavelength_nm|transmittance"):
        fit_filter_peak(x, y)
