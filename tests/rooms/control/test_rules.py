"""Run rules name the point that completes a pattern, and rarely speak when nothing is wrong."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.control import ControlLimits, run_rules

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
