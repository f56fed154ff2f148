"""Charts of several quantities judge the newest point against limits that it had no part in."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.control import joint_chart, prediction_factor, single_level
from wideroll.errors import ArgumentError


def steady(count, quantities=3, seed=1):
    """Independent normal values of standard deviation 1, by quantity."""
    return np.random.Generator(np.random.PCG64(seed)).normal(0.0, 1.0, (quantities, count))


def test_the_newest_point_has_no_part_in_its_limits():
    """However far the newest point lies, limits stay; and so they do for any point after the base period."""
    rows = steady(30)
    calm = joint_chart(rows, baseline=20)
    rows[:, 20:] += 100.0
    moved = joint_chart(rows, baseline=20)
    assert [chart.limits for chart in moved.charts] == [chart.limits for chart in calm.charts]
    assert moved.baseline == tuple(range(20))
    assert (calm.beyond, moved.beyond) == ((), (0, 1, 2))


def test_limits_are_those_of_a_further_value():
    """Limits are mean ± f·s with the factor of a prediction interval at Šidák's level."""
    rows = steady(21)
    chart = joint_chart(rows, baseline=20, false_alarm=0.01).charts[1]
    factor = prediction_factor(20, single_level(0.01, 3))
    assert chart.limits.high == pytest.approx(rows[1, :20].mean() + factor * rows[1, :20].std(ddof=1))
    assert chart.limits.basis == f"mean ± {factor:.2f} standard deviations of 20 points"


def test_a_steady_process_is_ruled_out_as_seldom_as_said():
    """Of 1500 labs that set limits by 10 points at 5 %, as many rule out a good point as chance allows (3 sigma)."""
    ruled_out = sum(
        bool(joint_chart(steady(11, seed=seed), baseline=10, false_alarm=0.05).beyond) for seed in range(1500)
    )
    assert abs(ruled_out / 1500 - 0.05) < 3.0 * (0.05 * 0.95 / 1500) ** 0.5 + 0.005  # outliers left out cost a little


def test_too_few_points_give_no_chart():
    """With fewer earlier points than the base period wants there are no charts, and nothing is beyond."""
    found = joint_chart(steady(20), baseline=20)
    assert (found.charts, found.beyond, found.warnings) == ((), (), ())
    assert (len(found.baseline), found.wanted) == (19, 20)
    assert joint_chart(steady(21), baseline=20).charts


@pytest.mark.parametrize("spoilt", [(3,), (3, 4), (3, 4, 11)])
def test_points_off_their_fellows_set_no_limits(spoilt):
    """One, two or three outliers that lie together are left out, later points make up for them, limits stay narrow."""
    rows = steady(40)
    rows[1, list(spoilt)] += 12.0
    found = joint_chart(rows, baseline=20)
    assert found.excluded == spoilt
    assert len(found.baseline) == 20
    assert set(found.baseline).isdisjoint(spoilt)
    assert found.charts[1].limits.sigma < 1.5


def test_an_adjustment_starts_a_new_base_period():
    """What came before the last adjustment sets no limits; too soon after it there are none."""
    rows = steady(45)
    rows[:, :15] += 50.0
    found = joint_chart(rows, baseline=20, restarts=(4, 15))
    assert found.start == 15
    assert found.baseline == tuple(range(15, 35))
    assert found.beyond == ()
    assert len(found.charts[0].points) == 30
    assert joint_chart(rows[:, :30], baseline=20, restarts=(15,)).charts == ()


def test_a_slow_drift_does_not_take_its_limits_along():
    """A process that creeps up by a tenth of its scatter a point passes limits frozen at its start."""
    rows = steady(90) + 0.1 * np.maximum(0, np.arange(90) - 20)
    assert joint_chart(rows, baseline=20).beyond == (0, 1, 2)


def test_a_run_on_one_side_warns_without_ruling_out():
    """Eight points a little above the centre are a warning in words, and the newest isn't beyond a limit."""
    rows = steady(28)
    rows[2, 20:] = rows[2, :20].mean() + 0.3
    found = joint_chart(rows, baseline=20)
    assert found.beyond == ()
    assert (2, "eight points in a row above the centre") in found.warnings


def test_zones_are_thirds_of_the_way_to_the_limit():
    """Two points at 0.7 of the way to the limit warn in those words; at 0.6 they don't."""
    rows = steady(22)
    limits = joint_chart(rows, baseline=20).charts[0].limits
    for share, warned in ((0.7, True), (0.6, False)):
        rows[0, 20:] = limits.centre + share * (limits.high - limits.centre)
        rules = [rule for number, rule in joint_chart(rows, baseline=20).warnings if number == 0]
        assert ("two of three points more than two thirds of the way to the upper limit" in rules) is warned


@given(scale=st.floats(0.01, 100.0), shift=st.floats(-50.0, 50.0), order=st.permutations(range(3)))
@settings(deadline=None, max_examples=30)
def test_neither_unit_nor_order_of_quantities_matters(scale, shift, order):
    """In another unit, and in another order, the same quantities are beyond and the same points left out."""
    rows = steady(30, seed=3)
    rows[1, 5] += 9.0
    rows[2, -1] += 9.0
    plain = joint_chart(rows, baseline=20)
    other = joint_chart((shift + scale * rows)[list(order)], baseline=20)
    assert {order[number] for number in other.beyond} == set(plain.beyond)
    assert other.excluded == plain.excluded


@pytest.mark.parametrize(
    ("rows", "settings_", "rule"),
    [
        ([], {}, "at least one quantity"),
        ([[1.0, 2.0], [1.0]], {}, "one value for each point"),
        ([[1.0, float("nan")]], {}, "finite"),
        ([[0.0] * 30], {}, "must vary"),
        ([[1.0, 2.0]], {"baseline": 4}, "at least 5"),
        ([[1.0, 2.0]], {"false_alarm": 0.0}, "between 0 and 1"),
    ],
)
def test_what_can_not_be_charted_is_refused(rows, settings_, rule):
    """Nothing to chart, gaps, values that don't vary and settings out of range are refused with their rule."""
    with pytest.raises(ArgumentError) as caught:
        joint_chart(rows, **{"baseline": 20, **settings_})
    assert rule in caught.value.rule


def test_levels_and_counts_out_of_range_are_refused():
    """A level beyond 0 to 1, no test and a single value have no limit."""
    for call in (lambda: single_level(1.0, 2), lambda: single_level(0.1, 0), lambda: prediction_factor(1, 0.1)):
        with pytest.raises(ArgumentError):
            call()
