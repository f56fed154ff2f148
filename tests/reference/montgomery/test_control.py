"""Charts agree with a textbook's worked examples."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from wideroll.control import cusum_chart, ewma_chart, freeze_groups, freeze_values, range_chart, u_chart, xbar_chart

_HERE = Path(__file__).parent


def _rows(name):
    return list(csv.DictReader((_HERE / name).read_text().splitlines()[1:]))


@pytest.fixture(scope="module")
def shifted():
    """Thirty values of Table 9.1, of which the last ten have a mean one standard deviation higher."""
    return [float(row["x"]) for row in _rows("montgomery_t9-1_cusum_ewma.csv")]


@pytest.fixture(scope="module")
def rings():
    """Forty groups of five diameters; the first twenty-five are the base period."""
    return [[float(row[f"x{n}"]) for n in range(1, 6)] for row in _rows("montgomery_pistonrings_xbarR.csv")]


@pytest.fixture(scope="module")
def known(shifted):
    """Aim 10 and standard deviation 1."""
    frozen = freeze_values(shifted[:20], labels=[str(n) for n in range(20)], name="in control")
    return replace(frozen, centre=10.0, sigma=1.0)


def test_sums_signal_where_the_book_says(shifted, known):
    """Six sums agree to two decimals; the first signal is at 29, began at 23 and has the mean at 11.25 since."""
    chart = cusum_chart(shifted, frozen=known)
    assert [round(total, 2) for total in chart.above[23:29]] == [2.79, 2.89, 3.47, 3.35, 4.47, 5.28]
    (signal,) = chart.signals
    assert (signal.index + 1, signal.since + 1, signal.upwards) == (29, 23, True)
    assert signal.mean == pytest.approx(11.25, abs=5e-3)
    rows = _rows("montgomery_t9-1_cusum_ewma.csv")
    assert chart.above == pytest.approx([float(row["Cplus_computed"]) for row in rows], abs=1e-9)
    assert chart.below == pytest.approx([float(row["Cminus_computed"]) for row in rows], abs=1e-9)


def test_averages_signal_at_the_same_point(shifted, known):
    """With λ 0.1 and L 2.7 the average is 10.6468 at 29, beyond its limit of 10.6187; limits settle at ± 0.6194."""
    chart = ewma_chart(shifted, weight=0.1, width=2.7, frozen=known)
    assert chart.points[28] == pytest.approx(10.6468, abs=5e-5)
    assert chart.each[28].high == pytest.approx(10.6187, abs=5e-5)
    assert chart.limits.high - 10.0 == pytest.approx(0.6194, abs=5e-5)
    assert chart.breaks[0].index + 1 == 29
    rows = _rows("montgomery_t9-1_cusum_ewma.csv")
    assert [one.high for one in chart.each] == pytest.approx([float(row["ucl_L2.7"]) for row in rows], abs=5e-6)
    assert [one.low for one in chart.each] == pytest.approx([float(row["lcl_L2.7"]) for row in rows], abs=5e-6)


def test_means_and_ranges_have_the_published_limits(rings):
    """Centre and limits agree to four decimals; the means of groups 37, 38 and 39 lie beyond, no range does."""
    means = xbar_chart(rings, baseline=25)
    assert means.limits.centre == pytest.approx(74.00118, abs=5e-6)
    assert means.limits.high == pytest.approx(74.0143, abs=5e-5)
    assert means.limits.low == pytest.approx(73.9880, abs=5e-5)
    assert [one.index + 1 for one in means.breaks if one.rule.startswith("one point")] == [37, 38, 39]
    ranges = range_chart(rings, baseline=25)
    assert ranges.limits.centre == pytest.approx(0.02276, abs=5e-6)
    assert ranges.limits.high == pytest.approx(0.0481, abs=5e-5)
    assert ranges.breaks == ()


def test_frozen_groups_give_the_same_chart(rings):
    """Limits frozen from the first 25 groups judge the others as the whole chart does."""
    frozen = freeze_groups(rings[:25], labels=[str(n) for n in range(1, 26)], name="phase I")
    later = xbar_chart(rings[25:], frozen=frozen)
    whole = xbar_chart(rings, baseline=25)
    assert (later.limits.low, later.limits.high) == (whole.limits.low, whole.limits.high)
    assert [one.index + 26 for one in later.breaks if one.rule.startswith("one point")] == [37, 38, 39]


def test_rates_have_the_published_limits():
    """Mean 1.93, limits 0.066 and 3.794 agree to three decimals; the counts are Poisson's, so nothing is corrected."""
    rows = _rows("montgomery_pcmanufact_uchart.csv")
    chart = u_chart([float(row["nonconformities"]) for row in rows], [float(row["n"]) for row in rows])
    assert chart.limits.centre == pytest.approx(1.93)
    assert chart.limits.high == pytest.approx(3.794, abs=5e-4)
    assert chart.limits.low == pytest.approx(0.066, abs=5e-4)
    assert chart.breaks == ()
    assert not chart.spread.corrected


@pytest.mark.parametrize(
    ("decision", "shift", "head_start", "published"),
    [
        (5.0, 0.0, 0.0, 465.0),
        (4.0, 0.0, 0.0, 168.0),
        (5.0, 1.0, 0.0, 10.4),
        (5.0, 1.0, 0.5, 6.35),
        (4.0, 1.0, 0.0, 8.38),
    ],
)
def test_sums_run_as_long_as_published(known, decision, shift, head_start, published):
    """The mean run to the first signal is the published one, within three standard errors of a simulation."""
    generator = np.random.Generator(np.random.PCG64(11))
    length, count = (4000, 150) if not shift else (150, 300)
    runs = []
    for _ in range(count):
        values = (10.0 + shift + generator.normal(size=length)).tolist()
        chart = cusum_chart(values, decision=decision, head_start=head_start, frozen=known)
        runs.append(chart.signals[0].index + 1 if chart.signals else length)
    assert abs(np.mean(runs) - published) < 3.0 * np.std(runs) / count**0.5
