"""Run rules: patterns too unlikely for a steady process, each named in words with the points that make it up."""

from collections.abc import Callable, Sequence
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wideroll.control.model import ControlLimits, RuleBreak
from wideroll.control.series import same_length
from wideroll.errors import ArgumentError

__all__ = ["RuleSet", "beyond_limits", "run_rules"]

RuleSet: TypeAlias = Literal["western electric", "nelson"]

_Floats: TypeAlias = NDArray[np.float64]
_Flags: TypeAlias = NDArray[np.bool_]
_Found: TypeAlias = tuple[int, int, int, RuleBreak]
"""Point, side and rule, to sort by, and the break."""

_TWO_OF_THREE: Final = (2, 3, 2.0, "two of three points more than 2 sigma {side} the centre")
_FOUR_OF_FIVE: Final = (4, 5, 1.0, "four of five points more than 1 sigma {side} the centre")
_ONE_SIDED: Final = {
    "western electric": (_TWO_OF_THREE, _FOUR_OF_FIVE, (8, 8, 0.0, "eight points in a row {side} the centre")),
    "nelson": ((9, 9, 0.0, "nine points in a row {side} the centre"), _TWO_OF_THREE, _FOUR_OF_FIVE),
}
"""How many, of how many, beyond how many sigma on one side, in words."""
_RISING, _ALTERNATING, _WITHIN, _OUTSIDE = 6, 14, 15, 8
_BOTH: Final = 2


def run_rules(
    values: Sequence[float], limits: ControlLimits | Sequence[ControlLimits], rules: RuleSet = "western electric"
) -> tuple[RuleBreak, ...]:
    """Each point that completes a broken rule, in time order, with the points of the pattern.

    The four rules of the Western Electric handbook (1956): one point beyond a limit; two of three beyond 2 sigma; four
    of five beyond 1 sigma; eight in a row; the last three on one side of the centre. On a steady normal process a
    two-sided chart breaks one of them about once in 92 points (Champ and Woodall 1987).

    The eight of Nelson (1984, Journal of Quality Technology 16; from memory): one point beyond a limit; nine in a row
    on one side; six in a row rising or falling; fourteen going up and down in turn; two of three beyond 2 sigma and
    four of five beyond 1 sigma on one side; fifteen in a row within 1 sigma; eight in a row beyond 1 sigma on either
    side. They alarm more often: ask them to look for a cause, not to stop a line.

    A point on a line is neither beyond nor within it.

    Args:
        values: the points.
        limits: one for all points, or one for each.
        rules: which of the two sets.

    Raises:
        ArgumentError: when there isn't one limit for each point, or the set isn't known.

    Example:
        >>> limits = ControlLimits(centre=10.0, low=7.0, high=13.0, sigma=1.0, basis="given")
        >>> [(found.index, found.rule, found.points) for found in run_rules([10.0, 12.1, 9.0, 12.2], limits)]
        [(3, 'two of three points more than 2 sigma above the centre', (1, 3))]
        >>> [found.rule for found in run_rules([9.5, 9.6, 9.8, 10.2, 10.5, 10.8], limits, "nelson")]
        ['six points in a row rising']
    """
    if rules not in _ONE_SIDED:
        raise ArgumentError(
            where="rules", rule=f"one of: {', '.join(_ONE_SIDED)}", value=rules, mend="Give 'western electric'."
        )
    points, centre, sigma, low, high = _columns(values, limits)
    found = _past_limits(points, low, high)
    for side, (sign, word) in enumerate(((1.0, "above"), (-1.0, "below"))):
        for order, (need, window, sigmas, words) in enumerate(_ONE_SIDED[rules], 1):
            there = sign * (points - centre) > sigmas * sigma
            found += _patterns(there, need, window, (side, order), words.format(side=word))
    if rules == "nelson":
        found += _either_side(points, np.abs(points - centre), sigma)
    return _in_order(found)


def beyond_limits(values: Sequence[float], limits: ControlLimits | Sequence[ControlLimits]) -> tuple[RuleBreak, ...]:
    """Points beyond a limit: the one rule for points that lean to one side or hang together."""
    points, _, _, low, high = _columns(values, limits)
    return _in_order(_past_limits(points, low, high))


def _columns(
    values: Sequence[float], limits: ControlLimits | Sequence[ControlLimits]
) -> tuple[_Floats, _Floats, _Floats, _Floats, _Floats]:
    points = np.asarray(values, dtype=np.float64)
    lines = [limits] * len(points) if isinstance(limits, ControlLimits) else list(limits)
    same_length(len(points), len(lines), where="limits", rule="each point needs its limits")
    read: tuple[Callable[[ControlLimits], float], ...] = (
        lambda one: one.centre,
        lambda one: one.sigma,
        lambda one: one.low,
        lambda one: one.high,
    )
    centre, sigma, low, high = (np.array([each(line) for line in lines], dtype=np.float64) for each in read)
    return points, centre, sigma, low, high


def _past_limits(points: _Floats, low: _Floats, high: _Floats) -> list[_Found]:
    sides = ((points > high, "one point above the upper limit"), (points < low, "one point below the lower limit"))
    return [one for side, (there, rule) in enumerate(sides) for one in _patterns(there, 1, 1, (side, 0), rule)]


def _either_side(points: _Floats, away: _Floats, sigma: _Floats) -> list[_Found]:
    moves = np.diff(points)
    turns = moves[1:] * moves[:-1] < 0.0
    row = "points in a row"
    return [
        *_runs(moves > 0.0, _RISING, 1, (_BOTH, 0), f"six {row} rising"),
        *_runs(moves < 0.0, _RISING, 1, (_BOTH, 1), f"six {row} falling"),
        *_runs(turns, _ALTERNATING, 2, (_BOTH, 2), f"fourteen {row} going up and down in turn"),
        *_runs(away < sigma, _WITHIN, 0, (_BOTH, 3), f"fifteen {row} within 1 sigma of the centre"),
        *_runs(away > sigma, _OUTSIDE, 0, (_BOTH, 4), f"eight {row} more than 1 sigma from the centre, on either side"),
    ]


def _runs(there: _Flags, length: int, before: int, order: tuple[int, int], rule: str) -> list[_Found]:
    """Runs of so many points of which what is asked is known from the point with the number ``before`` on."""
    steps = length - before
    ends = [end + before for end, *_ in _patterns(there, steps, steps, order, rule)]
    return [
        (end, *order, RuleBreak(index=end, rule=rule, points=tuple(range(end + 1 - length, end + 1)))) for end in ends
    ]


def _patterns(there: _Flags, need: int, window: int, order: tuple[int, int], rule: str) -> list[_Found]:
    """Points that are there and complete so many within the window."""
    sums = np.concatenate([[0], np.cumsum(there)])
    ends = np.arange(1, len(there) + 1)
    counts = sums[ends] - sums[np.maximum(0, ends - window)]
    return [
        (end, *order, RuleBreak(index=end, rule=rule, points=_where(there, end, window)))
        for end in np.flatnonzero(there & (counts >= need)).tolist()
    ]


def _where(there: _Flags, end: int, window: int) -> tuple[int, ...]:
    start = max(0, end + 1 - window)
    return tuple(start + place for place in np.flatnonzero(there[start : end + 1]).tolist())


def _in_order(found: list[_Found]) -> tuple[RuleBreak, ...]:
    return tuple(one[-1] for one in sorted(found, key=lambda one: one[:-1]))
