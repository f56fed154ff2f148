"""What was looked at and what not, summed up in a few rectangles."""

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from wideroll.roll import Coverage, Extent, Unseen
from wideroll.scan.background import DEAD, SATURATED
from wideroll.scan.frame import Frame
from wideroll.scan.levels import LEAST_BLOCKS, cell_columns, find_off_level
from wideroll.scan.screening import BlockReport
from wideroll.scan.still import group_borders, join_stretches

__all__ = ["find_coverage", "web_extent"]

_WHY: Final = {
    DEAD: "the scanner shows nothing in these columns",
    SATURATED: "the scanner is saturated in these columns",
}

_NOISY: Final = 2.0
_NARROW_MM: Final = 5.0
"""Edges that lie closer by this than elsewhere leave web unseen."""


def web_extent(blocks: Sequence[BlockReport], frame: Frame) -> Extent:
    """The web that was in the scan field: its length, and its median width."""
    widths = [block.edges.right - block.edges.left for block in blocks if block.edges]
    columns = float(np.median(widths)) if widths else float(frame.columns)
    return Extent(
        along_from_m=0.0,
        along_to_m=frame.along_m(blocks[-1].first_line + blocks[-1].lines),
        across_from_mm=0.0,
        across_to_mm=columns * frame.pitch_mm[1],
    )


