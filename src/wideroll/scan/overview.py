"""The web in coarse cells, from sums that were taken anyway."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Extent
from wideroll.scan.background import Background
from wideroll.scan.frame import Frame
from wideroll.scan.model import Overview
from wideroll.scan.runs import Runs
from wideroll.scan.sums import BlockSums

__all__ = ["OverviewRows", "blind_rows", "join_overview", "overview_rows"]


_SLIVER: Final = 0.05
"""A last column of cells that the web fills by no more than this is left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OverviewRows:
    """The cells ``[along, across]`` of one block, from the datum edge on."""

    mean: NDArray[np.float32]
    worst: NDArray[np.float32]


def overview_rows(
    totals: BlockSums, runs: Runs, ground: Background, smooth: NDArray[np.float64], frame: Frame
) -> OverviewRows:
    """Average and worst of each cell, over the smooth course of the profile (so that streaks show)."""
    sound = np.flatnonzero(ground.faults == 0)
    places = (sound + ground.first + 0.5 - ground.edges.left) * frame.pitch_mm[1]
    cells, starts = np.unique((places // frame.cell_mm).astype(np.int64), return_index=True)
    weight = np.diff(np.concatenate([[0.0], np.cumsum(ground.gain)])[totals.cuts])
    tall = np.arange(0, len(totals.cuts) - 1, totals.parts)
    signal = np.add.reduceat(totals.sums[:, ground.first : ground.last][:, sound], tall, axis=0)
    wanted = np.outer(np.add.reduceat(weight, tall), np.add.reduceat(smooth[sound], starts))
    mean = np.add.reduceat(signal, starts, axis=1) / wanted
    least = np.minimum.reduceat(np.minimum.reduceat(runs.lowest[:, sound], tall, axis=0) / smooth[sound], starts, 1)
    most = np.maximum.reduceat(np.maximum.reduceat(runs.highest[:, sound], tall, axis=0) / smooth[sound], starts, 1)
    seen = np.logical_or.reduceat(ground.used, totals.cuts[tall])[:, None]
    worst = np.where(most - 1.0 > 1.0 - least, most, least)
    shape = (len(tall), int(cells[-1]) + 1)
    out = np.full((2, *shape), np.nan, np.float32)
    out[0, :, cells] = np.where(seen, mean, np.nan).T
    out[1, :, cells] = np.where(seen, worst, np.nan).T
    return OverviewRows(mean=out[0], worst=out[1])


def blind_rows(lines: int, frame: Frame) -> OverviewRows:
    """Cells of a block that shows no web."""
    nothing = np.full((-(-lines // frame.cell_lines), 1), np.nan, np.float32)
    return OverviewRows(mean=nothing, worst=nothing)


def join_overview(blocks: Sequence[OverviewRows], web: Extent, frame: Frame) -> Overview:
    """The blocks' cells under each other, as wide as the web."""
    width = max(1, math.ceil(web.width_mm / frame.cell_mm - _SLIVER))
    return Overview(
        mean=np.concatenate([_fit(block.mean, width) for block in blocks]),
        worst=np.concatenate([_fit(block.worst, width) for block in blocks]),
        cell_m=frame.cell_lines * frame.pitch_mm[0] / 1000.0,
        cell_mm=frame.cell_mm,
        extent=web,
    )


def _fit(cells: NDArray[np.float32], width: int) -> NDArray[np.float32]:
    out = np.full((len(cells), width), np.nan, np.float32)
    shared = min(width, cells.shape[1])
    out[:, :shared] = cells[:, :shared]
    return out
