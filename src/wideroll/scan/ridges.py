"""The course of a line through the traces: where it starts and ends, and how it wanders.

For a step of height m in noise of deviation 1 the log-likelihood ratio of a stretch is m Σ(y − m/2): the stretch that
maximises it is the line [page1955]. A line that wanders is the path for which that sum, less a toll for each cell it
moves, is greatest [viterbi1967].
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.traces import Candidate, Sheet, excess_scatter

__all__ = ["Course", "likeliest", "take_out", "trace_course"]

_ROUNDS: Final = 3
_REACH_MM: Final = 10.0
"""Sides are looked for this far from the window that stood out; so far may a line wander."""
_JITTER: Final = 1
"""Cells by which a line moves on a sheet that was shifted by whole cells."""
_WIDEST_MM: Final = 12.0
"""The smooth course follows what is wider."""
_TOLL: Final = 3.0
"""Log-likelihood that a move by one cell must bring."""
_GIVEN_UP: Final = 12.0
"""A line ends where the log-likelihood has fallen by this much and doesn't come back."""
_FIRM_STEP: Final = 2.0
"""Blocks are taken together until the line stands out by so many deviations in each step."""
_MOST_TOGETHER: Final = 32
_NEIGHBOURHOOD: Final = 128
"""Cells to either side that tell how much the neighbourhood scatters."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """A line on a sheet: blocks top to end, half open; cells ``low + path`` to ``high + path`` in each."""

    top: int
    end: int
    low: int
    high: int
    path: NDArray[np.int64]
    """(blocks,) of all blocks, those outside of the line too."""
    sign: float
    snr: float
    excess: float
    """How many times more than noise the neighbourhood scatters."""
    score: float
    """Log-likelihood, less the toll."""


def trace_course(sheet: Sheet, hit: Candidate, cell_mm: float, streak_snr: float, *, wandering: bool) -> Course | None:
    """The line behind a window; None where a stronger line already took what stood out, or it is too faint."""
    top, end, low, high = hit.block, hit.block + hit.blocks, hit.cell, hit.cell + hit.cells
    total = float(sheet.snr[low:high, top:end].sum(dtype=np.float32))
    if abs(total) / np.sqrt(hit.blocks * hit.cells) < hit.snr / 2.0:
        return None
    sign, reach = (1.0 if total > 0.0 else -1.0), max(1, round(_REACH_MM / cell_mm))
    for _ in range(_ROUNDS):
        along = sign * sheet.snr[low:high].mean(axis=0, dtype=np.float32).astype(np.float64)
        top, end = likeliest(along, top, end)
        first, last = max(low - reach, 0), min(high + reach, len(sheet.snr))
        across = sign * sheet.snr[first:last, top:end].mean(axis=1, dtype=np.float64)
        left, right = likeliest(across, low - first, high - first)
        low, high = first + left, first + right
    if high - low > max(1, round(_WIDEST_MM / cell_mm)):
        return None
    excess = _excess(sheet.snr, (top, end), (low, high))
    straight = sign * float(sheet.snr[low:high, top:end].sum(dtype=np.float32))
    if straight / np.sqrt((high - low) * (end - top)) / excess < streak_snr:
        return None
    wander = reach if wandering else _JITTER
    course = _follow(_beside(sheet.snr, low, high, wander) * sign, (top, end, low, high), sign, excess)
    if course is None or not np.ptp(course.path[course.top : course.end]):
        return course
    # A line that moves looked wider than it is while it was taken for a straight one.
    low, high = _sharpen(sheet.snr, course)
    again = _follow(_beside(sheet.snr, low, high, wander) * sign, (course.top, course.end, low, high), sign, excess)
    return course if again is None or again.score < course.score else again


def take_out(
    sheet: Sheet,
    course: Course,
    *,
    path: NDArray[np.int64],
    trough: NDArray[np.float64],
    root_lines: NDArray[np.float64],
) -> None:
    """Set the traces to 0 where the line runs, and give back what the smooth course took of it beside.

    Args:
        sheet: Changed in place.
        course: The line.
        path: Of the line on this sheet.
        trough: (cells,) what shows beside the line, in deviations over a single line; the line lies in its middle.
        root_lines: (blocks,) square roots of the lines that were looked at.
    """
    beside = max(2, course.high - course.low)
    reach = (len(trough) - (course.high - course.low)) // 2
    top, end = max(course.top - 1, 0), min(course.end + 1, sheet.snr.shape[1])
    for step in np.unique(path[top:end]).tolist():
        blocks = top + np.flatnonzero(path[top:end] == step)
        first = course.low - reach + step
        low, high = max(first, 0), min(first + len(trough), len(sheet.snr))
        along = slice(int(blocks[0]), int(blocks[-1]) + 1) if np.ptp(blocks) == len(blocks) - 1 else blocks
        inside = (blocks >= course.top) & (blocks < course.end)
        here = sheet.snr[low:high, along].astype(np.float32)
        here -= (here != 0.0) * np.outer(trough[low - first : high - first], root_lines[blocks] * inside)
        here[max(course.low - beside + step - low, 0) : max(course.high + beside + step - low, 0)] = 0.0
        sheet.snr[low:high, along] = here


def likeliest(values: NDArray[np.float64], start: int, end: int) -> tuple[int, int]:
    """The stretch (from, to) that a step of the height now found between start and end fits best.

    Example:
        >>> likeliest(np.array([0.1, -0.2, 1.1, 0.9, 1.2, 0.1]), 2, 4)
        (2, 5)
    """
    height = float(values[start:end].mean())
    if height <= 0.0:
        return start, end
    sums = np.concatenate([[0.0], np.cumsum(values - height / 2.0)])
    lowest = np.minimum.accumulate(sums[:-1])
    last = int(np.argmax(sums[1:] - lowest)) + 1
    return int(np.argmin(sums[:last])), last


def _excess(snr: NDArray[np.float16], blocks: tuple[int, int], cells: tuple[int, int]) -> float:
    """Of sums as wide as the line, in its neighbourhood."""
    size = cells[1] - cells[0]
    near = snr[max(cells[0] - _NEIGHBOURHOOD, 0) : cells[1] + _NEIGHBOURHOOD, blocks[0] : blocks[1]]
    across = near.sum(axis=1, dtype=np.float32).astype(np.float64) / np.sqrt(blocks[1] - blocks[0])
    sums = np.concatenate([[0.0], np.cumsum(across[across != 0.0])])
    if len(sums) <= size:
        return 1.0
    return float(excess_scatter((sums[size:] - sums[:-size]) / np.sqrt(size)))


def _beside(snr: NDArray[np.float16], low: int, high: int, reach: int) -> NDArray[np.float64]:
    """``[offset, block]`` sums over the line's cells, moved by up to ``reach`` to either side, over their root."""
    first, last = low - reach, high + reach
    rows = np.zeros((last - first + 1, snr.shape[1]))
    inside = slice(max(first, 0), min(last, len(snr)))
    np.cumsum(snr[inside], axis=0, dtype=np.float64, out=rows[inside.start - first + 1 : inside.stop - first + 1])
    rows[inside.stop - first + 1 :] = rows[inside.stop - first]
    return np.asarray((rows[high - low :] - rows[: len(rows) - (high - low)]) / np.sqrt(high - low))


