"""Places, stretches and lanes of a web.

Along in metres from the roll's head, across in millimetres from the datum edge.
"""

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

from wideroll.errors import ArgumentError

__all__ = ["Extent", "Lane", "Place", "Side", "lanes_of", "union_area_m2"]


class Side(StrEnum):
    """The side of the web: the coated one, or the bare support."""

    EMULSION = "emulsion"
    BASE = "base"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A point on the web."""

    along_m: float
    across_mm: float
    side: Side = Side.EMULSION


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Extent:
    """A rectangle of the web, half open: ``from`` belongs to it, ``to`` does not.

    Raises:
        ArgumentError: when a border isn't finite or an end lies before its start.

    Example:
        >>> stretch = Extent(along_from_m=10.0, along_to_m=12.0, across_from_mm=0.0, across_to_mm=1380.0)
        >>> round(stretch.area_m2, 6)
        2.76
        >>> stretch.contains(Place(along_m=12.0, across_mm=5.0))
        False
    """

    along_from_m: float
    along_to_m: float
    across_from_mm: float
    across_to_mm: float

    def __post_init__(self) -> None:
        """Refuse inverted or unbounded rectangles."""
        for axis, start, end in (
            ("along", self.along_from_m, self.along_to_m),
            ("across", self.across_from_mm, self.across_to_mm),
        ):
            if not (math.isfinite(start) and math.isfinite(end)) or end < start:
                raise ArgumentError(
                    where=f"extent {axis}",
                    rule="the end must be finite and not before the start",
                    value=(start, end),
                    mend="Give from ≤ to.",
                )

    @property
    def length_m(self) -> float:
        """Length along the web."""
        return self.along_to_m - self.along_from_m

    @property
    def width_mm(self) -> float:
        """Width across the web."""
        return self.across_to_mm - self.across_from_mm

    @property
    def area_m2(self) -> float:
        """Area of web."""
        return self.length_m * self.width_mm / 1000.0

    def contains(self, place: Place) -> bool:
        """Whether the place lies inside."""
        return (
            self.along_from_m <= place.along_m < self.along_to_m
            and self.across_from_mm <= place.across_mm < self.across_to_mm
        )

    def meet(self, other: Self) -> Self | None:
        """The part both share, or None where they share no area."""
        along = max(self.along_from_m, other.along_from_m), min(self.along_to_m, other.along_to_m)
        across = max(self.across_from_mm, other.across_from_mm), min(self.across_to_mm, other.across_to_mm)
        if along[0] >= along[1] or across[0] >= across[1]:
            return None
        return type(self)(along_from_m=along[0], along_to_m=along[1], across_from_mm=across[0], across_to_mm=across[1])

    def grown(self, *, along_m: float = 0.0, across_mm: float = 0.0) -> Self:
        """The rectangle with a guard distance added on every side; it may reach over the edge of the web.

        Raises:
            ArgumentError: when a negative distance takes more away than there is.
        """
        return type(self)(
            along_from_m=self.along_from_m - along_m,
            along_to_m=self.along_to_m + along_m,
            across_from_mm=self.across_from_mm - across_mm,
            across_to_mm=self.across_to_mm + across_mm,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """A strip of the web between two places across, numbered from the datum edge."""

    number: int
    across_from_mm: float
    across_to_mm: float

    def over(self, along_from_m: float, along_to_m: float) -> Extent:
        """The lane over a stretch of the web."""
        return Extent(
            along_from_m=along_from_m,
            along_to_m=along_to_m,
            across_from_mm=self.across_from_mm,
            across_to_mm=self.across_to_mm,
        )


def union_area_m2(extents: Iterable[Extent]) -> float:
    """Area in m² covered by at least one of the rectangles (each place counted once).

    Example:
        >>> sheet = Extent(along_from_m=0.0, along_to_m=1.0, across_from_mm=0.0, across_to_mm=500.0)
        >>> union_area_m2([sheet, sheet.grown(along_m=0.5)])
        1.0
    """
    boxes = tuple(extents)
    cuts = sorted({s for box in boxes for s in (box.along_from_m, box.along_to_m)})
    area = 0.0
    for start, end in itertools.pairwise(cuts):
        spans = sorted(
            (box.across_from_mm, box.across_to_mm)
            for box in boxes
            if box.along_from_m <= start and box.along_to_m >= end
        )
        covered, reach = 0.0, -math.inf
        for low, high in spans:
            covered += max(0.0, high - max(low, reach))
            reach = max(reach, high)
        area += (end - start) * covered / 1000.0
    return area


def lanes_of(whole: Extent, width_mm: float) -> tuple[Lane, ...]:
    """As many lanes of a width as the web holds, side by side in its middle; none where it is too narrow.

    Raises:
        ArgumentError: when the width isn't above 0.

    Example:
        >>> web = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=110.0)
        >>> [(lane.number, lane.across_from_mm) for lane in lanes_of(web, 35.0)]
        [(1, 2.5), (2, 37.5), (3, 72.5)]
    """
    if not width_mm > 0.0:
        raise ArgumentError(where="width_mm", rule="must be above 0", value=width_mm, mend="Give the width of a lane.")
    count = math.floor(whole.width_mm / width_mm + 1e-9)
    start = whole.across_from_mm + (whole.width_mm - count * width_mm) / 2.0
    return tuple(
        Lane(number=n + 1, across_from_mm=start + n * width_mm, across_to_mm=start + (n + 1) * width_mm)
        for n in range(count)
    )
