"""Series of one search that one and the same roller must have left: prints side by side, or begun anew after a stop."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from wideroll.repeats.model import Series, SeriesKind

__all__ = ["ASIDE_MM", "same_maker", "with_makers"]

_SPACING: Final = 0.002
"""Two rollers of a line are rarely as alike, one roller's series rarely less."""
_MULTIPLE: Final = 0.01
_MULTIPLES: Final = (1.0 / 3.0, 0.5, 1.0, 2.0, 3.0)
ASIDE_MM: Final = 40.0
"""Prints of one place on a roller: its nick, the tail of it, a web that weaves. Judgement."""


def same_maker(one: Series, other: Series, lane_mm: float) -> bool:
    """Whether one roller made both.

    Prints within 40 mm across with one spacing within 0.2 % are; at the same place also those whose spacing is once,
    twice or three times the other's, or a half or a third of it, within 1 %: what a change of slip left over.

    Args:
        one: a series.
        other: of the same roll.
        lane_mm: width of a lane.
    """
    if one.kind is not SeriesKind.ROLLER or other.kind is not SeriesKind.ROLLER:
        return False
    aside, ratio = abs(one.across_mm - other.across_mm), one.spacing_m / other.spacing_m
    if aside <= lane_mm:
        return any(abs(ratio / multiple - 1.0) <= _MULTIPLE for multiple in _MULTIPLES)
    return aside <= ASIDE_MM and abs(ratio - 1.0) <= _SPACING


def with_makers(series: Sequence[Series], lane_mm: float) -> tuple[Series, ...]:
    """The series, each told which clearer one its roller also made.

    Args:
        series: most significant first.
        lane_mm: width of a lane.
    """
    told: list[Series] = []
    for one in series:
        first = next((n for n, other in enumerate(told) if same_maker(other, one, lane_mm)), None)
        if first is not None and told[first].same_maker_as is not None:
            first = told[first].same_maker_as
        told.append(one if first is None else replace(one, same_maker_as=first))
    return tuple(told)
