"""Run rules name the point that completes a pattern, and rarely speak when nothing is wrong."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.control import ControlLimits, run_rules
from wideroll.errors import ArgumentError

LIMITS = ControlLimits(centre=0.0, low=-3.0, high=3.0, sigma=1.0, basis="given")
NEAR = [0.5, -0.5]


def _found(values):
    return [(found.index, found.rule) for found in run_rules(values, LIMITS)]


@pytest.mark.parametrize(
    ("values", "index", "rule"),
    [
        ([*NEAR, 3.1], 2, "one point above the upper limit"),
        ([*NEAR, -3.1], 2, "one point below the lower limit"),
        ([2.5, 0.1, 2.1], 2, "two of three points more than 2 sigma above the centre"),
        ([-2.5, -2.1], 1, "two of three points more than 2 sigma below the centre"),
        ([1.5, 1.5, -0.2, 1.5, 1.5], 4, "four of five points more than 1 sigma above the centre"),
        ([-1.5] * 4, 3, "four of five points more than 1 sigma below the centre"),
        ([-0.5, *[0.2] * 8], 8, "eight points in a row above the centre"),
        ([0.5, *[-0.2] * 8], 8, "eight points in a row below the centre"),
    ],
)
def test_each_rule_is_named_at_the_point_that_completes_it(values, index, rule):
    """The first break of each pattern is its last point, in words, and nothing else is found."""
    assert _found(values) == [(index, rule)]


@pytest.mark.parametrize(
    "values",
    [
        [3.0, -3.0, 0.0],
        [2.5, -2.5, 0.5],
        [2.5, 0.1, 0.1, 2.5],
        [2.0, 2.0, 0.0],
        [1.5, 1.5, 1.5, 0.5, 0.5, 1.5],
        [0.2] * 7 + [0.0] + [0.2] * 7,
        [],
    ],
    ids=["on the limits", "two sides", "too far apart", "on two sigma", "four of six", "on the centre", "no points"],
)
def test_what_just_misses_a_rule_is_silent(values):
    """A point on a line isn't beyond it, and a pattern must be whole and on one side."""
    assert _found(values) == []


def test_a_pattern_that_goes_on_is_named_at_each_point():
    """The ninth point in a row breaks the rule again."""
    assert [index for index, _ in _found([0.2] * 10)] == [7, 8, 9]


@given(values=st.lists(st.floats(-4, 4), max_size=25))
@settings(deadline=None, max_examples=100)
def test_what_is_found_is_the_same_upside_down_and_before_more_points(values):
    """Mirrored points break the same rules on the other side, and later points change nothing found before."""
    swap = {"above": "below", "below": "above", "upper": "lower", "lower": "upper"}
    mirrored = [
        (i, " ".join(swap.get(word, word) for word in rule.split())) for i, rule in _found([-v for v in values])
    ]
    assert sorted(mirrored) == sorted(_found(values))
    assert _found([*values, 9.0])[: len(_found(values))] == _found(values)


def test_a_steady_process_breaks_a_rule_about_once_in_ninety_two_points():
    """The mean run to the first false alarm is near the published 91.75 (Champ and Woodall 1987)."""
    generator = np.random.Generator(np.random.PCG64(5))
    runs = []
    for _ in range(300):
        values = generator.normal(size=500).tolist()
        runs.append(next((index + 1 for index, _ in _found(values)), 500))
    assert np.mean(runs) == pytest.approx(91.75, rel=0.15)


def _in_turn(run):
    moves = [b - a for a, b in pairwise(run)]
    return all(a * b < 0.0 for a, b in pairwise(moves))


