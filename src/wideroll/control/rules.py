"""Run rules: patterns too unlikely for a steady process."""

from collections.abc import Sequence
from typing import Final

from wideroll.control.model import ControlLimits, RuleBreak

__all__ = ["run_rules"]

_RULES: Final = (
    (2, 3, 2.0, "two of three points more than 2 sigma {side} the centre"),
    (4, 5, 1.0, "four of five points more than 1 sigma {side} the centre"),
    (8, 8, 0.0, "eight points in a row {side} the centre"),
)
"""How many, of how many, beyond how many sigma on one side, in words."""
_LONGEST: Final = max(window for _, window, _, _ in _RULES)


def run_rules(values: Sequence[float], limits: ControlLimits | Sequence[ControlLimits]) -> tuple[RuleBreak, ...]:
    """Each point that completes a broken rule, in time order.

    The four rules of the Western Electric handbook (1956): one point beyond a limit; two of three beyond 2 sigma; four
    of five beyond 1 sigma; eight in a row; the last three on one side of the centre. A point on a line isn't beyond it.
    On a steady normal process a two-sided chart breaks one of them about once in 92 points (Champ and Woodall 1987).

    Args:
        values: the points.
        limits: one for all points, or one for each.

    Example:
        >>> limits = ControlLimits(centre=10.0, low=7.0, high=13.0, sigma=1.0, basis="given")
        >>> [(found.index, found.rule) for found in run_rules([10.0, 12.1, 9.0, 12.2], limits)]
        [(3, 'two of three points more than 2 sigma above the centre')]
    """
    lines = [limits] * len(values) if isinstance(limits, ControlLimits) else list(limits)
    points = list(zip(values, lines, strict=True))
    return tuple(
        RuleBreak(index=index, rule=rule)
        for index in range(len(points))
        for sign, side in ((1.0, "above"), (-1.0, "below"))
        for rule in _broken(points[max(0, index + 1 - _LONGEST) : index + 1], sign, side)
    )


def _broken(points: Sequence[tuple[float, ControlLimits]], sign: float, side: str) -> list[str]:
    """The rules that the last point completes on one side."""
    value, limits = points[-1]
    found: list[str] = []
    if value > limits.high if sign > 0.0 else value < limits.low:
        found.append(f"one point {side} the {'upper' if sign > 0.0 else 'lower'} limit")
    for need, window, sigmas, words in _RULES:
        beyond = [sign * (one - line.centre) > sigmas * line.sigma for one, line in points[-window:]]
        if beyond[-1] and sum(beyond) >= need:
            found.append(words.format(side=side))
    return found
