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
    """The rectangles that one source of evidence looked at, and those it could not.

    Example:
        >>> whole = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1000.0)
        >>> splice = Extent(along_from_m=4.0, along_to_m=4.5, across_from_mm=0.0, across_to_mm=1000.0)
        >>> Coverage(seen=(whole,), unseen=(Unseen(extent=splice, why="splice"),)).share(whole)
        0.95
    """

    seen: tuple[Extent, ...] = ()
    unseen: tuple[Unseen, ...] = ()

    def share(self, whole: Extent) -> float:
        """Fraction of ``whole`` (0 to 1) that was looked at and isn't listed as unseen; 0 for a whole without area."""
        if whole.area_m2 <= 0.0:
            return 0.0
        holes = [part for hole in self.unseen if (part := hole.extent.meet(whole))]
        gaps = [gap.extent for gap in unseen_within(whole, self.seen, why="")]
        # What is missing is summed, so that a web seen to the last millimetre has a share of exactly 1.
        return min(1.0, max(0.0, 1.0 - union_area_m2([*gaps, *holes]) / whole.area_m2))


def unseen_within(whole: Extent, seen: Sequence[Extent], why: str) -> tuple[Unseen, ...]:
    """The parts of ``whole`` that none of ``seen`` covers.

    Returns:
        Rectangles that don't overlap, from the head on; each reaches along as far as its borders across stay the same.

    Example:
        >>> whole = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1000.0)
        >>> scanned = Extent(along_from_m=0.0, along_to_m=8.0, across_from_mm=0.0, across_to_mm=1000.0)
        >>> [gap.extent.length_m for gap in unseen_within(whole, [scanned], "the scan ends at 8 m")]
        [2.0]
    """
    if whole.area_m2 <= 0.0:
        return ()
    boxes = [part for box in seen if (part := box.meet(whole))]
    cuts = sorted(
        {whole.along_from_m, whole.along_to_m} | {s for box in boxes for s in (box.along_from_m, box.along_to_m)}
    )
    gaps: list[Unseen] = []
    for start, end in itertools.pairwise(cuts):
        spans = ((b.across_from_mm, b.across_to_mm) for b in boxes if b.along_from_m <= start and b.along_to_m >= end)
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
