"""Control charts and capability agree with the handbook's worked examples."""

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from wideroll.control import (
    c_chart,
    capability,
    ewma_chart,
    freeze_values,
    individuals_chart,
    moving_range_chart,
    tolerance_factor,
)

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


def test_averages_and_their_limits_are_the_published_ones():
    """The twenty averages agree to two decimals, the settled limits with those recomputed to four; none is out."""
    values = _column("nist_6324_ewma.csv", "x")
    frozen = freeze_values(values, labels=[str(n) for n in range(20)], name="history of the process")
    chart = ewma_chart(values, weight=0.3, frozen=replace(frozen, centre=50.0, sigma=2.0539))
    assert chart.points == pytest.approx(_column("nist_6324_ewma.csv", "ewma_published"), abs=5e-3)
    assert chart.limits.high == pytest.approx(52.58843, abs=5e-6)
    assert chart.limits.low == pytest.approx(47.41157, abs=5e-6)
    assert chart.breaks == ()


def test_capability_has_the_published_indices():
    """Mean 16 and standard deviation 2 between 8 and 20 give Cp 1 and Cpk two thirds, by either standard deviation."""
    values = [16.0 - 2.0**0.5, 16.0 + 2.0**0.5]
    frozen = replace(freeze_values(values, labels=["1", "2"], name="history of the process"), sigma=2.0)
    found = capability(values, low=8.0, high=20.0, frozen=frozen)
    assert (found.mean, found.overall) == (pytest.approx(16.0), pytest.approx(2.0))
    for width, room in ((found.cp, found.cpk), (found.pp, found.ppk)):
        assert width.value == pytest.approx(1.0)
        assert room.value == pytest.approx(0.6667, abs=5e-5)


def test_tolerance_intervals_are_the_published_ones():
    """Of 43 wafers, 90 % at 99 % confidence: k2 2.2173 and 97.0106 to 97.1294; one-sided about 1.8752 (7.2.6.3)."""
    two = tolerance_factor(43, coverage=0.90, confidence=0.99, sides="two, Howe")
    assert two == pytest.approx(2.2173, abs=5e-5)
    assert 97.07 - two * 0.0268 == pytest.approx(97.0106, abs=5e-5)
    assert 97.07 + two * 0.0268 == pytest.approx(97.1294, abs=5e-5)
    one = tolerance_factor(43, coverage=0.90, confidence=0.99, sides="one")
    assert one == pytest.approx(1.8752, abs=2e-3)  # the handbook's is an approximation; the exact one is 1.87395
    assert one == pytest.approx(1.87395, abs=5e-6)
