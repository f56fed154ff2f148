"""The peak of a filter against NIST's certified values for Eckerle4."""

import csv
from pathlib import Path

import numpy as np
import pytest

from wideroll.sensitometry import fit_filter_peak

LEAST_DIGITS = 9
NAMES = ("b1", "b2", "b3")


def rows(name):
    """Rows of a file as issued."""
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.fixture(scope="module")
def certified():
    """Rows of the certified values by parameter."""
    return {row["param"]: row for row in rows("Eckerle4_certified.csv")}


@pytest.fixture(params=["start1", "start2", None], ids=str)
def fit(request, certified):
    """The peak fitted from each of the certified starts, and from the readings alone."""
    data = rows("Eckerle4.csv")
    start = None if request.param is None else tuple(float(certified[name][request.param]) for name in ("b2", "b3"))
    return fit_filter_peak([float(row["x"]) for row in data], [float(row["y"]) for row in data], start=start)


def digits_agreed(found, certified):
    """Log relative error: the number of digits that agree, 11 when they all do."""
    return min(11.0, -np.log10(max(abs(float(found) / float(certified) - 1.0), 1e-16)))


def test_parameters_agree_to_nine_digits(fit, certified, record_property):
    """Area, width and centre agree with b1, b2 and b3 to at least 9 digits, from any start."""
    for name, found in zip(NAMES, fit.parameters, strict=True):
        digits = digits_agreed(found, certified[name]["certified"])
        record_property(f"{name} digits", round(float(digits), 1))
        assert digits >= LEAST_DIGITS, f"{name}: {digits:.1f} digits"


def test_standard_deviations_agree_to_nine_digits(fit, certified, record_property):
    """Their standard deviations agree to at least 9 digits, from any start."""
    for name, found in zip(NAMES, np.sqrt(np.diag(fit.covariance)), strict=True):
        digits = digits_agreed(found, certified[name]["std_dev"])
        record_property(f"{name} sd digits", round(float(digits), 1))
        assert digits >= LEAST_DIGITS, f"sd of {name}: {digits:.1f} digits"


def test_residual_sum_of_squares_agrees_to_ten_digits(fit, certified):
    """Sum of squares and residual sd agree to at least 10 digits, and the peak is fit to be relied on."""
    assert digits_agreed(fit.residual_sd**2 * fit.degrees_of_freedom, certified["RSS"]["certified"]) >= 10
    assert digits_agreed(fit.residual_sd, certified["resid_sd"]["certified"]) >= 10
    assert not fit.note
