"""The calibration line against NIST's certified values for Norris, a calibration of ozone monitors."""

import csv
from pathlib import Path

import numpy as np
import pytest

from wideroll.sensitometry import calibrate_line

LEAST_DIGITS = 10


def rows(name):
    """Rows of a file as issued."""
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@pytest.fixture(scope="module")
def certified():
    """Certified value and standard deviation by parameter."""
    return {
        row["param"]: (float(row["certified"]), float(row["std_dev"] or "nan")) for row in rows("Norris_certified.csv")
    }


@pytest.fixture(scope="module")
def line():
    """The line fitted to the 36 observations, without stated uncertainties, as the problem has it."""
    data = rows("Norris.csv")
    assert len(data) == 36
    return calibrate_line([float(row["x"]) for row in data], [float(row["y"]) for row in data])


def digits_agreed(found, certified):
    """Log relative error: the number of digits that agree."""
    return -np.log10(max(abs(found / certified - 1.0), 1e-16))


def test_offset_and_gain_agree_to_ten_digits(line, certified, record_property):
    """Offset and gain, and their standard deviations, agree with the certified values to at least 10 digits."""
    for name, measure in (("b0", line.offset), ("b1", line.gain)):
        for what, found, wanted in zip(
            ("", " sd"), (measure.value, measure.standard_uncertainty), certified[name], strict=True
        ):
            digits = digits_agreed(found, wanted)
            record_property(f"{name}{what} digits", round(float(digits), 1))
            assert digits >= LEAST_DIGITS, f"{name}{what}: {digits:.1f} digits"


def test_residual_sd_agrees_to_ten_digits(line, certified):
    """The scatter about the line has the certified standard deviation, on 34 degrees of freedom."""
    assert line.degrees_of_freedom == 34
    assert digits_agreed(line.residual_sd, certified["resid_sd"][0]) >= LEAST_DIGITS
