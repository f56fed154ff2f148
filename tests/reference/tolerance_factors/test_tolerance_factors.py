"""Tolerance factors agree with the table beside this file."""

import csv
from pathlib import Path

import pytest

from wideroll.control import tolerance_factor

_TABLE = list(csv.DictReader(Path(__file__).with_name("tolerance_factors_normal.csv").read_text().splitlines()[1:]))


@pytest.mark.parametrize(
    ("sides", "column"),
    [("one", "k1_one_sided_exact"), ("two", "k2_two_sided_exact"), ("two, Howe", "k2_howe_approx")],
)
def test_factors_are_the_tabled_ones(sides, column):
    """Each of the 72 factors agrees to the table's four decimals."""
    assert len(_TABLE) == 72
    for row in _TABLE:
        shares = {"coverage": float(row["coverage"]), "confidence": float(row["confidence"])}
        assert tolerance_factor(int(row["n"]), sides=sides, **shares) == pytest.approx(float(row[column]), abs=5.1e-5)
