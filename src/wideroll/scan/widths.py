"""A line's width and contrast across, from the columns themselves along its course.

The smooth course of the profile takes up a part of each line: a parabola over ± 16 mm. What it took shows beside the
line, as a parabola again; fitted there and carried on below the line, it gives the contrast back.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.background import MAD
from wideroll.scan.ridges import Course, likeliest
from wideroll.scan.traces import Traces

__all__ = ["Width", "measure_width"]

_REACH_MM: Final = 16.0
_ROUNDS: Final = 3
_OUTLYING: Final = 4.0
_LEAST_BESIDE: Final = 12
"""Fewer columns beside the line don't tell a parabola."""
_LEAST_SNR: Final = 6.0
"""Columns too faint for this leave the width to the cells."""
_SLACK: Final = 2
"""Cells by which the columns may correct the sides."""
_END_SHARE: Final = 0.75
"""A block counts as the line's from about half of its length on."""
_END_SPREAD: Final = 0.2
_LEAST_BLOCKS: Final = 3
_SOME: Final = 200
"""Blocks that tell a line's height well enough."""
_STILL_SHARE: Final = 0.1
"""Of a line must lie in groups of blocks in which it keeps its column, or else"""
_QUIET_SHARE: Final = 0.4
"""in groups in which it keeps its cell: where it doesn't, its columns are smeared."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Width:
    """Columns from the datum edge, half open, as the line lies where its path is 0."""

    low: float
    high: float
    centre: float
    contrast: float
    """Signed."""
    deviation: float
    """Standard deviation of the contrast."""
    trough: NDArray[np.float64]
    """(cells,) what the smooth course took of the line, as it shows beside it, in deviations of a cell over a single
    line; the line lies in the middle."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Across:
    """Mean departure beside a line, by column or cell; the line starts at ``start``."""

    values: NDArray[np.float64]
    deviation: NDArray[np.float64]
    """Infinite where nothing was looked at."""
    start: int
    end: int
    spread: NDArray[np.float64]
    """Deviation over a single line, 0 where nothing was looked at."""


def measure_width(traces: Traces, course: Course, path: NDArray[np.float64]) -> Width:
    """The sides that fit a line best, and its contrast against the parabola beside it.

    Args:
        traces: Of all blocks.
        course: The line; its low and high are cells of the web where ``path`` is 0.
        path: (blocks,) columns of the web by which it lies further across.
    """
    size = traces.cell_columns
    if size > 1:
        fine = _by_column(traces, course, path)
        if fine is not None:
            width = _settle(fine, course.sign, course.excess, size)
            if abs(width.contrast) >= _LEAST_SNR * width.deviation:
                return _placed(width, course.low * size - fine.start, 1)
    cells = _by_cell(traces, course, path)
    return _placed(_settle(cells, course.sign, course.excess, 1), course.low - cells.start, size)


def _placed(width: Width, offset: int, size: int) -> Width:
    return replace(
        width,
        low=(width.low + offset) * size,
        high=(width.high + offset) * size,
        centre=(width.centre + offset) * size,
    )


def _by_column(traces: Traces, course: Course, path: NDArray[np.float64]) -> _Across | None:
    """From the means of groups of blocks; a group that the line fills in part counts for that part."""
    blocks = np.arange(course.top, course.end)
    group, lines = traces.fine_of[blocks], traces.lines[blocks] * _shares(traces, course)
    groups, start = np.unique(group, return_index=True)
    filled = np.add.reduceat(lines, start)
    along = np.add.reduceat(path[blocks] * lines, start) / np.maximum(filled, 1.0)
    wander = np.maximum.reduceat(path[blocks], start) - np.minimum.reduceat(path[blocks], start)
    quiet = wander <= 1.0
    if filled[quiet].sum() < _STILL_SHARE * filled.sum():
        quiet = wander <= traces.cell_columns
        if filled[quiet].sum() < _QUIET_SHARE * filled.sum():
            return None
    held = np.maximum(traces.fine_lines[groups], 1).astype(np.float64)
    weight = np.where(quiet, filled / np.sqrt(held), 0.0)
    size = traces.cell_columns
    return _gather(traces, (groups, weight, np.rint(along).astype(np.int64)), course, size, traces.fine)


def _by_cell(traces: Traces, course: Course, path: NDArray[np.float64]) -> _Across:
    blocks = np.arange(course.top, course.end)
    moved = np.rint(path[blocks] / traces.cell_columns).astype(np.int64)
    weight = np.sqrt(traces.lines[blocks]) * _shares(traces, course)
    return _gather(traces, (blocks, weight, moved), course, 1, traces.web.snr)


def _shares(traces: Traces, course: Course) -> NDArray[np.float64]:
    """How much of each block the line fills: it starts and ends anywhere in its first and last block.

    What such a block shows of the line is weighed against what is likely before one looks.
    """
    shares = np.ones(course.end - course.top)
    if len(shares) < _LEAST_BLOCKS:
        return shares
    height = max(
        0.0, float(np.mean([_shown(traces, course, k) for k in range(course.top + 1, course.end - 1)[:_SOME]]))
    )
    for k, end, inside in ((0, course.top, course.top > 0), (-1, course.end - 1, course.end < len(traces.lines))):
        if inside:
            seen = height * _shown(traces, course, end)
            shares[k] = np.clip((_END_SHARE / _END_SPREAD**2 + seen) / (1.0 / _END_SPREAD**2 + height**2), 0.0, 1.0)
    return shares


