"""One block of lines to everything that is kept of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.background import Background, find_background
from wideroll.scan.edges import Edges
from wideroll.scan.frame import LEAST_LINES, Frame, Grey
from wideroll.scan.levels import block_levels
from wideroll.scan.linking import OpenMarks, link_runs
from wideroll.scan.overview import OverviewRows, blind_rows, overview_rows
from wideroll.scan.residual import Residual, find_residual, smooth_profile
from wideroll.scan.runs import Runs, find_runs
from wideroll.scan.still import find_still, group_borders, lines_at_rest, still_stretches
from wideroll.scan.sums import sum_block

__all__ = ["BlockReport", "Carry", "screen_block"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carry:
    """What a block must know of the one before."""

    open_marks: OpenMarks
    edges: Edges | None = None
    last_row: Grey | None = None


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
    level: NDArray[np.float32]
    """(cells,) as ``block_levels`` gives it; empty where the block shows no web."""
    still: NDArray[np.int64]
    """(stretches, 3) without fresh noise: group of columns, line from, line to."""
    at_rest: bool = False
    """All of the block is in ``still``."""


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
    still = find_still(rows, before.last_row, totals, frame)
    rest = lines_at_rest(still, frame)
    # What little is live in such a block wouldn't tell its background from what lies on it.
    if 2 * int(rest.sum()) > len(rows):
        return _blind(rows, first_line, before, frame, at_rest=True)
    ground = find_background(totals, frame, before.edges, rest)
    if ground.faults.all() or ground.silent:
        return _blind(rows, first_line, before, frame, at_rest=not ground.faults.all())
    runs = find_runs(rows, totals, ground, frame)
    measures, open_marks = link_runs(
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
        level=block_levels(ground, frame),
        still=still_stretches(_beside_faults(still, ground, frame), first_line, frame),
    )
    return report, Carry(open_marks=open_marks, edges=ground.edges, last_row=rows[-1].copy())


def _beside_faults(still: NDArray[np.bool_], ground: Background, frame: Frame) -> NDArray[np.bool_]:
    """Without the groups that lie beside the web or are faulty anyway, where not the whole line stands still."""
    sound = np.zeros(frame.columns, np.bool_)
    sound[ground.first : ground.last] = ground.faults == 0
    watched = np.logical_or.reduceat(sound, group_borders(frame)[:-1])
    return np.asarray(still & (watched[:, None] | still.all(axis=0)))


def _noise(ground: Background) -> float:
    sound = ground.faults == 0
    return float(np.median(ground.noise[sound] / ground.profile[sound]))


def _blind(
    rows: Grey, first_line: int, before: Carry, frame: Frame, *, at_rest: bool = False
) -> tuple[BlockReport, Carry]:
    """A block that is too short, shows no web or stands still: marks end at it."""
    nothing = Runs(
        spans=np.empty((0, 4), np.int32),
        peaks=np.empty((0, 3), np.float32),
        lowest=np.empty((0, 0), np.float32),
        highest=np.empty((0, 0), np.float32),
    )
    measures, open_marks = link_runs(
        nothing, before.open_marks, frame, first_line=first_line, lines=len(rows), left=0.0
    )
    whole = np.full((len(group_borders(frame)) - 1, len(rows)), at_rest)
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
        level=np.empty(0, np.float32),
        still=still_stretches(whole, first_line, frame),
        at_rest=at_rest,
    )
    return report, Carry(open_marks=open_marks, edges=before.edges, last_row=rows[-1].copy())
