"""Records that move against one another are seen together though each is within its own limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.control import balance, freeze_records, individuals_chart, is_base, records_chart
from wideroll.errors import ArgumentError

_NAMES = ("red", "green", "blue")


def _speeds(count, seed=1, noise=0.3):
    """Three records that mostly move together."""
    generator = np.random.Generator(np.random.PCG64(seed))
    together = generator.normal(size=count)
    return {name: (together + noise * generator.normal(size=count)).tolist() for name in _NAMES}


def test_each_record_has_its_own_chart():
    """The chart of a record is the one it would have alone."""
    speeds = _speeds(40)
    chart = records_chart("speed", speeds, baseline=30)
    assert chart.names == _NAMES
    for name, one in zip(_NAMES, chart.charts, strict=True):
        alone = individuals_chart(speeds[name], baseline=30)
        assert (one.points, one.breaks) == (alone.points, alone.breaks)
        assert one.limits.high == alone.limits.high


def test_a_record_against_the_others_is_seen_together():
    """A lasting shift of green within its own limits passes the limit of all records together."""
    speeds = _speeds(45, seed=3, noise=0.1)
    speeds["green"][40:] = [value + 1.0 for value in speeds["red"][40:]]
    chart = records_chart("speed", speeds, baseline=40)
    alone = {one.index for record in chart.charts for one in record.breaks if one.rule.startswith("one point")}
    assert alone.isdisjoint(range(40, 45))
    assert {one.index for one in chart.together.breaks} >= set(range(40, 45))


@pytest.mark.parametrize("count", [20, 40])
def test_a_steady_process_passes_the_joint_limit_as_often_as_it_says(count):
    """Over 400 base periods further points lie beyond in about the stated 5 % of cases."""
    beyond = []
    for seed in range(400):
        chart = records_chart("speed", _speeds(count + 10, seed), baseline=count, false_alarm=0.05)
        beyond.append(sum(one.index >= count for one in chart.together.breaks) / 10)
    assert np.mean(beyond) == pytest.approx(0.05, abs=0.012)


def test_the_joint_statistic_is_the_squared_distance():
    """T² is (x − x̄)ᵀ S⁻¹ (x − x̄) with the covariance that was frozen, as worked out by an inverse."""
    speeds = _speeds(30)
    frozen = freeze_records(speeds, labels=[str(n) for n in range(30)], name="spring")
    table = np.array(list(speeds.values()))
    moves = np.diff(table, axis=1)
    covariance = sum(np.outer(move, move) for move in moves.T) / 58.0
    assert np.allclose(frozen.covariance, covariance)
    away = table[:, 7] - table.mean(axis=1)
    chart = records_chart("speed", speeds, frozen=frozen)
    assert chart.together.points[7] == pytest.approx(away @ np.linalg.inv(covariance) @ away)
    assert is_base(chart.base, [str(n) for n in range(30)], *speeds.values())


@given(scale=st.floats(0.01, 100.0), shift=st.floats(-10.0, 10.0), order=st.permutations(_NAMES))
def test_neither_unit_nor_order_changes_the_joint_statistic(scale, shift, order):
    """One record in another unit, and records in another order, give the same T²."""
    speeds = _speeds(25)
    other = {name: speeds[name] for name in order}
    other["red"] = [shift + scale * value for value in other["red"]]
    one, two = (records_chart("speed", each, baseline=20).together.points for each in (speeds, other))
    assert two == pytest.approx(one, rel=1e-6)


def test_one_record_has_no_joint_chart():
    """Black-and-white film has one record and nothing to go together."""
    chart = records_chart("Dmin", {"visual": _speeds(12)["red"]})
    assert chart.together is None
    assert len(chart.charts) == 1


def test_balance_is_what_records_lie_apart():
    """Balance takes the reference away and leaves what is common to all records out."""
    speeds = _speeds(20)
    moved = balance({name: [value + 5.0 for value in row] for name, row in speeds.items()}, "green")
    plain = balance(speeds, "green")
    assert list(plain) == ["red less green", "blue less green"]
    assert moved["red less green"] == pytest.approx(plain["red less green"])
    assert records_chart("balance", plain).names == ("red less green", "blue less green")


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: records_chart("speed", {}), "at least one record"),
        (lambda: records_chart("speed", {"red": [1.0] * 9, "blue": [1.0] * 8}), "one value for each point"),
        (lambda: records_chart("speed", {"red": [1.0] * 9, "blue": list(range(9))}), "each must vary"),
        (lambda: records_chart("speed", {"red": [1, 3, 2, 5, 4, 6], "blue": [2, 6, 4, 10, 8, 12]}), "none follow"),
        (lambda: records_chart("speed", _speeds(5)), "at least 7 points"),
        (lambda: records_chart("speed", _speeds(9), false_alarm=0.0), "between 0 and 1"),
        (lambda: balance(_speeds(9), "visual"), "one of several records: red, green, blue"),
    ],
)
def test_what_can_not_be_charted_together_is_refused(call, says):
    """The message names the rule that is broken."""
    with pytest.raises(ArgumentError, match=says):
        call()


def test_limits_of_other_records_are_refused():
    """Limits frozen from three records don't judge two."""
    frozen = freeze_records(_speeds(20), labels=[str(n) for n in range(20)], name="spring")
    with pytest.raises(ArgumentError, match="of as many records"):
        records_chart("speed", {name: _speeds(5)[name] for name in ("red", "green")}, frozen=frozen)
