"""Causes by how much they cost, and which few make up most of it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from scipy.special import betaincinv

from wideroll.control.series import check_confidence
from wideroll.errors import ArgumentError

__all__ = ["ParetoLine", "pareto"]

_MOST: Final = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class ParetoLine:
    """A cause, with its share and that of all down to it."""

    cause: str
    amount: float
    share: float
    share_low: float | None
    """Interval of the share; None where amounts aren't counts."""
    share_high: float | None
    cumulative: float
    vital: bool
    """Whether it is among the few that make up 80 %."""


def pareto(
    amounts: Mapping[str, float], *, unknown: str = "", counted: bool = False, confidence: float = 0.95
) -> tuple[ParetoLine, ...]:
    """Causes from the largest to the smallest; those of equal amount by name, and what has no known cause last.

    The vital few are the first whose shares come to 80 % (common practice). With counts each share has Clopper and
    Pearson's interval, as if cases were independent: where intervals of two causes overlap, their order may be
    chance.

    Args:
        amounts: cases, lost square metres or money by cause, not negative; causes of nothing are left out.
        unknown: cause that stands for no known cause; never among the vital few.
        counted: whether amounts are numbers of cases.
        confidence: two-sided, of each share by itself.

    Raises:
        ArgumentError: when an amount is negative or not finite, or not whole where counted.

    Example:
        >>> lines = pareto({"nick on lip": 6, "bubble": 13, "dirt": 1, "not known": 4}, unknown="not known")
        >>> [(line.cause, round(line.cumulative, 2), line.vital) for line in lines]
        [('bubble', 0.54, True), ('nick on lip', 0.79, True), ('dirt', 0.83, True), ('not known', 1.0, False)]
    """
    check_confidence(confidence)
    for cause, amount in amounts.items():
        if not 0.0 <= amount < math.inf:
            raise ArgumentError(
                where=f"amounts[{cause}]", rule="must be finite and at least 0", value=amount, mend="Leave it out."
            )
        if counted and amount != math.floor(amount):
            raise ArgumentError(
                where=f"amounts[{cause}]", rule="counts are whole numbers", value=amount, mend="Count cases."
            )
    total = math.fsum(amounts.values())
    order = sorted((cause for cause, amount in amounts.items() if amount), key=lambda one: _rank(one, amounts, unknown))
    lines: list[ParetoLine] = []
    before = 0.0
    for cause in order:
        amount = amounts[cause]
        low, high = _interval(amount, total, (1.0 - confidence) / 2.0) if counted else (None, None)
        lines.append(
            ParetoLine(
                cause=cause,
                amount=float(amount),
                share=amount / total,
                share_low=low,
                share_high=high,
                cumulative=(before + amount) / total,
                vital=cause != unknown and before < _MOST * total,
            )
        )
        before += amount
    return tuple(lines)


def _rank(cause: str, amounts: Mapping[str, float], unknown: str) -> tuple[bool, float, str]:
    return cause == unknown, -amounts[cause], cause


def _interval(amount: float, total: float, tail: float) -> tuple[float, float]:
    rest = total - amount
    low = float(betaincinv(amount, rest + 1.0, tail)) if amount else 0.0
    return low, float(betaincinv(amount + 1.0, rest, 1.0 - tail)) if rest else 1.0
