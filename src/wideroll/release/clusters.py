"""Many small boxes as few larger ones."""

from collections.abc import Sequence
from typing import Final

from wideroll.roll import Extent

__all__ = ["hull", "joined_near"]

_STEP_M: Final = 0.1
_STEP_MM: Final = 10.0


def joined_near(boxes: Sequence[Extent], most: int) -> tuple[Extent, ...]:
    """Boxes that touch as one that holds them, and where these are more than ``most``, those that lie near too.

    How near is doubled until they are few enough, so that a thousand marks make a handful of parts to go and look at.
    """
    parts = _joined(boxes, 0.0, 0.0)
    reach_m, reach_mm = _STEP_M, _STEP_MM
    while len(parts) > most:
        parts = _joined(parts, reach_m, reach_mm)
        reach_m, reach_mm = 2.0 * reach_m, 2.0 * reach_mm
    return tuple(sorted(parts))


def hull(boxes: Sequence[Extent]) -> Extent:
    """The smallest box that holds them all."""
    return Extent(
        along_from_m=min(box.along_from_m for box in boxes),
        along_to_m=max(box.along_to_m for box in boxes),
        across_from_mm=min(box.across_from_mm for box in boxes),
        across_to_mm=max(box.across_to_mm for box in boxes),
    )


def _joined(boxes: Sequence[Extent], reach_m: float, reach_mm: float) -> list[Extent]:
    before = len(boxes) + 1
    parts = list(boxes)
    while len(parts) < before:  # a joined box may reach back to one that the sweep had left behind
        before = len(parts)
        parts = _sweep(parts, reach_m, reach_mm)
    return parts


def _sweep(boxes: Sequence[Extent], reach_m: float, reach_mm: float) -> list[Extent]:
    done: list[Extent] = []
    open_: list[Extent] = []
    for fresh in sorted(boxes):
        box = fresh
        done += [other for other in open_ if other.along_to_m < box.along_from_m - reach_m]
        open_ = [other for other in open_ if other.along_to_m >= box.along_from_m - reach_m]
        while near := [other for other in open_ if _near(other, box, reach_m, reach_mm)]:
            open_ = [other for other in open_ if other not in near]
            box = hull([*near, box])
        open_.append(box)
    return [*done, *open_]


def _near(one: Extent, other: Extent, reach_m: float, reach_mm: float) -> bool:
    return (
        one.along_from_m <= other.along_to_m + reach_m
        and other.along_from_m <= one.along_to_m + reach_m
        and one.across_from_mm <= other.across_to_mm + reach_mm
        and other.across_from_mm <= one.across_to_mm + reach_mm
    )
