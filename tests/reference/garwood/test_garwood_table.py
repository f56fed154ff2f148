"""Garwood's limits against the table beside this file."""

import csv
from pathlib import Path

import pytest

from wideroll.release.limits import rate_at_least, rate_at_most
from wideroll.sampling import area_needed, rate_limits


@pytest.fixture(scope="module")
def table():
    """Rows of the table as issued."""
    path = Path(__file__).with_name("garwood_poisson_limits.csv")
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("percent", [90, 95, 99])
def test_two_sided_limits_agree_with_the_table(table, percent):
    """Each two-sided limit equals the table to its four decimals."""
    assert len(table) == 31
    for row in table:
        found = rate_limits(int(row["count"]), 1.0, percent / 100)
        assert found.low == pytest.approx(float(row[f"lo{percent}"]), abs=5.1e-5)
        assert found.high == pytest.approx(float(row[f"hi{percent}"]), abs=5.1e-5)


@pytest.mark.parametrize("percent", [90, 95])
def test_one_sided_limits_of_release_agree_with_the_table(table, percent):
    """The limits that release decides by are the table's one-sided ones."""
    for row in table:
        high = rate_at_most(int(row["count"]), 1.0, percent / 100)
        assert high == pytest.approx(float(row[f"one_sided_upper{percent}"]), abs=5.1e-5)


def test_published_spot_values():
    """The values printed by others: 0 marks give 3.689, 10 give 4.80 to 18.39, one-sided 0 marks give 2.996."""
    assert rate_limits(0, 1.0).high == pytest.approx(3.689, abs=5e-4)
    assert rate_limits(10, 1.0).low == pytest.approx(4.80, abs=5e-3)
    assert rate_limits(10, 1.0).high == pytest.approx(18.39, abs=5e-3)
    assert area_needed(1.0) == pytest.approx(2.996, abs=5e-4)


@pytest.mark.parametrize("count", [0, 1, 7, 30, 4000])
def test_both_rooms_have_one_formula(count):
    """Release's one-sided limits are sampling's two-sided ones at twice the tail."""
    both = rate_limits(count, 2.5, 0.90)
    assert rate_at_least(count, 2.5, 0.95)[0] == pytest.approx(both.low, rel=1e-9, abs=1e-12)
    assert rate_at_most(count, 2.5, 0.95) == pytest.approx(both.high, rel=1e-9)
