"""Control charts and capability agree with the handbook's worked examples."""

import csv
from pathlib import Path

import pytest

from wideroll.control import c_chart, capability, individuals_chart, moving_range_chart

_HERE = Path(__file__).parent


def _column(name, field):
    lines = (_HERE / name).read_text().splitlines()[1:]
    return [float(row[field]) for row in csv.DictReader(lines)]


@pytest.fixture(scope="module")
def flow():
    """Ten batches of section 6.3.2.2."""
    return _column("nist_6322_individuals.csv", "x")


def test_individuals_chart_has_the_published_limits(flow):
    """Centre and limits agree to all four published decimals, and no point is out."""
    chart = individuals_chart(flow)
    assert chart.limits.centre == pytest.approx(50.81, abs=5e-5)
    assert chart.limits.high == pytest.approx(55.8041, abs=5e-5)
    assert chart.limits.low == pytest.approx(45.8159, abs=5e-5)
    assert chart.breaks == ()


def test_moving_range_chart_has_the_published_limit(flow):
    """Mean moving range and its upper limit agree to four decimals, and no range is out."""
    chart = moving_range_chart(flow)
    assert chart.limits.centre == pytest.approx(1.8778, abs=5e-5)
    assert chart.limits.high == pytest.approx(6.1349, abs=3e-4)
    assert chart.breaks == ()


def test_count_chart_has_the_published_limits_and_its_point_beyond():
    """Mean and limits are the published whole numbers; wafer 24 lies above, wafer 3 on the limit and not beyond it."""
    chart = c_chart(_column("nist_6331_cchart_wafers.csv", "defects"))
    assert (chart.limits.centre, chart.limits.low, chart.limits.high) == (16.0, 4.0, 28.0)
    beyond = [found.index + 1 for found in chart.breaks if found.rule == "one point above the upper limit"]
    assert beyond == [24]


def test_capability_has_the_published_indices():
    """Mean 16 and standard deviation 2 between 8 and 20 give Cp 1 and Cpk two thirds."""
    found = capability([16.0 - 2.0**0.5, 16.0 + 2.0**0.5], low=8.0, high=20.0)
    assert (found.mean, found.sigma) == (pytest.approx(16.0), pytest.approx(2.0))
    assert found.cp == pytest.approx(1.0)
    assert found.cpk == pytest.approx(0.6667, abs=5e-5)
