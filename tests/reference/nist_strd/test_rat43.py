"""The curve fit against NIST's certified values for Rat43."""

import csv
from pathlib import Path

import numpy as np
import pytest

from wideroll.sensitometry import fit_curve

LEAST_DIGITS = 6


def rows(name):
    """Rows of a file as issued."""
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.fixture(scope="module")
def certified():
    """Certified value and standard deviation by parameter."""
    return {
        row["param"]: (float(row["certified"]), float(row["std_dev"]) if row["std_dev"] else None)
        for row in rows("Rat43_certified.csv")
    }


def as_certified(fit):
    """Parameters b1 to b4 and their standard deviations in NIST's form: b2 is ln q + k · place."""
    rise, place, k, q = fit.parameters[1:]
    turn = np.array([[1, 0, 0, 0], [0, k, place, 1 / q], [0, 0, 1, 0], [0, 0, 0, 1]])
    covariance = turn @ fit.covariance[1:, 1:] @ turn.T
    return np.array([rise, np.log(q) + k * place, k, q]), np.sqrt(np.diag(covariance))


@pytest.fixture(scope="module")
def fit():
    """The curve fitted with its lower asymptote held at 0, as the problem is stated."""
    data = rows("Rat43.csv")
    return fit_curve([float(row["x"]) for row in data], [float(row["y"]) for row in data], low=0.0)


def digits_agreed(found, certified):
    """Log relative error: the number of digits that agree."""
    return -np.log10(abs(found / certified - 1.0))


def test_parameters_agree_to_six_digits(fit, certified, record_property):
    """Each of b1 to b4 agrees with the certified value to at least 6 digits."""
    for name, found in zip(("b1", "b2", "b3", "b4"), as_certified(fit)[0], strict=True):
        digits = digits_agreed(found, certified[name][0])
        record_property(f"{name} digits", round(float(digits), 1))
        assert digits >= LEAST_DIGITS, f"{name}: {digits:.1f} digits"


def test_standard_deviations_agree_to_six_digits(fit, certified, record_property):
    """The parameters' standard deviations agree to at least 6 digits, and the held one has none."""
    assert not fit.covariance[0].any()
    for name, found in zip(("b1", "b2", "b3", "b4"), as_certified(fit)[1], strict=True):
        digits = digits_agreed(found, certified[name][1])
        record_property(f"{name} sd digits", round(float(digits), 1))
        assert digits >= LEAST_DIGITS, f"sd of {name}: {digits:.1f} digits"


def test_residual_sum_of_squares_agrees_to_nine_digits(fit, certified):
    """Sum of squares and residual sd agree to at least 9 digits, with no reading set aside."""
    assert fit.used.all()
    assert digits_agreed(fit.residual_sd**2 * fit.degrees_of_freedom, certified["RSS"][0]) >= 9
    assert digits_agreed(fit.residual_sd, certified["resid_sd"][0]) >= 9
