"""One block of lines to everything that is kept of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wideroll.scan import linking
from wideroll.scan.background import Background, find_background
from wideroll.scan.bands import BandRows
from wideroll.scan.chips import ChipBook
from wideroll.scan.edges import Edges
from wideroll.scan.extremes import Extremes
from wideroll.scan.frame import LEAST_LINES, Frame, Grey, to_be_read
from wideroll.scan.levels import block_levels
from wideroll.scan.overview import OverviewRows, blind_rows, overview_rows
from wideroll.scan.residual import Residual, find_residual, smooth_profile
from wideroll.scan.seeds import find_seeds, use_lines
from wideroll.scan.stages import Held, block_ground, close_marks, find_block_marks
from wideroll.scan.still import find_still, group_borders, lines_at_rest, still_stretches
from wideroll.scan.sums import sum_block
from wideroll.scan.unevenness import band_rows, mottle_sums

__all__ = ["BlockReport", "Carry", "Desk", "lost_block", "screen_block"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carry:
    """What a block must know of the one before."""

    held: Held | None = None
    edges: Edges | None = None
    last_row: Grey | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Desk:
    """What is written on from block to block: a map of the lines looked at, and the chips."""

    taken: NDArray[np.uint8]
    chips: ChipBook


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
    noise: float
    """Median pixel noise as a fraction of the background; NaN where the block shows no web."""
    faulty: NDArray[np.int64]
    """Columns of the raster that show nothing in this block."""
    fault: NDArray[np.uint8]
    """Why, for each of them."""
    off_level: NDArray[np.int64]
    """Lines, counted from the head, that aren't web as usual."""
    off_gain: NDArray[np.float32]
    """The signal of each of them over that of the web beside it."""
    level: NDArray[np.float32]
    """(cells,) as ``block_levels`` gives it; empty where the block shows no web."""
    still: NDArray[np.int64]
    """(stretches, 3) without fresh noise: group of columns, line from, line to."""
    bands: BandRows | None = None
    mottle: NDArray[np.float64] | None = None
    """Sums as ``block_mottle`` gives them."""
    crowded: bool = False
    """More of it stands out than can be told apart."""
    at_rest: bool = False
    """All of the block is in ``still``."""
    lost: str = ""
    """Why its lines couldn't be read, where they couldn't."""


def screen_block(
    rows: Grey, first_line: int, before: Carry, given: tuple[Desk, Frame], *, last: bool
) -> tuple[BlockReport, OverviewRows, Carry]:
    """Find a block's background, its marks and its traces of streaks.

    Args:
        rows: C-contiguous lines, ``[along, across]``.
        first_line: The first of them, counted from the head.
        before: What the block before left.
        given: What is written on from block to block, and the raster.
        last: No lines follow.
    """
    (desk, frame), rows = given, to_be_read(rows)
    if len(rows) < LEAST_LINES:
        return _blind(rows, first_line, before, given)
    totals = sum_block(rows, frame)
    still = find_still(rows, before.last_row, totals, frame)
    rest = lines_at_rest(still, frame)
    # What little is live in such a block wouldn't tell its background from what lies on it.
    if 2 * int(rest.sum()) > len(rows):
        return _blind(rows, first_line, before, given, at_rest=True)
    ground = find_background(totals, frame, before.edges, rest)
    if ground.faults.all() or ground.silent:
        return _blind(rows, first_line, before, given, at_rest=not ground.faults.all())
    lines = use_lines(rows, ground)
    extremes = Extremes(rows, totals, ground)
    seeds, cells = find_seeds(lines, ground, extremes, frame)
    block = block_ground(lines, ground, frame), first_line
    measures, held, crowded = find_block_marks(block, seeds, before.held, (desk.taken, desk.chips, frame), last=last)
    smooth = smooth_profile(ground, frame)
    faulty, off = np.flatnonzero(ground.faults), np.flatnonzero(ground.off_level)
    report = BlockReport(
        first_line=first_line,
        lines=len(rows),
        edges=ground.edges,
        measures=measures,
        residual=find_residual(ground, smooth, frame),
        noise=_noise(ground),
        faulty=faulty + ground.first,
        fault=ground.faults[faulty],
        off_level=off + first_line,
        off_gain=(ground.gain[off] / np.median(ground.gain)).astype(np.float32),
        level=block_levels(ground, frame),
        still=still_stretches(_beside_faults(still, ground, frame), first_line, frame),
        bands=band_rows(totals, ground, first_line, frame),
        mottle=mottle_sums(cells),
        crowded=crowded,
    )
    rows_seen = overview_rows(totals, extremes, ground, smooth, frame)
    return report, rows_seen, Carry(held=held, edges=ground.edges, last_row=rows[-1].copy())


def lost_block(
    lines: int, why: str, first_line: int, before: Carry, given: tuple[Desk, Frame]
) -> tuple[BlockReport, OverviewRows, Carry]:
    """Lines that nobody can read: marks end at them, the edges are taken to go on."""
    desk, frame = given
    measures = close_marks(before.held, (desk.taken, desk.chips, frame))
    report = _empty_report(first_line, lines, measures, frame, lost=why)
    return report, blind_rows(lines, frame), Carry(edges=before.edges)


def _beside_faults(still: NDArray[np.bool_], ground: Background, frame: Frame) -> NDArray[np.bool_]:
    """Without the groups that lie beside the web or are faulty anyway, where not the whole line stands still."""
    if not still.any():
        return still
    sound = np.zeros(frame.columns, np.bool_)
    sound[ground.first : ground.last] = ground.faults == 0
    watched = np.logical_or.reduceat(sound, group_borders(frame)[:-1])
    return np.asarray(still & (watched[:, None] | still.all(axis=0)))


def _noise(ground: Background) -> float:
    sound = ground.faults == 0
    return float(np.median(ground.noise[sound] / ground.profile[sound]))


def _blind(
    rows: Grey, first_line: int, before: Carry, given: tuple[Desk, Frame], *, at_rest: bool = False
) -> tuple[BlockReport, OverviewRows, Carry]:
    """A block that is too short, shows no web or stands still: marks end at it."""
    desk, frame = given
    measures = close_marks(before.held, (desk.taken, desk.chips, frame))
    report = _empty_report(first_line, len(rows), measures, frame, at_rest=at_rest)
    return report, blind_rows(len(rows), frame), Carry(edges=before.edges, last_row=rows[-1].copy())


def _empty_report(
    first_line: int, lines: int, measures: NDArray[np.float64], frame: Frame, *, at_rest: bool = False, lost: str = ""
) -> BlockReport:
    whole = np.full((len(group_borders(frame)) - 1, lines), at_rest)
    return BlockReport(
        first_line=first_line,
        lines=lines,
        edges=None,
        measures=measures if len(measures) else np.empty((0, linking.MEASURES)),
        residual=None,
        noise=float("nan"),
        faulty=np.empty(0, np.int64),
        fault=np.empty(0, np.uint8),
        off_level=np.empty(0, np.int64),
        off_gain=np.empty(0, np.float32),
        level=np.empty(0, np.float32),
        still=still_stretches(whole, first_line, frame),
        at_rest=at_rest,
        lost=lost,
    )
