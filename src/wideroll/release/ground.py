"""What is left of the web when parts are cut out, and how much of it was looked at."""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Coverage, Extent, Unseen

__all__ = [
    "SeenAlong",
    "across_whole",
    "area_seen_m2",
    "area_within_m2",
    "joined_alike",
    "outside",
    "seen_along",
    "unseen_parts",
    "why_unseen",
]

Floats: TypeAlias = NDArray[np.float64]
Span: TypeAlias = tuple[float, float]

_LEAST_M: Final = 0.001
_LEAST_MM: Final = 1.0
"""Parts shorter or narrower than this come from rounding of borders."""
_ALIKE_MM: Final = 5.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenAlong:
    """Area looked at from the head of the roll up to each border; straight between borders."""

    borders_m: Floats
    area_m2: Floats

    def between(self, from_m: Floats | float, to_m: Floats | float) -> Floats:
        """Area in m² looked at between places along."""
        upto = np.interp(np.stack(np.broadcast_arrays(from_m, to_m)), self.borders_m, self.area_m2)
        return np.asarray(upto[1] - upto[0], dtype=np.float64)

    @property
    def total_m2(self) -> float:
        """All area looked at."""
        return float(self.area_m2[-1])


def seen_along(whole: Extent, coverage: Coverage, cuts: Sequence[Extent] = ()) -> SeenAlong:
    """How the area that was looked at and isn't cut out adds up along the roll."""
    holes = [*(hole.extent for hole in coverage.unseen), *cuts]
    borders, areas = [whole.along_from_m], [0.0]
    for start, end, (seen, gone) in _bands(whole, coverage.seen, holes):
        borders.append(end)
        areas.append(areas[-1] + (end - start) * _width_mm(_minus(seen, gone)) / 1000.0)
    return SeenAlong(borders_m=np.array(borders), area_m2=np.array(areas))


def area_within_m2(whole: Extent, boxes: Iterable[Extent]) -> float:
    """Area of the roll that the rectangles cover, each place counted once."""
    return sum((end - start) * _width_mm(spans) / 1000.0 for start, end, (spans,) in _bands(whole, tuple(boxes)))


def area_seen_m2(whole: Extent, covers: Sequence[Coverage], cuts: Sequence[Extent] = ()) -> float:
    """Area of the roll that at least one of the sources looked at and that isn't cut out."""
    layers = [layer for c in covers for layer in (c.seen, [hole.extent for hole in c.unseen])]
    area = 0.0
    for start, end, spans in _bands(whole, *layers, cuts):
        pairs = zip(spans[:-1:2], spans[1:-1:2], strict=True)
        seen = _merged(span for looked, gone in pairs for span in _minus(looked, gone))
        area += (end - start) * _width_mm(_minus(seen, spans[-1])) / 1000.0
    return area


def outside(whole: Extent, boxes: Iterable[Extent]) -> tuple[Extent, ...]:
    """The parts of the roll that none of the rectangles covers, leaving out slivers below 1 mm."""
    across = [(whole.across_from_mm, whole.across_to_mm)]
    free = ((start, end, _minus(across, taken)) for start, end, (taken,) in _bands(whole, tuple(boxes)))
    return _joined(whole, free)


def unseen_parts(whole: Extent, coverage: Coverage, cuts: Sequence[Extent] = ()) -> tuple[Unseen, ...]:
    """The parts of the roll that were not looked at and aren't cut out, each with the reason given for it."""
    across = [(whole.across_from_mm, whole.across_to_mm)]
    holes = [hole.extent for hole in coverage.unseen]
    free = (
        (start, end, _minus(_minus(across, _minus(seen, gone)), out))
        for start, end, (seen, gone, out) in _bands(whole, coverage.seen, holes, cuts)
    )
    parts = _joined(whole, free)
    reasons = why_unseen(parts, coverage.unseen)
    return tuple(Unseen(extent=part, why=why) for part, why in zip(parts, reasons, strict=True))


def why_unseen(parts: Sequence[Extent], holes: Sequence[Unseen]) -> list[str]:
    """The reasons given for what lies in each part."""
    if not holes:
        return ["nobody looked there"] * len(parts)
    boxes = [hole.extent for hole in holes]
    starts, ends = np.array([[b.along_from_m, b.along_to_m] for b in boxes]).T
    lows, highs = np.array([[b.across_from_mm, b.across_to_mm] for b in boxes]).T
    told: list[str] = []
    for part in parts:
        along = (starts < part.along_to_m) & (ends > part.along_from_m)
        inside = np.flatnonzero(along & (lows < part.across_to_mm) & (highs > part.across_from_mm))
        told.append(" and ".join(dict.fromkeys(holes[n].why for n in inside.tolist())) or "nobody looked there")
    return told


