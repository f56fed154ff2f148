"""A block and the last lines of the one before, looked at together: seeds to marks, whole or left open."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan import linking
from wideroll.scan.background import Background
from wideroll.scan.chips import ChipBook, keep_chips
from wideroll.scan.frame import Frame, to_be_read
from wideroll.scan.growth import BRIGHT, DARK, LATER, Window, grow_regions
from wideroll.scan.linking import OpenMarks, link_runs
from wideroll.scan.measuring import cut_runs, measure_whole
from wideroll.scan.patches import LADDER, Ground, Rules
from wideroll.scan.rings import join_rings
from wideroll.scan.seeds import Lines, Seeds, cross_border
from wideroll.scan.windows import CELL, SIZES

__all__ = ["Held", "block_ground", "close_marks", "find_block_marks", "no_ground"]

_MOST_GUARD: Final = 40
_BORDER: Final = 32
_WIDEST_SEED: Final = 32
_KEPT: Final = DARK | BRIGHT


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """What the next block must know of the marks before it."""

    tail: Ground
    first_line: int
    """Of the tail, counted from the head."""
    later: Seeds
    """Seeds of marks that this block did not show whole; lines count from the head."""
    open_marks: OpenMarks
    written: NDArray[np.int32]
    """Rectangles of the tail in which marks lie already."""


def no_ground(columns: int, dtype: np.dtype[np.uint8] | np.dtype[np.uint16]) -> Ground:
    """No lines."""
    empty, rows = np.zeros(columns, np.float32), np.empty((0, columns), dtype)
    return Ground(rows=to_be_read(rows), scale=np.empty(0, np.float32), profile=empty, weight=empty, left=0.0)


def block_ground(lines: Lines, ground: Background, frame: Frame) -> Ground:
    """A block's lines with its background over the whole raster."""
    profile, weight = np.ones(frame.columns, np.float32), np.zeros(frame.columns, np.float32)
    part = slice(ground.first, ground.last)
    profile[part] = ground.profile
    weight[part] = np.where(ground.faults == 0, 1.0 / ground.noise, 0.0)
    return Ground(rows=lines.rows, scale=lines.scale, profile=profile, weight=weight, left=ground.edges.left)


def find_block_marks(
    block: tuple[Ground, int],
    seeds: Seeds,
    before: Held | None,
    given: tuple[NDArray[np.uint8], ChipBook, Frame],
    *,
    last: bool,
) -> tuple[NDArray[np.float64], Held | None, bool]:
    """The marks that a block shows whole, and what it leaves to the next.

    Args:
        block: The lines, and the first of them counted from the head.
        seeds: Of the block.
        before: What the block before left; None where there is none, or it shows no web.
        given: A map of the lines of both that is all 0 but where ``before`` wrote, chips to add to, and the raster.
        last: No block follows that could show more.

    Returns:
        Measures of the marks, lines counted from the head; what is left; and whether there were so many pixels of marks
        that not all could be followed.
    """
    (ground, first_line), (taken, book, frame) = block, given
    tail = before.tail if before else no_ground(frame.columns, frame.dtype)
    tail = tail._replace(rows=to_be_read(tail.rows))  # from another process they come to be written to
    first, lines = first_line - len(tail.scale), len(tail.scale) + len(ground.scale)
    following = 0 if last else frame.held_lines
    window = Window(tail=tail, block=ground, taken=taken[:lines], guard=_guard(frame), next_tail=following)
    every = _all_seeds(seeds, before, (ground, first_line), first, frame)
    regions = grow_regions(window, (every.boxes, every.snr), _rules(seeds.excess, frame))
    whole = _from_head(join_rings(measure_whole(window, regions, frame.saturation)), first)
    spans, peaks = cut_runs(window, regions, frame.saturation)
    spans = spans + np.array([first, 0, 0, 0], np.int32)
    end = first + lines - (window.guard if following else 0)
    open_marks = before.open_marks if before else linking.no_marks()
    ended, open_marks = link_runs((spans, peaks), open_marks, end=end, left=ground.left)
    ended = ended[(ended[:, linking.PIXELS] >= frame.settings.least_pixels) & (ended[:, linking.SUM_CONTRAST] > 0.0)]
    measures = np.concatenate([whole, ended])
    keep_chips(book, measures, window, first, frame)
    written = regions.boxes if before is None else np.concatenate([before.written, regions.boxes])
    written = _move_taken(window.taken, written, following)
    if last:
        return measures, None, regions.full
    later = regions.seed[regions.status == LATER]
    chosen = every.boxes[later] + np.array([first, 0, 0], np.int32)
    held = Held(
        tail=_keep_tail(window, following),
        first_line=first + lines - following,
        later=Seeds(boxes=chosen, snr=every.snr[later], excess=seeds.excess),
        open_marks=open_marks,
        written=written,
    )
    return measures, held, regions.full


