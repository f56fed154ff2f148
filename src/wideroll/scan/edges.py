"""Where the web begins and ends in the scan field."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.frame import Frame

__all__ = ["Edges", "find_edges"]

_RIM_MM: Final = 2.0
"""Outside of the web is seen only where more than half of this much of it is in the raster."""
_DOUBTED_BLOCKS: Final = 4
"""Not before it was there for so many blocks is an edge believed where none was: an area off level has sides too."""
_LEAST_STEP: Final = 0.15
"""Smallest step at an edge, as a fraction of the level of the web."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """Borders of the web in columns from the raster's first (fractions count)."""

    left: float
    right: float
    left_seen: bool
    """False: the web reaches the raster's border, or further."""
    right_seen: bool
    doubted: int = 0
    """Blocks in a row that showed an edge where the web had reached the raster's border before."""

    def inside(self, frame: Frame) -> tuple[int, int]:
        """Columns (from, to) of web between the edge beads; to is never below from."""
        bead = frame.settings.edge_bead_mm / frame.pitch_mm[1]
        first = int(np.ceil(self.left + bead)) if self.left_seen else 0
        last = int(np.floor(self.right - bead)) if self.right_seen else frame.columns
        return min(first, frame.columns), max(min(first, frame.columns), last)


def find_edges(level: NDArray[np.float64], frame: Frame, known: Edges | None) -> Edges:
    """Find where the level steps from outside to web, half-way between both.

    Args:
        level: (columns,) robust mean of the block in each column.
        frame: The raster.
        known: Edges of the block before: they hold where this block doesn't show one.
    """
    left = right = None
    if frame.settings.find_edges:
        rim = max(3, round(_RIM_MM / frame.pitch_mm[1]))
        left, right = _left_edge(level, rim), _left_edge(level[::-1], rim)
    new = bool(known and ((left and not known.left_seen) or (right and not known.right_seen)))
    doubted = known.doubted + 1 if known and new else 0
    if known and 0 < doubted <= _DOUBTED_BLOCKS:
        left, right = (left if known.left_seen else None), (right if known.right_seen else None)
    if left is None and known and known.left_seen:
        left = known.left
    if right is None and known and known.right_seen:
        right = frame.columns - known.right
    return Edges(
        left=0.0 if left is None else left,
        right=float(frame.columns if right is None else frame.columns - right),
        left_seen=left is not None,
        right_seen=right is not None,
        doubted=doubted,
    )


def _left_edge(level: NDArray[np.float64], rim: int) -> float | None:
    columns = len(level)
    if columns < 8 * rim:
        return None
    outside = float(np.median(level[:rim]))
    web = float(np.median(level[columns // 4 : columns - columns // 4]))
    if abs(outside - web) <= _LEAST_STEP * web:
        return None
    middle = (outside + web) / 2.0
    on_web = (level > middle) == (web > middle)
    steady = np.lib.stride_tricks.sliding_window_view(on_web, rim).all(axis=1)
    first = int(np.argmax(steady))
    # A profile that falls off towards the border crosses the middle too, but not in a step.
    far, near = level[min(first + rim, columns - 1)], level[max(first - 1 - rim, 0)]
    if first == 0 or abs(far - near) < abs(outside - web) / 2.0:
        return None
    return float(first - 0.5 + (middle - level[first - 1]) / (level[first] - level[first - 1]))