def joined_alike(parts: Sequence[Unseen]) -> tuple[Unseen, ...]:
    """Unseen parts that follow one another along, with borders across within 5 mm, as one that holds them all.

    The unseen edge of a web that wanders is one part to act on, not one for each stretch that the scan was read in.
    """
    done: list[Unseen] = []
    growing: list[Unseen] = []
    for part in sorted(parts, key=lambda p: p.extent):
        done += [g for g in growing if g.extent.along_to_m < part.extent.along_from_m - _LEAST_M]
        growing = [g for g in growing if g.extent.along_to_m >= part.extent.along_from_m - _LEAST_M]
        like = next((n for n, g in enumerate(growing) if g.why == part.why and _alike(g.extent, part.extent)), None)
        if like is None:
            growing.append(part)
        else:
            growing[like] = Unseen(extent=_hull(growing[like].extent, part.extent), why=part.why)
    return tuple(sorted((*done, *growing), key=lambda p: p.extent))


def _alike(one: Extent, other: Extent) -> bool:
    low, high = one.across_from_mm - other.across_from_mm, one.across_to_mm - other.across_to_mm
    return max(abs(low), abs(high)) <= _ALIKE_MM


def _hull(one: Extent, other: Extent) -> Extent:
    return Extent(
        along_from_m=min(one.along_from_m, other.along_from_m),
        along_to_m=max(one.along_to_m, other.along_to_m),
        across_from_mm=min(one.across_from_mm, other.across_from_mm),
        across_to_mm=max(one.across_to_mm, other.across_to_mm),
    )


def _bands(whole: Extent, *layers: Sequence[Extent]) -> Iterator[tuple[float, float, list[list[Span]]]]:
    """Stretches between any two borders along, with the spans across that each layer covers there."""
    clipped = [[part for box in layer if (part := box.meet(whole))] for layer in layers]
    borders = {s for layer in clipped for box in layer for s in (box.along_from_m, box.along_to_m)}
    waiting = [sorted(layer, reverse=True) for layer in clipped]
    active: list[list[Extent]] = [[] for _ in layers]
    for start, end in itertools.pairwise(sorted({whole.along_from_m, whole.along_to_m} | borders)):
        for number, queue in enumerate(waiting):
            active[number] = [box for box in active[number] if box.along_to_m > start]
            while queue and queue[-1].along_from_m <= start:
                active[number].append(queue.pop())
        yield start, end, [_merged((b.across_from_mm, b.across_to_mm) for b in boxes) for boxes in active]


def _merged(spans: Iterable[Span]) -> list[Span]:
    done: list[Span] = []
    for low, high in sorted(spans):
        if done and low <= done[-1][1]:
            done[-1] = done[-1][0], max(done[-1][1], high)
        else:
            done.append((low, high))
    return done


def _minus(spans: Sequence[Span], taken: Sequence[Span]) -> list[Span]:
    left: list[Span] = []
    for start, end in spans:
        reach = start
        for low, high in taken:
            if high <= reach or low >= end:
                continue
            if low > reach:
                left.append((reach, low))
            reach = high
        if reach < end:
            left.append((reach, end))
    return left


def _width_mm(spans: Sequence[Span]) -> float:
    return sum(high - low for low, high in spans)


def _joined(whole: Extent, bands: Iterable[tuple[float, float, list[Span]]]) -> tuple[Extent, ...]:
    """Rectangles from bands, joined along where the span across goes on unchanged."""
    done: list[Extent] = []
    growing: dict[Span, float] = {}
    last = whole.along_from_m
    for start, end, spans in bands:
        for span in [span for span in growing if span not in spans]:
            done.append(_box(growing.pop(span), start, span))  # noqa: PERF401 - it also forgets what it closed
        for span in spans:
            growing.setdefault(span, start)
        last = end
    done += [_box(start, last, span) for span, start in growing.items()]
    return tuple(sorted(box for box in done if box.length_m >= _LEAST_M and box.width_mm >= _LEAST_MM))


def _box(start: float, end: float, span: Span) -> Extent:
    return Extent(along_from_m=start, along_to_m=end, across_from_mm=span[0], across_to_mm=span[1])


def across_whole(whole: Extent, start_m: float, end_m: float) -> Extent:
    """A stretch of the roll over its full width, kept inside the roll."""
    start = min(max(start_m, whole.along_from_m), whole.along_to_m)
    return replace(whole, along_from_m=start, along_to_m=min(max(end_m, start), whole.along_to_m))
