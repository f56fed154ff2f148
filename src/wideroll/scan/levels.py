"""Areas off the roll's own level, which the background of their blocks follows and hides.

Levels by block and cell of 5 mm are compared with the median of the cell over the roll, after the slow drift along is
taken away. A cell's level is a median across too: a streak narrower than a cell fills at most one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.background import Background
from wideroll.scan.frame import Frame
from wideroll.scan.groups import median_seen

__all__ = ["LEAST_BLOCKS", "OffLevel", "block_levels", "cell_columns", "find_off_level"]

LEAST_BLOCKS: Final = 5
"""A cell seen in fewer blocks can't be compared."""
_CELL_MM: Final = 5.0
_LEAST_CELLS: Final = 2
_SLACK: Final = 2
"""Cells by which sides may differ, and gaps that are closed, so that one area is one rectangle."""
_REACH: Final = 10
"""Blocks to either side over which the drift is found."""
_MOST: Final = 500
"""More rectangles than this are listed as stretches of the whole width."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OffLevel:
    """A rectangle of blocks and cells (from, to; half open) and its departure as a fraction of the roll's own."""

    top: int
    end: int
    low: int
    high: int
    departure: float


def cell_columns(frame: Frame) -> int:
    """Columns to a cell."""
    return max(1, round(_CELL_MM / frame.pitch_mm[1]))


def block_levels(ground: Background, frame: Frame) -> NDArray[np.float32]:
    """(cells,) median of the profile in each cell from the datum edge on; NaN where nothing was looked at."""
    size, left = cell_columns(frame), round(ground.edges.left)
    cells = np.full((-(-(ground.last - left) // size), size), np.nan)
    cells.reshape(-1)[ground.first - left : ground.last - left] = np.where(ground.faults == 0, ground.profile, np.nan)
    return median_seen(cells).astype(np.float32)


def find_off_level(levels: Sequence[NDArray[np.float32]], tolerance: float) -> list[OffLevel]:
    """Find the areas, at least two cells wide, that depart by more than the tolerance.

    Args:
        levels: By block, as ``block_levels`` gives them; empty for a block that shows no web.
        tolerance: As a fraction of the roll's own level.
    """
    away = _departures(levels)
    least = min(_LEAST_CELLS, away.shape[1])
    boxes = [box for off in (away < -tolerance, away > tolerance) for box in _boxes(off, least)]
    if len(boxes) > _MOST:
        boxes = _boxes(np.repeat(np.any(np.abs(away) > tolerance, axis=1, keepdims=True), away.shape[1], axis=1), least)
    return sorted(
        (
            OffLevel(top=top, end=end, low=low, high=high, departure=_middle(away[top:end, low:high], tolerance))
            for top, end, low, high in boxes
        ),
        key=lambda area: (area.top, area.low),
    )


def _departures(levels: Sequence[NDArray[np.float32]]) -> NDArray[np.float64]:
    """``[block, cell]`` over the roll's own, less 1; NaN where there is nothing to compare."""
    width = max((len(row) for row in levels), default=0)
    table = np.full((len(levels), width), np.nan)
    for i, row in enumerate(levels):
        table[i, : len(row)] = np.log(row)
    away = np.full(table.shape, np.nan)
    cells = np.flatnonzero(np.sum(~np.isnan(table), axis=0) >= LEAST_BLOCKS)
    blocks = np.flatnonzero(np.any(~np.isnan(table[:, cells]), axis=1))
    if cells.size:
        seen = table[np.ix_(blocks, cells)]
        own = median_seen((seen - median_seen(seen)[:, None]).T)
        drift = np.pad(median_seen(seen - own), _REACH, constant_values=np.nan)
        # A whole block off level is short beside this reach; a step of the scanner's own gain is followed.
        slow = median_seen(np.lib.stride_tricks.sliding_window_view(drift, 2 * _REACH + 1))
        away[np.ix_(blocks, cells)] = np.expm1(seen - own - slow[:, None])
    return away


def _boxes(off: NDArray[np.bool_], least: int) -> list[tuple[int, int, int, int]]:
    """Stretches across, joined along where their sides agree: (block from, to, cell from, to)."""
    done: list[tuple[int, int, int, int]] = []
    growing: list[tuple[int, int, int, int]] = []
    for i in np.flatnonzero(off.any(axis=1)).tolist():
        done += [box for box in growing if box[1] < i]
        growing = [box for box in growing if box[1] == i]
        here = []
        for low, high in _spans(off[i], least):
            top = i
            for box in growing:
                if abs(box[2] - low) <= _SLACK and abs(box[3] - high) <= _SLACK:
                    growing.remove(box)
                    top, low, high = box[0], min(low, box[2]), max(high, box[3])  # noqa: PLW2901
                    break
            here.append((top, i + 1, low, high))
        done += growing
        growing = here
    return done + growing


def _spans(off: NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    steps = np.flatnonzero(np.diff(np.concatenate([[False], off, [False]]).astype(np.int8)))
    joined: list[tuple[int, int]] = []
    for low, high in steps.reshape(-1, 2).tolist():
        if high - low >= least:
            if joined and low - joined[-1][1] <= _SLACK:
                joined[-1] = joined[-1][0], high
            else:
                joined.append((low, high))
    return joined


def _middle(away: NDArray[np.float64], tolerance: float) -> float:
    return float(np.median(away[np.abs(away) > tolerance]))
