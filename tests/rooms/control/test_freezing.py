"""Frozen limits carry the base period that set them, and judge later points as it said."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.control import (
    c_chart,
    cusum_chart,
    ewma_chart,
    freeze_counts,
    freeze_groups,
    freeze_values,
    individuals_chart,
    is_base,
    moving_range_chart,
    u_chart,
    xbar_chart,
)
from wideroll.errors import ArgumentError

_BASE = [5.0, 5.2, 4.9, 5.1, 5.3, 4.8]
_ROLLS = [f"W-{number}" for number in range(2001, 2007)]
_FROZEN = freeze_values(_BASE, labels=_ROLLS, name="after the overhaul")


def test_a_base_period_says_which_points_it_had():
    """Name, first and last label and number of points stand in it and in the words of every limit."""
    base = _FROZEN.base
    assert (base.name, base.first, base.last, base.count) == ("after the overhaul", "W-2001", "W-2006", 6)
    for chart in (individuals_chart([9.0], frozen=_FROZEN), ewma_chart([9.0], frozen=_FROZEN)):
        assert chart.limits.base == base
        assert "after the overhaul (W-2001 to W-2006, 6 points)" in chart.limits.basis
    assert cusum_chart([9.0], frozen=_FROZEN).base == base


@given(place=st.integers(0, 5), change=st.floats(1e-9, 1.0))
def test_any_other_value_or_label_is_another_base(place, change):
    """A value or label changed, taken away or exchanged isn't the base period any more."""
    values, labels = list(_BASE), list(_ROLLS)
    assert is_base(_FROZEN.base, labels, values)
    values[place] += change
    assert not is_base(_FROZEN.base, labels, values)
    assert not is_base(_FROZEN.base, labels[:-1], _BASE[:-1])
    labels[place] = "W-9"
    assert not is_base(_FROZEN.base, labels, _BASE)


def test_frozen_limits_are_those_of_the_first_points():
    """Freezing points and charting more gives the limits of a chart whose first points they are."""
    later = [5.4, 9.0, 5.0]
    whole = individuals_chart([*_BASE, *later], baseline=6)
    alone = individuals_chart(later, frozen=_FROZEN)
    assert (alone.limits.low, alone.limits.high) == (whole.limits.low, whole.limits.high)
    assert alone.points == whole.points[6:]
    assert moving_range_chart(later, frozen=_FROZEN).limits.high == pytest.approx(
        moving_range_chart([*_BASE, *later], baseline=6).limits.high
    )


def test_a_chart_without_frozen_limits_names_its_own_points():
    """The first points of a chart are a base period too, with their digest."""
    base = individuals_chart([*_BASE, 9.0], baseline=6).limits.base
    assert (base.name, base.first, base.last) == ("the first 6 points", "point 1", "point 6")
    assert is_base(base, [f"point {n}" for n in range(1, 7)], _BASE)


def test_rates_and_groups_are_frozen_alike():
    """Frozen counts keep their areas, frozen groups their values; both judge later points."""
    rate = freeze_counts([12, 40, 25], [10.0, 30.0, 20.0], labels=["a", "b", "c"], name="spring")
    assert is_base(rate.base, ["a", "b", "c"], [12, 40, 25], [10.0, 30.0, 20.0])
    chart = u_chart([90], [30.0], frozen=rate)
    assert [one.index for one in chart.breaks] == [0]
    assert c_chart([90], frozen=rate).limits.base == rate.base
    groups = freeze_groups([[1.0, 1.2], [0.9, 1.1]], labels=["a", "b"], name="spring")
    assert is_base(groups.base, ["a", "b"], [1.0, 1.2], [0.9, 1.1])
    assert xbar_chart([[9.0, 9.1]], frozen=groups).breaks[0].rule == "one point above the upper limit"


def test_degrees_of_freedom_are_those_of_the_estimate():
    """Twice the squared relative error of sigma, found by simulation, is one over the degrees of freedom."""
    generator = np.random.Generator(np.random.PCG64(2))
    labels = [str(n) for n in range(12)]
    singles = [freeze_values(generator.normal(size=12).tolist(), labels=labels, name="x") for _ in range(3000)]
    groups = [freeze_groups(generator.normal(size=(12, 4)).tolist(), labels=labels, name="x") for _ in range(1500)]
    for found in (singles, groups):
        variance = np.var([one.sigma for one in found])
        assert 1.0 / (2.0 * variance) == pytest.approx(found[0].freedom, rel=0.1)
        assert np.mean([one.sigma for one in found]) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: freeze_values([1.0], labels=["a"], name="x"), "at least 2 points"),
        (lambda: freeze_values([1.0, 2.0], labels=["a"], name="x"), "labels: each point needs its label"),
        (lambda: freeze_values([1.0, 2.0], labels=["a", "b"], name=" "), "a base period needs a name"),
        (lambda: freeze_groups([], labels=[], name="x"), "at least 1 points"),
        (lambda: freeze_groups([[1.0]], labels=["a"], name="x"), "a group has 2 to 100 values"),
        (lambda: freeze_counts([1], [0.0], labels=["a"], name="x"), "greater than 0"),
        (lambda: individuals_chart([1.0], baseline=1, frozen=_FROZEN), "one of baseline and frozen"),
        (lambda: xbar_chart([[1.0, 2.0]], baseline=1, frozen=_FROZEN), "one of baseline and frozen"),
        (lambda: c_chart([1], baseline=1, frozen=freeze_counts([1], labels=["a"], name="x")), "one of baseline"),
    ],
)
def test_what_can_not_be_frozen_is_refused(call, says):
    """The message names what is missing."""
    with pytest.raises(ArgumentError, match=says):
        call()


def test_limits_may_be_given():
    """A known centre and deviation take the place of the estimated ones, and limits follow."""
    chart = individuals_chart([4.0], frozen=replace(_FROZEN, centre=0.0, sigma=1.0))
    assert (chart.limits.low, chart.limits.high) == (-3.0, 3.0)


def test_no_later_point_is_an_empty_chart():
    """Frozen limits without any point to judge yet give a chart that is empty and has its limits."""
    rate = freeze_counts([12, 40], [10.0, 30.0], labels=["a", "b"], name="spring")
    charts = [individuals_chart([], frozen=_FROZEN), ewma_chart([], frozen=_FROZEN), u_chart([], [], frozen=rate)]
    for chart in charts:
        assert (chart.points, chart.breaks) == ((), ())
        assert chart.limits.base is not None
    assert cusum_chart([], frozen=_FROZEN).signals == ()
