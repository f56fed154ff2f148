"""One block of lines to everything that is kept of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.background import Background, find_background
from wideroll.scan.edges import Edges
from wideroll.scan.frame import LEAST_LINES, Frame, Grey
from wideroll.scan.linking import OpenMarks, link_runs
from wideroll.scan.overview import OverviewRows, blind_rows, overview_rows
from wideroll.scan.residual import Residual, find_residual, smooth_profile
from wideroll.scan.runs import Runs, find_runs
from wideroll.scan.sums import sum_block

__all__ = ["BlockReport", "Carry", "screen_block"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carry:
    """What a block must know of the one before."""

    open_marks: OpenMarks
    edges: Edges | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlockReport:
    """What is kept of a block: its marks and its reduced sums."""

    first_line: int
    lines: int
    edges: Edges | None
    """None where the block shows no web."""
    measures: NDArray[np.float64]
    """Marks that ended in the block."""
    residual: Residual | None
    overview: OverviewRows
    noise: float
    """Median pixel noise as a fraction of the background; NaN where the block shows no web."""
    faulty: NDArray[np.int64]
    """Columns of the raster that show nothing in this block."""
    fault: NDArray[np.uint8]
    """Why, for each of them."""
    off_level: NDArray[np.int64]
    """Lines, counted from the head, that aren't web as usual."""


def screen_block(rows: Grey, first_line: int, before: Carry, frame: Frame) -> tuple[BlockReport, Carry]:
    """Find a block's background, its marks and its traces of streaks.

    Args:
        rows: C-contiguous lines, ``[along, across]``.
        first_line: The first of them, counted from the head.
        before: What the block before left.
        frame: The raster.
    """
    if len(rows) < LEAST_LINES:
        return _blind(rows, first_line, before, frame)
    totals = sum_block(rows, frame)
    ground = find_background(totals, frame, before.edges)
    if ground.faults.all():
        return _blind(rows, first_line, before, frame)
    runs = find_runs(rows, totals, ground, frame)
    measures, still = link_runs(
        runs, before.open_marks, frame, first_line=first_line, lines=len(rows), left=ground.edges.left
    )
    smooth = smooth_profile(ground, frame)
    faulty = np.flatnonzero(ground.faults)
    report = BlockReport(
        first_line=first_line,
        lines=len(rows),
        edges=ground.edges,
        measures=measures,
        residual=find_residual(ground, smooth, frame),
        overview=overview_rows(totals, runs, ground, smooth, frame),
        noise=_noise(ground),
        faulty=faulty + ground.first,
        fault=ground.faults[faulty],
        off_level=np.flatnonzero(ground.off_level) + first_line,
    )
    return report, Carry(open_marks=still, edges=ground.edges)


def _noise(ground: Background) -> float:
    sound = ground.faults == 0
    return float(np.median(ground.noise[sound] / ground.profile[sound]))


def _blind(rows: Grey, first_line: int, before: Carry, frame: Frame) -> tuple[BlockReport, Carry]:
    """A block that is too short or shows no web: marks end at it."""
    nothing = Runs(
        spans=np.empty((0, 4), np.int32),
        peaks=np.empty((0, 3), np.float32),
        lowest=np.empty((0, 0), np.float32),
        highest=np.empty((0, 0), np.float32),
    )
    measures, still = link_runs(nothing, before.open_marks, frame, first_line=first_line, lines=len(rows), left=0.0)
    report = BlockReport(
        first_line=first_line,
        lines=len(rows),
        edges=None,
        measures=measures,
        residual=None,
        overview=blind_rows(len(rows), frame),
        noise=float("nan"),
        faulty=np.empty(0, np.int64),
        fault=np.empty(0, np.uint8),
        off_level=np.empty(0, np.int64),
    )
    return report, Carry(open_marks=still, edges=before.edges)