def find_coverage(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Coverage:
    """All of the web, less edge beads, faulty columns, what stands still or is off level, and what shows no web.

    Lost lines aren't looked at over the whole width.
    """
    unseen = [*_lost(blocks, web, frame), *_blind(blocks, web, frame)]
    unseen += [*_crowded(blocks, web, frame), *_noisy(blocks, web, frame)]
    unseen += [*_beads(blocks, web, frame), *_faults(blocks, web, frame)]
    unseen += _beside(blocks, web, frame)
    unseen += [*_off_level(blocks, web, frame), *_still(blocks, web, frame), *_areas(blocks, web, frame)]
    return Coverage(seen=(web,), unseen=tuple(unseen))


def _crowded(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    for first, last in _runs([i for i, block in enumerate(blocks) if block.crowded]):
        yield _part(web, _along(blocks, first, last, frame), None, "more stands out here than can be told apart")


def _noisy(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    """Blocks whose noise is that of the dirt on them, or of a scanner that fails: marks are held against it."""
    noise = np.array([block.noise for block in blocks])
    seen = noise[~np.isnan(noise)]
    if len(seen) >= LEAST_BLOCKS:
        usual = float(np.median(seen))
        for first, last in _runs(np.flatnonzero(noise > _NOISY * usual).tolist()):
            times = float(np.median(noise[first : last + 1])) / usual
            why = f"the noise is {times:.1f} times the roll's own: marks may hide in it"
            yield _part(web, _along(blocks, first, last, frame), None, why)


def _lost(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    for why in dict.fromkeys(block.lost for block in blocks if block.lost):
        for first, last in _runs([i for i, block in enumerate(blocks) if block.lost == why]):
            yield _part(web, _along(blocks, first, last, frame), None, why)


def _blind(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    blind = [i for i, block in enumerate(blocks) if block.edges is None and not (block.at_rest or block.lost)]
    for first, last in _runs(blind):
        yield _part(web, _along(blocks, first, last, frame), None, "no web is seen, or too few lines to know it by")


def _beads(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    bead = min(frame.settings.edge_bead_mm, web.width_mm / 2.0)
    if bead > 0.0:
        left = [i for i, block in enumerate(blocks) if block.edges and block.edges.left_seen]
        right = [i for i, block in enumerate(blocks) if block.edges and block.edges.right_seen]
        for first, last in _runs(left):
            yield _part(web, _along(blocks, first, last, frame), (0.0, bead), "edge bead")
        for first, last in _runs(right):
            yield _part(web, _along(blocks, first, last, frame), (web.width_mm - bead, web.width_mm), "edge bead")


def _beside(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    narrow: list[int] = []
    ends: dict[int, float] = {}
    for i, block in enumerate(blocks):
        if block.edges:
            ends[i] = (block.edges.right - block.edges.left) * frame.pitch_mm[1]
            if ends[i] < web.width_mm - _NARROW_MM:
                narrow.append(i)
    for first, last in _runs(narrow):
        across = min(ends[i] for i in range(first, last + 1)), web.width_mm
        yield _part(web, _along(blocks, first, last, frame), across, "the web seems narrower than elsewhere")


def _faults(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    where: dict[tuple[int, int], list[int]] = {}
    for i, block in enumerate(blocks):
        for column, why in zip(block.faulty.tolist(), block.fault.tolist(), strict=True):
            where.setdefault((why, column), []).append(i)
    stretches: dict[tuple[int, int, int], list[int]] = {}
    for (why, column), found in sorted(where.items()):
        for first, last in _runs(found):
            stretches.setdefault((why, first, last), []).append(column)
    for (why, first, last), columns in sorted(stretches.items()):
        left = float(np.mean([block.edges.left for block in blocks[first : last + 1] if block.edges]))
        for start, end in _runs(columns):
            across = ((start - left) * frame.pitch_mm[1], (end + 1 - left) * frame.pitch_mm[1])
            yield _part(web, _along(blocks, first, last, frame), across, _WHY[why])


def _off_level(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    lines = [line for block in blocks for line in block.off_level.tolist()]
    for first, last in _runs(lines):
        yield _part(
            web, (frame.along_m(first), frame.along_m(last + 1)), None, "lines far off level: splice or dropout"
        )


def _still(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    borders = group_borders(frame).tolist()
    for first, end, low, high in join_stretches([block.still for block in blocks], frame):
        across = None
        if high - low < len(borders) - 1:
            left = _left(blocks, first, end)
            across = ((borders[low] - left) * frame.pitch_mm[1], (borders[high] - left) * frame.pitch_mm[1])
        part = _part(web, (frame.along_m(first), frame.along_m(end)), across, "the signal stands still")
        if part.extent.width_mm > 0.0:
            yield part


def _left(blocks: Sequence[BlockReport], first: int, end: int) -> float:
    """Mean datum edge over the blocks that share lines with a stretch, in columns."""
    lefts = [b.edges.left for b in blocks if b.edges and b.first_line < end and first < b.first_line + b.lines]
    return float(np.mean(lefts)) if lefts else 0.0


def _areas(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> Iterable[Unseen]:
    cell_mm = cell_columns(frame) * frame.pitch_mm[1]
    for area in find_off_level([block.level for block in blocks], frame.settings.level_tolerance):
        # Half a cell of the area may lie in the cell beside it.
        across = ((area.low - 0.5) * cell_mm, (area.high + 0.5) * cell_mm)
        why = f"level {100.0 * area.departure:+.0f} % against the roll's own: not judged"
        yield _part(web, _along(blocks, area.top, area.end - 1, frame), across, why)


def _runs(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """Stretches of consecutive numbers (first, last) in an ascending list."""
    runs: list[tuple[int, int]] = []
    for number in numbers:
        if runs and runs[-1][1] == number - 1:
            runs[-1] = runs[-1][0], number
        else:
            runs.append((number, number))
    return runs


def _along(blocks: Sequence[BlockReport], first: int, last: int, frame: Frame) -> tuple[float, float]:
    return frame.along_m(blocks[first].first_line), frame.along_m(blocks[last].first_line + blocks[last].lines)


def _part(web: Extent, along: tuple[float, float], across: tuple[float, float] | None, why: str) -> Unseen:
    low, high = across or (web.across_from_mm, web.across_to_mm)
    low, high = (min(max(value, web.across_from_mm), web.across_to_mm) for value in (low, high))
    return Unseen(
        extent=Extent(along_from_m=along[0], along_to_m=along[1], across_from_mm=low, across_to_mm=high), why=why
    )
