"""The raster's fixed facts, and how it is cut into blocks, strips and cells along the web."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import DTypeLike, NDArray

from wideroll.errors import ArgumentError
from wideroll.scan.model import ScanSettings
from wideroll.scan.places import LinePlaces

__all__ = ["LEAST_LINES", "Frame", "Grey", "check_rows", "join_strips", "make_frame", "strip_cuts", "to_be_read"]

Grey: TypeAlias = NDArray[np.uint8] | NDArray[np.uint16]

LEAST_LINES: Final = 8
"""Fewer lines than this don't tell a background from what lies on it."""
_LEAST_STRIPS: Final = 9
_LEAST_STRIP_LINES: Final = 4
"""Fewer lines don't tell noise; no cell is shorter."""
_MOST_STRIP_LINES: Final = 256
"""Keeps the sum of the squares of 8-bit pixels within 32 bits."""
_SEGMENTS: Final = 16
_HELD_MM: Final = 13.0
_LEAST_HELD: Final = 64
_MOST_HELD: Final = 512
_VECTOR: Final = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stays the same from the first line to the last."""

    columns: int
    pitch_mm: tuple[float, float]
    dtype: np.dtype[np.uint8] | np.dtype[np.uint16]
    settings: ScanSettings
    saturation: int
    cell_lines: int
    """Lines to a cell of the overview."""
    block_lines: int
    """Lines to a block; whole cells."""
    segment: int
    """Columns to a segment, over which each line is averaged to find its gain."""
    places: LinePlaces
    """Where the lines lie along."""

    @property
    def segments(self) -> int:
        """Segments across the raster."""
        return -(-self.columns // self.segment)

    @property
    def cell_mm(self) -> float:
        """Width of a cell of the overview, at least one column."""
        return max(self.settings.overview_cell_mm, self.pitch_mm[1])

    @property
    def held_lines(self) -> int:
        """Last lines of a block that are looked at again with the next, so that a mark across the border is whole."""
        return min(self.block_lines, max(_LEAST_HELD, round(_HELD_MM / self.pitch_mm[0])), _MOST_HELD)

    def along_m(self, line: float) -> float:
        """Distance from the head to the start of a line."""
        return self.places.along_m(float(line))

    def lines_m(self, lines: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same for many."""
        return self.places.along_m(lines)

    def pitches_mm(self, lines: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distance from one line to the next at each of them."""
        return self.places.pitch_mm(lines)


def make_frame(
    columns: int,
    pitch_mm: tuple[float, float],
    dtype: DTypeLike,
    settings: ScanSettings,
    places: LinePlaces | None = None,
) -> Frame:
    """Check the raster's facts and cut it.

    Raises:
        ArgumentError: when there are no columns, the pitch isn't two finite numbers above 0, or the pixels are neither
            uint8 nor uint16.
    """
    if columns < 1:
        raise ArgumentError(where="columns", rule="must be above 0", value=columns, mend="Give an image with pixels.")
    pitch = _check_pitch(pitch_mm)
    pixel = np.dtype(dtype)
    if pixel.kind != "u" or pixel.itemsize not in {1, 2}:
        raise ArgumentError(
            where="image dtype",
            rule="must be uint8 or uint16",
            value=str(pixel),
            mend="Scale the grey values to whole numbers first; don't scale away the noise.",
        )
    cell_lines = max(_LEAST_STRIP_LINES, round(settings.overview_cell_mm / pitch[0]))
    cells = max(1, round(settings.block_m * 1000.0 / pitch[0] / cell_lines))
    return Frame(
        columns=columns,
        pitch_mm=pitch,
        dtype=np.dtype(np.uint8) if pixel.itemsize == 1 else np.dtype(np.uint16),
        settings=settings,
        saturation=int(np.iinfo(pixel).max) if settings.saturation is None else settings.saturation,
        cell_lines=cell_lines,
        block_lines=max(LEAST_LINES * 2, cells * cell_lines),
        segment=_segment(columns),
        places=places or LinePlaces.steady(pitch[0]),
    )


def _segment(columns: int) -> int:
    """Whole vectors of a processor where a segment is that wide."""
    segment = max(1, columns // _SEGMENTS)
    return segment if segment < _VECTOR else segment // _VECTOR * _VECTOR


def check_rows(rows: NDArray[np.generic], frame: Frame) -> None:
    """Refuse rows that don't belong to the raster.

    Raises:
        ArgumentError: naming what differs.
    """
    if rows.ndim != 2:  # noqa: PLR2004
        raise ArgumentError(
            where="image", rule="must be two-dimensional [along, across]", value=rows.shape, mend="Pick one channel."
        )
    if rows.shape[1] != frame.columns:
        raise ArgumentError(
            where="rows", rule=f"must have {frame.columns} columns", value=rows.shape[1], mend="Feed one raster only."
        )
    if rows.dtype.newbyteorder("=") != frame.dtype:
        raise ArgumentError(
            where="rows dtype", rule=f"must be {frame.dtype}", value=str(rows.dtype), mend="Feed one raster only."
        )


def to_be_read(rows: Grey) -> Grey:
    """The same lines, not to be written to.

    What is compiled for them is so compiled once: lines that may be written to would be another type.
    """
    seen = rows.view()
    seen.flags.writeable = False
    return seen


def strip_cuts(lines: int, cell_lines: int) -> tuple[NDArray[np.int64], int]:
    """Cut a block into strips: cells, or parts of cells where a block has few.

    Strips are short enough for their sums to be exact, and so many that a median over them doesn't follow a mark.

    Returns:
        Borders (strips + 1,) in lines from the block's first, and how many strips make a cell.
    """
    wanted = max(math.ceil(_LEAST_STRIPS * cell_lines / lines), 1)
    parts = max(min(wanted, cell_lines // _LEAST_STRIP_LINES), math.ceil(cell_lines / _MOST_STRIP_LINES), 1)
    cells = -(-lines // cell_lines)
    borders = np.arange(cells * parts + 1) * cell_lines // parts
    return np.minimum(borders, lines), parts


def join_strips(strips: int, most: int) -> NDArray[np.int64]:
    """Borders of stretches of neighbouring strips, counted in strips: few enough for a quick median."""
    return np.append(np.arange(0, strips, -(-strips // most)), strips)


def _check_pitch(pitch_mm: Sequence[float]) -> tuple[float, float]:
    along, across = (float(value) for value in pitch_mm) if len(pitch_mm) == 2 else (math.nan, math.nan)  # noqa: PLR2004
    if not (math.isfinite(along) and along > 0.0 and math.isfinite(across) and across > 0.0):
        raise ArgumentError(
            where="pitch_mm", rule="must be two finite numbers above 0", value=pitch_mm, mend="Give (along, across)."
        )
    return along, across