def _shown(traces: Traces, course: Course, block: int) -> float:
    low = course.low + int(course.path[block])
    inside = traces.web.snr[max(low, 0) : max(low + course.high - course.low, 0), block]
    return course.sign * float(inside.sum(dtype=np.float64)) / float(np.sqrt(course.high - course.low))


def _gather(
    traces: Traces,
    parts: tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int64]],
    course: Course,
    size: int,
    table: NDArray[np.float16],
) -> _Across:
    """Weighted mean departure; where z is a departure in deviations over n lines, z u/√n is one of the signal.

    The weight of a part is its share of the line times √n.
    """
    index, weight, moved = parts
    reach = max(4, round(_REACH_MM / traces.cell_mm)) * size
    low, width = course.low * size - reach, (course.high - course.low) * size + 2 * reach
    total, lines = np.zeros(width), np.zeros(width)
    for step in np.unique(moved[weight > 0.0]).tolist():
        here = np.flatnonzero((moved == step) & (weight > 0.0))
        first, last = max(low + step, 0), min(low + step + width, len(table))
        if first < last:
            shown = table[first:last, index[here]].astype(np.float64)
            inside = slice(first - low - step, last - low - step)
            total[inside] += shown @ weight[here]
            lines[inside] += (shown != 0.0) @ weight[here] ** 2
    spread = _spread(traces, course, low, width, size)
    if table is traces.web.snr:
        spread /= np.sqrt(traces.cell_columns)
    seen = (lines > 0.0) & (spread > 0.0)
    lines = np.where(seen, lines, 1.0)
    return _Across(
        values=np.where(seen, total * spread / lines, 0.0),
        deviation=np.where(seen, spread / np.sqrt(lines), np.inf),
        start=reach,
        end=width - reach,
        spread=spread,
    )


def _spread(traces: Traces, course: Course, low: int, width: int, size: int) -> NDArray[np.float64]:
    """Deviation over one line, averaged over the groups along the line."""
    groups = np.unique(traces.spread_of[course.top : course.end])
    shift = round(float(np.mean(course.path[course.top : course.end])))
    rows = (low + np.arange(width)) // size + shift
    inside = (rows >= 0) & (rows < len(traces.spread))
    spread = np.zeros(width)
    shown = traces.spread[np.ix_(rows[inside], groups)].astype(np.float64)
    spread[inside] = shown.sum(axis=1) / np.maximum(np.sum(shown > 0.0, axis=1), 1)
    return spread


def _settle(across: _Across, sign: float, excess: float, size: int) -> Width:
    """Sides and contrast; ``size`` columns are a cell of the trough."""
    start, end = across.start, across.end
    near = slice(max(0, start - _SLACK * size), min(len(across.values), end + _SLACK * size))
    values, extra, scatter = across.values, 0.0, 1.0
    for _ in range(_ROUNDS):
        ground, extra, scatter = _beside(across, start, end)
        values = across.values - ground
        shown = np.where(np.isfinite(across.deviation), sign * values, 0.0)
        # A stronger line beside it must not draw the sides away.
        start, end = likeliest(shown[near], start - near.start, end - near.start)
        start, end = start + near.start, end + near.start
    ground, extra, scatter = _beside(across, start, end)
    values = across.values - ground
    seen = np.flatnonzero(np.isfinite(across.deviation[start:end])) + start
    trough = np.divide(ground, across.spread, out=np.zeros(len(ground)), where=across.spread > 0.0)
    trough = trough.reshape(-1, size).mean(axis=1) * np.sqrt(size)
    if not seen.size:
        middle = (start + end) / 2.0
        return Width(low=start, high=end, centre=middle, contrast=0.0, deviation=np.inf, trough=trough)
    weight = np.maximum(sign * values[start:end], 0.0)
    total = float(weight.sum())
    places = np.arange(start, end) + 0.5
    noise = float(np.mean(across.deviation[seen] ** 2))
    return Width(
        low=start,
        high=end,
        centre=float(weight @ places / total) if total > 0.0 else (start + end) / 2.0,
        contrast=float(values[seen].mean()),
        deviation=float(np.sqrt(noise * (1.0 / seen.size + extra))) * max(excess, scatter),
        trough=trough,
    )


def _beside(across: _Across, start: int, end: int) -> tuple[NDArray[np.float64], float, float]:
    """The parabola through what lies beside the line.

    Returns:
        Its course, its variance at the line over that of a column, and how many times more than noise the columns
        scatter about it.
    """
    places = np.arange(len(across.values), dtype=np.float64)
    guard = max(1, (end - start) // 2)
    use = np.isfinite(across.deviation) & ((places < start - guard) | (places >= end + guard))
    ground = np.zeros(len(places))
    middle, reach = (start + end - 1) / 2.0, len(places) / 2.0
    terms = np.vander((places - middle) / reach, 3, increasing=True)
    extra, scatter = 0.0, 1.0
    for _ in range(_ROUNDS):
        if np.sum(use) < _LEAST_BESIDE:
            break
        best, *_ = np.linalg.lstsq(terms[use], across.values[use], rcond=None)
        ground = terms @ best
        away = np.abs(across.values - ground) / across.deviation
        scatter = max(1.0, MAD * float(np.median(away[use])))
        at_line = terms[start:end].mean(axis=0)
        extra = float(at_line @ np.linalg.pinv(terms[use].T @ terms[use]) @ at_line)
        use &= away < _OUTLYING * scatter
    return ground, extra, scatter
