"""What a finder knows while lines still come: the marks so far, and what of the web was looked at for them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import Coverage
from wideroll.scan.coverage import find_coverage, web_extent
from wideroll.scan.frame import Frame
from wideroll.scan.marks import mark_table, place_marks
from wideroll.scan.residual import SETTLED_BLOCKS
from wideroll.scan.screening import BlockReport
from wideroll.scan.streaks import find_lines, is_streak, line_marks, outside_lines

__all__ = ["Glance", "LookSoFar", "glance_back", "look_back"]

_STILL_GROWING: Final = 2
"""A line that ends within this many blocks of the last one may go on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LookSoFar:
    """The last stretch of a scan that isn't over."""

    marks: pl.DataFrame
    """As ``MARKS_SCHEMA``, in order of place: those that ended, without pieces of the lines along the web so far."""
    coverage: Coverage
    """Of the stretch alone."""
    from_m: float
    to_m: float
    """Whole blocks, from the head: marks beyond aren't known yet."""
    web_width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Glance:
    """Places of the marks that ended in the last stretch of a scan, those on lines along the web included."""

    along_m: NDArray[np.float64]
    """(n,) from the head, in no order."""
    across_mm: NDArray[np.float64]
    """(n,) from the datum edge."""
    from_m: float
    to_m: float


def glance_back(blocks: Sequence[BlockReport], frame: Frame, from_line: int = 0) -> Glance:
    """The places alone, at a fraction of the time of ``look_back``.

    Args:
        blocks: From head to end, at least one.
        frame: The raster, with the places of lines as they are known now.
        from_line: Counted from the head.
    """
    starts = [block.first_line for block in blocks]
    late = blocks[max(int(np.searchsorted(starts, from_line, side="right")) - 1, 0) :]
    along, across = place_marks(np.concatenate([block.measures for block in late]), frame)
    end = late[-1].first_line + late[-1].lines
    return Glance(
        along_m=along, across_mm=across, from_m=frame.along_m(late[0].first_line), to_m=frame.along_m(float(end))
    )


def look_back(blocks: Sequence[BlockReport], frame: Frame, from_line: int = 0) -> LookSoFar:
    """Sum up the blocks from the one that holds a line; nothing of them is changed.

    Args:
        blocks: From head to end, at least one. The stretch begins up to a group of settled blocks early.
        frame: The raster, with the places of lines as they are known now.
        from_line: Counted from the head.
    """
    starts = [block.first_line for block in blocks]
    first = max(int(np.searchsorted(starts, from_line, side="right")) - 1, 0) // SETTLED_BLOCKS * SETTLED_BLOCKS
    late = blocks[first:]
    from_m = frame.along_m(late[0].first_line)
    web = replace(web_extent(late, frame), along_from_m=from_m)
    lines = find_lines(late, web, frame)
    seen = [block.noise for block in late if block.edges]
    table = mark_table(np.concatenate([block.measures for block in late]), frame)
    marks = outside_lines(table, lines, float(np.median(seen)) if seen else 0.0, frame)
    ended_m = frame.along_m(late[max(len(late) - _STILL_GROWING, 0)].first_line)
    short = [line for line in lines if not is_streak(line, frame) and line.extent.along_to_m < ended_m]
    return LookSoFar(
        marks=pl.concat([marks, line_marks(short, frame)]).sort("along_m", "across_mm", maintain_order=True),
        coverage=find_coverage(late, web, frame),
        from_m=from_m,
        to_m=web.along_to_m,
        web_width_mm=web.width_mm,
    )