def _plain(values, rules):
    """The rules as they are told, point by point."""
    one_sided = {
        "western electric": [(2, 3, 2.0, "two of three"), (4, 5, 1.0, "four of five"), (8, 8, 0.0, "eight points")],
        "nelson": [(9, 9, 0.0, "nine points"), (2, 3, 2.0, "two of three"), (4, 5, 1.0, "four of five")],
    }[rules]
    found = []
    for end, value in enumerate(values):
        for sign in (1.0, -1.0):
            if sign * value > 3.0:
                found.append((end, "one point", (end,)))
            for need, window, sigmas, words in one_sided:
                there = tuple(at for at in range(max(0, end + 1 - window), end + 1) if sign * values[at] > sigmas)
                if end in there and len(there) >= need:
                    found.append((end, words, there))
        if rules == "nelson":
            found += [
                (end, words, tuple(range(end + 1 - length, end + 1)))
                for length, words, broken in (
                    (6, "six points in a row rising", lambda run: all(a < b for a, b in pairwise(run))),
                    (6, "six points in a row falling", lambda run: all(a > b for a, b in pairwise(run))),
                    (14, "fourteen points", _in_turn),
                    (15, "fifteen points", lambda run: all(abs(one) < 1.0 for one in run)),
                    (8, "eight points in a row more", lambda run: all(abs(one) > 1.0 for one in run)),
                )
                if end + 1 >= length and broken(values[end + 1 - length : end + 1])
            ]
    return sorted(found)


@given(
    values=st.lists(
        st.sampled_from([-3.5, -2.5, -1.5, -0.5, -0.2, 0.0, 0.3, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]), max_size=40
    )
    | st.lists(st.floats(-1.2, 1.2), min_size=14, max_size=40),
    rules=st.sampled_from(["western electric", "nelson"]),
)
@settings(deadline=None, max_examples=200)
def test_rules_and_their_points_are_those_found_one_by_one(values, rules):
    """Each break, and the points of its pattern, is what the slow way finds."""
    quick = [(one.index, one.rule, one.points) for one in run_rules(values, LIMITS, rules)]
    slow = _plain(values, rules)
    assert len(quick) == len(slow)
    for index, words, points in slow:
        assert any(one[0] == index and one[1].startswith(words) and one[2] == points for one in quick)


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ([0.2] * 9, "nine points in a row above the centre"),
        ([-0.2] * 9, "nine points in a row below the centre"),
        ([-0.5, -0.3, -0.1, 0.1, 0.3, 0.5], "six points in a row rising"),
        ([0.5, 0.3, 0.1, -0.1, -0.3, -0.5], "six points in a row falling"),
        ([0.3, -0.3] * 7, "fourteen points in a row going up and down in turn"),
        ([0.5, -0.5, -0.4] * 5, "fifteen points in a row within 1 sigma of the centre"),
        ([1.5, 1.4, 1.2, -1.5] * 2, "eight points in a row more than 1 sigma from the centre, on either side"),
    ],
)
def test_each_of_nelsons_rules_is_named_in_words(values, rule):
    """The pattern's last point, and no earlier one, breaks the rule; all its points are told."""
    found = [one for one in run_rules(values, LIMITS, "nelson") if one.rule == rule]
    assert [(one.index, one.points) for one in found] == [(len(values) - 1, tuple(range(len(values))))]


@pytest.mark.parametrize(
    "values",
    [
        [0.2] * 8,
        [-0.5, -0.3, -0.1, 0.1, 0.3, 0.3],
        [0.5, -0.5, -0.4] * 4 + [0.5, 1.0, -0.4],
        [1.5, -1.5, 1.0, -1.5] * 3,
    ],
    ids=["eight in a row", "level at the end", "one on one sigma", "some on one sigma"],
)
def test_what_just_misses_nelsons_rules_is_silent(values):
    """A run that is too short, doesn't rise, or has a point on a line breaks nothing."""
    assert run_rules(values, LIMITS, "nelson") == ()


def test_limits_must_be_those_of_the_points():
    """Fewer limits than points are refused with both numbers."""
    with pytest.raises(ArgumentError, match="each point needs its limits, got '1 for 2'"):
        run_rules([1.0, 2.0], [LIMITS])


def test_a_set_of_rules_must_be_known():
    """Another name than those of the two sets is refused, and both are told."""
    with pytest.raises(ArgumentError, match="rules: one of: western electric, nelson, got 'montgomery'"):
        run_rules([1.0], LIMITS, "montgomery")