def close_marks(before: Held | None, given: tuple[NDArray[np.uint8], ChipBook, Frame]) -> NDArray[np.float64]:
    """Measures of what was left for a block that doesn't come."""
    frame = given[2]
    if before is None:
        return np.empty((0, linking.MEASURES))
    nothing = Seeds(boxes=np.empty((0, 3), np.int32), snr=np.empty(0, np.float32), excess=before.later.excess)
    ground = no_ground(frame.columns, frame.dtype)._replace(left=before.tail.left)
    end = before.first_line + len(before.tail.scale)
    return find_block_marks((ground, end), nothing, before, given, last=True)[0]


def _from_head(measures: NDArray[np.float64], first: int) -> NDArray[np.float64]:
    for column in (linking.LINE, linking.TOP, linking.END):
        measures[:, column] += first
    return measures


def _guard(frame: Frame) -> int:
    return max(1, min(_MOST_GUARD, frame.held_lines // 4))


def _rules(excess: NDArray[np.float64], frame: Frame) -> Rules:
    use = frame.settings
    return Rules(
        grow_snr=use.grow_snr,
        least_pixels=int(use.least_pixels),
        saturation=frame.saturation,
        excess=np.interp(LADDER, SIZES, excess),
    )


def _all_seeds(seeds: Seeds, before: Held | None, block: tuple[Ground, int], first: int, frame: Frame) -> Seeds:
    """Of the block, across its border, put off before, and where open marks left off; lines count from the window."""
    ground, first_line = block
    moved = seeds.boxes + np.array([first_line - first, 0, 0], np.int32)
    if before is None:
        return Seeds(boxes=moved, snr=seeds.snr, excess=seeds.excess)
    held = len(before.tail.scale)
    size = min(_BORDER, held, len(ground.scale)) // CELL * CELL
    parts = [(moved, seeds.snr), (before.later.boxes - np.array([first, 0, 0], np.int32), before.later.snr)]
    if size:
        scale = np.concatenate([before.tail.scale[held - size :], ground.scale[:size]])
        rows = np.concatenate([before.tail.rows[held - size :], ground.rows[:size]])
        rows.flags.writeable = False
        crossing = cross_border(Lines(rows=rows, scale=scale), ground.profile, ground.weight, seeds.excess, frame)
        parts.append((crossing.boxes + np.array([held - size, 0, 0], np.int32), crossing.snr))
    if len(before.open_marks.spans):
        parts.append(_going_on(before.open_marks.spans, first))
    return Seeds(
        boxes=np.concatenate([boxes for boxes, _ in parts]),
        snr=np.concatenate([snr for _, snr in parts]),
        excess=seeds.excess,
    )


def _going_on(spans: NDArray[np.int32], first: int) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Seeds on the last line of open marks."""
    width = np.minimum(spans[:, 2] - spans[:, 1], _WIDEST_SEED)
    column = (spans[:, 1] + spans[:, 2] - width) // 2
    line = np.maximum(spans[:, 0] - first - width + 1, 0)
    boxes = np.column_stack([line, column, width]).astype(np.int32)
    return boxes, np.where(spans[:, 3] == BRIGHT, np.inf, -np.inf).astype(np.float32)


def _keep_tail(window: Window, lines: int) -> Ground:
    block = window.block
    start = len(block.scale) - lines
    return block._replace(rows=block.rows[start:].copy(), scale=block.scale[start:])


def _move_taken(taken: NDArray[np.uint8], written: NDArray[np.int32], following: int) -> NDArray[np.int32]:
    """Clear the map but for the marks that lie in the lines held for the next block, which become its first."""
    start = len(taken) - following
    kept = written[written[:, 1] > start]
    kept[:, 0], kept[:, 1] = np.maximum(kept[:, 0] - start, 0), kept[:, 1] - start
    bits = np.empty(int(np.sum((kept[:, 1] - kept[:, 0]) * (kept[:, 3] - kept[:, 2]))), np.uint8)
    _pass_boxes(taken[start:], kept, bits, lay=False)
    for top, end, low, high in written.tolist():
        taken[top:end, low:high] = 0
    _pass_boxes(taken, kept, bits, lay=True)
    return np.asarray(kept)


@njit(cache=True, nogil=True)
def _pass_boxes(taken: NDArray[np.uint8], boxes: NDArray[np.int32], bits: NDArray[np.uint8], lay: bool) -> None:  # noqa: FBT001
    """Take what lies in the boxes off the map, one after the other, or lay it there."""
    n = 0
    for k in range(len(boxes)):
        for i in range(boxes[k, 0], boxes[k, 1]):
            for j in range(boxes[k, 2], boxes[k, 3]):
                if lay:
                    taken[i, j] |= bits[n]
                else:
                    bits[n] = taken[i, j] & _KEPT
                n += 1
