"""Charts take their limits from a named base period and scale with the unit of what is charted."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.control import c_chart, individuals_chart, moving_range_chart, u_chart
from wideroll.errors import ArgumentError

_VALUES = st.lists(st.floats(-100, 100), min_size=2, max_size=30)


def test_limits_come_from_the_base_period_alone():
    """What comes after the base period moves no limit, and the basis names the period."""
    base = [5.0, 5.2, 4.9, 5.1]
    chart = individuals_chart([*base, 9.0, 9.0], baseline=4)
    assert chart.limits == individuals_chart([*base, -3.0], baseline=4).limits
    assert "the first 4 points" in chart.limits.basis
    assert [found.index for found in chart.breaks if found.rule.startswith("one point")] == [4, 5]
    assert individuals_chart(base).limits.basis.endswith("all 4 points")


@given(values=_VALUES, shift=st.floats(-50, 50), scale=st.floats(0.1, 10))
@settings(deadline=None, max_examples=50)
def test_a_change_of_unit_changes_the_limits_alike(values, shift, scale):
    """Limits in another unit are the limits converted."""
    limits = individuals_chart(values).limits
    other = individuals_chart([shift + scale * value for value in values]).limits
    for name in ("centre", "low", "high"):
        assert getattr(other, name) == pytest.approx(shift + scale * getattr(limits, name), abs=1e-6)
    assert other.sigma == pytest.approx(scale * limits.sigma, abs=1e-6)


def test_sigma_of_a_steady_process_is_found():
    """The moving range finds the standard deviation of independent normal values."""
    values = np.random.Generator(np.random.PCG64(7)).normal(20.0, 3.0, 20_000)
    assert individuals_chart(values.tolist()).limits.sigma == pytest.approx(3.0, rel=0.02)


def test_moving_ranges_are_judged_by_their_limit_only():
    """A jump is beyond the limit of ranges; a long calm isn't a run."""
    values = [0.0, 1.0] * 6 + [20.0] + [20.5] * 12
    chart = moving_range_chart(values, baseline=12)
    assert len(chart.points) == len(values) - 1
    assert [(found.index, found.rule) for found in chart.breaks] == [(11, "one point above the upper limit")]


def test_rates_on_equal_areas_have_one_limit():
    """193 flaws on 20 samples of five give 1.93 and 0.066 to 3.794 for each sample (a textbook example, recomputed)."""
    counts = [193 / 20] * 20
    chart = u_chart(counts, [5.0] * 20)
    assert chart.limits.centre == pytest.approx(1.93)
    assert chart.limits.low == pytest.approx(0.066, abs=5e-4)
    assert chart.limits.high == pytest.approx(3.794, abs=5e-4)
    assert set(chart.each) == {chart.limits}


def test_a_small_area_is_given_wider_limits():
    """The same rate breaks the limit on a large area and not on a small one."""
    chart = u_chart([100, 2, 200], [100.0, 1.0, 100.0], baseline=1)
    assert chart.points == (1.0, 2.0, 2.0)
    assert [found.index for found in chart.breaks if found.rule.startswith("one point")] == [2]


def test_counts_have_no_limit_below_zero():
    """A limit of counts is never negative, and a point at zero isn't below it."""
    chart = c_chart([1, 0, 2, 1, 0])
    assert chart.limits.low == 0.0
    assert chart.breaks == ()


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: individuals_chart([1.0]), "at least 2 points"),
        (lambda: individuals_chart([1.0, 2.0, 3.0], baseline=4), "baseline: limits need"),
        (lambda: individuals_chart([1.0, math.nan]), r"values\[1\]: must be finite"),
        (lambda: moving_range_chart([]), "at least 2 points"),
        (lambda: c_chart([]), "at least 1 points"),
        (lambda: c_chart([3, -1]), r"counts\[1\]: must be finite and at least 0"),
        (lambda: u_chart([3, 1], [2.0]), "areas: each count needs the area"),
        (lambda: u_chart([3, 1], [2.0, 0.0]), "areas: each count needs the area"),
    ],
)
def test_impossible_series_are_refused(call, says):
    """The message names the argument, the rule and the value."""
    with pytest.raises(ArgumentError, match=says):
        call()


def test_rare_flaws_have_the_limit_of_a_further_count():
    """Of few flaws the upper limit lies half a flaw below the least count that is improbable, and no run rule is asked.

    Two flaws were found on 20 areas: by the binomial law a further area has 3 or more with a chance of 0.0012.
    """
    counts, areas = [1.0, *[0.0] * 18, 1.0, 2.0, 3.0], [10.0] * 22
    chart = u_chart(counts, areas, baseline=20, few=5.0)
    assert chart.each[0].high == pytest.approx(0.25)
    assert [found.index for found in chart.breaks] == [21]
    tail = sum(math.comb(5, k) * (1 / 21) ** k * (20 / 21) ** (5 - k) for k in range(3, 6))
    assert tail < 0.00135 < sum(math.comb(4, k) * (1 / 21) ** k * (20 / 21) ** (4 - k) for k in range(2, 5))
    assert u_chart(counts, areas, baseline=20).breaks != chart.breaks