def _follow(beside: NDArray[np.float64], box: tuple[int, int, int, int], sign: float, excess: float) -> Course | None:
    top, end, low, high = box
    reach, blocks = len(beside) // 2, beside.shape[1]
    seen = np.any(beside != 0.0, axis=0).astype(np.float64)
    path, together = np.zeros(blocks, np.int64), 1
    for _ in range(_ROUNDS - 1):
        here = beside[path[top:end] + reach, np.arange(top, end)]
        height = float(here.sum() / max(1.0, seen[top:end].sum()))
        if height <= 0.0:
            return None
        together = int(np.ceil((_FIRM_STEP / height) ** 2)) if reach else 1
        free = together <= _MOST_TOGETHER
        moves = beside if free else beside[reach : reach + 1]
        together = together if free else 1
        gains = _gains(moves, seen, height, together)
        offsets, first, last = _best_path(gains, (top // together, -(-end // together)), len(moves) // 2, _TOLL)
        path = np.repeat(offsets - len(moves) // 2, together)[:blocks]
        top, end = first * together, min(last * together, blocks)
    values = beside[path + reach, np.arange(blocks)]
    if together > 1:
        top, end = _trim(values, (top, end), path, together)
    count = max(1.0, float(seen[top:end].sum()))
    total = float(values[top:end].sum())
    moved = float(np.abs(np.diff(path[top:end])).sum())
    return Course(
        top=top,
        end=end,
        low=low,
        high=high,
        path=path,
        sign=sign,
        snr=total / np.sqrt(count) / excess,
        excess=excess,
        score=total**2 / count / 2.0 - _TOLL * moved,
    )


def _gains(moves: NDArray[np.float64], seen: NDArray[np.float64], height: float, together: int) -> NDArray[np.float64]:
    """Log-likelihood of each step at each offset."""
    gains = height * (moves - 0.5 * height * seen)
    if together == 1:
        return gains
    return np.add.reduceat(gains, np.arange(0, gains.shape[1], together), axis=1)


def _sharpen(snr: NDArray[np.float16], course: Course) -> tuple[int, int]:
    """Sides of the line where its path is that of its middle block, found along the path."""
    size = course.high - course.low
    first, here = course.low - size, course.path[course.top : course.end]
    across = np.zeros(3 * size)
    for step in np.unique(here).tolist():
        low, high = max(first + step, 0), min(first + step + 3 * size, len(snr))
        blocks = course.top + np.flatnonzero(here == step)
        across[low - first - step : high - first - step] += snr[low:high, blocks].sum(axis=1, dtype=np.float64)
    left, right = likeliest(course.sign * across / len(here), size, 2 * size)
    middle = int(np.median(here))
    return first + left + middle, first + right + middle


def _trim(values: NDArray[np.float64], ends: tuple[int, int], path: NDArray[np.int64], slack: int) -> tuple[int, int]:
    """Ends by single blocks, a step either way where the path goes straight on."""
    top, end = ends
    height = float(values[top:end].mean())
    low = max(0, top - slack)
    high = min(len(values), end + slack)
    while path[low] != path[top]:
        low += 1
    while path[high - 1] != path[end - 1]:
        high -= 1
    middle = (top + end) // 2
    sums = np.concatenate([[0.0], np.cumsum(values[low:high] - height / 2.0)])
    first = low + int(np.argmin(sums[: middle - low + 1]))
    last = middle + 1 + int(np.argmax(sums[middle - low + 1 :]))
    return first, last


def _best_path(
    gains: NDArray[np.float64], within: tuple[int, int], start: int, toll: float
) -> tuple[NDArray[np.int64], int, int]:
    """Grow a path both ways from the best step of the line, as long as it pays.

    Returns:
        Offset of every step (the last one held beyond the ends), and the first and last step, half open.
    """
    anchor = within[0] + int(np.argmax(gains[start, within[0] : within[1]]))
    path = np.full(gains.shape[1], start, np.int64)
    ahead = _grow(np.ascontiguousarray(gains[:, anchor + 1 :].T), start, toll, _GIVEN_UP)
    behind = _grow(np.ascontiguousarray(gains[:, :anchor][:, ::-1].T), start, toll, _GIVEN_UP)
    path[anchor + 1 : anchor + 1 + len(ahead)] = ahead
    path[anchor + 1 + len(ahead) :] = ahead[-1] if len(ahead) else start
    path[anchor - len(behind) : anchor] = behind[::-1]
    path[: anchor - len(behind)] = behind[-1] if len(behind) else start
    return path, anchor - len(behind), anchor + 1 + len(ahead)


@njit(cache=True, nogil=True)
def _grow(gains: NDArray[np.float64], start: int, toll: float, given_up: float) -> NDArray[np.int64]:
    """Offsets of the steps of the path that pays most; it starts beside ``gains[0]`` at ``start``."""
    steps, offsets = gains.shape
    came = np.zeros((steps, offsets), np.int8)
    score = np.full(offsets, -np.inf)
    score[start] = 0.0
    best, best_step, best_offset = 0.0, -1, start
    for i in range(steps):
        before = score.copy()
        reached = -np.inf
        for j in range(offsets):
            value, move = before[j], 0
            if j > 0 and before[j - 1] - toll > value:
                value, move = before[j - 1] - toll, -1
            if j + 1 < offsets and before[j + 1] - toll > value:
                value, move = before[j + 1] - toll, 1
            score[j] = value + gains[i, j]
            came[i, j] = move
            reached = max(reached, score[j])
            if score[j] > best:
                best, best_step, best_offset = score[j], i, j
        if reached < best - given_up:
            break
        # No way from line to line over ground that bears neither.
        for j in range(offsets):
            if score[j] < reached - given_up:
                score[j] = -np.inf
    path = np.empty(best_step + 1, np.int64)
    offset = best_offset
    for i in range(best_step, -1, -1):
        path[i] = offset
        offset += came[i, offset]
    return path
