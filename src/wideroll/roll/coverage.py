"""What was looked at and what was not: coverage is part of every verdict."""

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wideroll.roll.places import Extent, union_area_m2

__all__ = ["Coverage", "Unseen", "unseen_within"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """A part of the web that nobody looked at, and why not."""

    extent: Extent
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """The rectangles that one source of evidence looked at, and those it could not."""

    seen: tuple[Extent, ...] = ()
    unseen: tuple[Unseen, ...] = ()

    def share(self, whole: Extent) -> float:
        """Fraction of ``whole`` (0 to 1) that was looked at and isn't listed as unseen."""
        if whole.area_m2 <= 0.0:
            return 0.0
        holes = [part for hole in self.unseen if (part := hole.extent.meet(whole))]
        both = [part for box in self.seen if (part := box.meet(whole))]
        # area of seen without holes = area(seen ∪ holes) − area(holes)
        return (union_area_m2([*both, *holes]) - union_area_m2(holes)) / whole.area_m2


def unseen_within(whole: Extent, seen: Sequence[Extent], why: str) -> tuple[Unseen, ...]:
    """The parts of ``whole`` that none of ``seen`` covers, as rectangles cut at every border along the web."""
    cuts = sorted(
        {whole.along_from_m, whole.along_to_m}
        | {
            min(max(s, whole.along_from_m), whole.along_to_m)
            for box in seen
            for s in (box.along_from_m, box.along_to_m)
        }
    )
    gaps: list[Unseen] = []
    for start, end in itertools.pairwise(cuts):
        spans = ((b.across_from_mm, b.across_to_mm) for b in seen if b.along_from_m <= start and b.along_to_m >= end)
        for low, high in _free(whole.across_from_mm, whole.across_to_mm, spans):
            extent = Extent(along_from_m=start, along_to_m=end, across_from_mm=low, across_to_mm=high)
            gaps.append(Unseen(extent=extent, why=why))
    return _joined(gaps)


def _free(low: float, high: float, spans: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    free: list[tuple[float, float]] = []
    reach = low
    for start, end in sorted(spans):
        if start > reach:
            free.append((reach, min(start, high)))
        reach = max(reach, end)
        if reach >= high:
            break
    if reach < high:
        free.append((reach, high))
    return free


def _joined(gaps: Sequence[Unseen]) -> tuple[Unseen, ...]:
    done: list[Unseen] = []
    for gap in sorted(gaps, key=lambda g: (g.extent.across_from_mm, g.extent.across_to_mm, g.extent.along_from_m)):
        last = done[-1].extent if done else None
        here = gap.extent
        if last and (last.across_from_mm, last.across_to_mm, last.along_to_m) == (
            here.across_from_mm,
            here.across_to_mm,
            here.along_from_m,
        ):
            joined = Extent(
                along_from_m=last.along_from_m,
                along_to_m=here.along_to_m,
                across_from_mm=here.across_from_mm,
                across_to_mm=here.across_to_mm,
            )
            done[-1] = Unseen(extent=joined, why=gap.why)
        else:
            done.append(gap)
    return tuple(sorted(done, key=lambda g: g.extent))
