"""What a block keeps to tell bands across the web and mottle by, once the whole web was seen."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.background import Background
from wideroll.scan.bands import BandRows, reduce_lines
from wideroll.scan.frame import Frame
from wideroll.scan.mottle import block_mottle
from wideroll.scan.seeds import Cells
from wideroll.scan.sums import BlockSums
from wideroll.scan.windows import CELL

__all__ = ["band_borders_mm", "band_rows", "cell_size_mm", "mottle_sums"]

_GROUPS: Final = 8
_MOTTLE_CELLS: Final = 64
"""Rows of cells of a block from which mottle is told: a part of the web says it as well as all of it."""


def band_rows(totals: BlockSums, ground: Background, first_line: int, frame: Frame) -> BandRows:
    """Level of each line in groups of columns, over that of the profile.

    Args:
        totals: The block's sums.
        ground: Its background.
        first_line: The block's first line, counted from the head.
        frame: The raster.
    """
    starts = np.arange(frame.segments) * frame.segment
    ends = np.minimum(starts + totals.summed, frame.columns)
    before = np.concatenate([[0.0], np.cumsum(ground.profile)])
    inside = (starts >= ground.first) & (ends <= ground.last)
    low, high = (np.clip(edge - ground.first, 0, len(ground.profile)) for edge in (starts, ends))
    wanted = np.where(inside, before[high] - before[low], 0.0)
    cuts = _cuts(frame)
    expected = np.add.reduceat(wanted, cuts[:-1])
    columns = np.add.reduceat((ends - starts) * inside, cuts[:-1])
    of_group = np.repeat(np.arange(len(cuts) - 1), np.diff(cuts))
    share = np.where(inside, 1.0 / np.where(expected > 0.0, expected, np.nan)[of_group], 0.0)
    weights = np.where(np.arange(len(expected))[:, None] == of_group, share, 0.0)
    levels = (weights @ totals.row_sums).astype(np.float32)
    levels[expected <= 0.0] = np.nan
    level = (expected / np.maximum(columns, 1)).astype(np.float32)
    return reduce_lines(levels, first_line, frame, expected=level, used=ground.used)


def band_borders_mm(frame: Frame, left: float) -> list[float]:
    """Borders of the groups, from the datum edge."""
    columns = np.minimum(_cuts(frame) * frame.segment, frame.columns)
    return [float(value) for value in np.maximum((columns - left) * frame.pitch_mm[1], 0.0)]


def mottle_sums(cells: Cells) -> NDArray[np.float64]:
    """Sums of a block as ``block_mottle`` gives them."""
    part = cells.away[:_MOTTLE_CELLS]
    seen = np.isfinite(cells.noise) & (cells.wanted > 0.0)
    if not seen.any() or not part.size:
        return block_mottle(np.empty((0, 0), np.float32), 0.0)
    inside = slice(int(np.argmax(seen)), len(seen) - int(np.argmax(seen[::-1])))
    with np.errstate(divide="ignore"):
        share = np.where(seen, 1.0 / cells.wanted, np.nan).astype(np.float32)[inside]
    level = part[:, inside] * share + np.float32(1.0)
    level[~cells.seen[:_MOTTLE_CELLS]] = np.nan
    variance = float(np.median((cells.noise[seen].astype(np.float64) / cells.wanted[seen]) ** 2))
    return block_mottle(level, variance)


def cell_size_mm(frame: Frame) -> tuple[float, float]:
    """Of the cells from which mottle is told, along and across."""
    return CELL * frame.pitch_mm[0], CELL * frame.pitch_mm[1]


def _cuts(frame: Frame) -> NDArray[np.int64]:
    """Borders of the groups, counted in segments; groups lie over each other in a raster of few columns."""
    groups = min(_GROUPS, frame.segments)
    return np.arange(groups + 1) * frame.segments // groups
