"""The parts to avoid, as the slitter sees them, and the places where cutting across because of them can pay."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.slitting.knives import Knives, down_um, up_um
from wideroll.slitting.request import Request

__all__ = ["CrossCut", "Region", "cross_cuts", "largest_first"]

_SAME_M: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """An avoided part inside the usable web; across outward to whole micrometres from the first usable place."""

    along_from_m: float
    along_to_m: float
    low_um: int
    high_um: int

    @property
    def size(self) -> float:
        """Area in m·µm, to compare."""
        return (self.along_to_m - self.along_from_m) * (self.high_um - self.low_um)


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class CrossCut:
    """A place to change the knives: the web from ``head_to_m`` to ``tail_from_m`` is lost with setting them.

    The slitter unwinds the tail first, so what lies after ``tail_from_m`` is slit before the change.
    """

    tail_from_m: float
    head_to_m: float


def largest_first(request: Request, knives: Knives) -> tuple[Region, ...]:
    """The regions that reach into the usable web, largest area first; one without area avoids nothing."""
    regions: set[Region] = set()
    for extent in (part for one in request.avoid if (part := one.extent.meet(request.whole)) is not None):
        low_um = max(down_um(extent.across_from_mm) - knives.origin_um, 0)
        high_um = min(up_um(extent.across_to_mm) - knives.origin_um, knives.usable_um)
        if low_um < high_um:
            regions.add(
                Region(along_from_m=extent.along_from_m, along_to_m=extent.along_to_m, low_um=low_um, high_um=high_um)
            )
    return tuple(sorted(regions, key=lambda r: (-r.size, r.along_from_m, r.low_um, r.along_to_m)))


def cross_cuts(request: Request, regions: Sequence[Region]) -> tuple[CrossCut, ...]:
    """The places where a change of knives can pay, most promising first.

    With both layouts given, the value of a change is a piecewise linear function of its place, so it is best where
    either end of the web lost with it meets the start or the end of a region (bar what a least length of piece adds).
    First come the changes that hide behind a region: lost web that reaches from the region's start or to its end; then
    those in front of one. Within each kind the order is that of ``regions``.
    """
    whole, setup = request.whole, request.rules.setup_m
    behind = (
        cut
        for r in regions
        for cut in (
            CrossCut(head_to_m=r.along_from_m, tail_from_m=r.along_from_m + setup),
            CrossCut(head_to_m=r.along_to_m - setup, tail_from_m=r.along_to_m),
        )
    )
    before = (
        cut
        for r in regions
        for cut in (
            CrossCut(head_to_m=r.along_from_m - setup, tail_from_m=r.along_from_m),
            CrossCut(head_to_m=r.along_to_m, tail_from_m=r.along_to_m + setup),
        )
    )
    found: dict[int, CrossCut] = {}
    for cut in itertools.chain(behind, before):
        inside = cut.head_to_m > whole.along_from_m + _SAME_M and cut.tail_from_m < whole.along_to_m - _SAME_M
        place = round(cut.tail_from_m / _SAME_M)
        # neighbouring numbers of one place count as one, whichever side of the rounding they fall on
        if inside and not {place - 1, place, place + 1} & found.keys():
            found[place] = cut
    return tuple(found.values())
