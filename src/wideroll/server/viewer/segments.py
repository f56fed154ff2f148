"""A roll cut into segments of at most 50 m, and the levels of zoom of each."""

import math
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

__all__ = ["LAYERS", "MOST_M", "TILE", "Cells", "Layer", "Level", "Segment", "cut_levels", "cut_segments"]

Layer: TypeAlias = Literal["mean", "worst"]

LAYERS: Final[tuple[Layer, Layer]] = ("mean", "worst")
MOST_M: Final = 50.0
TILE: Final = 256
"""Pixels of a tile along and across; the last ones are smaller."""
_UNIT: Final = 256
"""A segment is whole multiples of so many cells, so that its borders are borders of cells however coarse."""
_CELL_TO_PIXELS: Final = 4
"""Below the cells come pixels, at least four times as fine along."""
_MOST_JOINED: Final = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """What the overview says of itself: its finest level's size, cells and their number, and how many levels."""

    along: int
    across: int
    cell_m: float
    cell_mm: float
    levels: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """Rows of the finest level, ``[first, last)``, numbered from 1 at the head."""

    number: int
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One level of zoom of a segment, numbered from 0 for the coarsest.

    ``cells`` is the level of the overview it shows, or None; ``joined`` how many pixels of the raster, along and
    across, make one of the picture, or 0.
    """

    number: int
    px_m: float
    px_mm: float
    columns: int
    """Pixels along, to the right."""
    rows: int
    """Pixels across, upwards from the datum edge."""
    cells: int | None = None
    joined: int = 0

    @property
    def tiles(self) -> tuple[int, int]:
        """How many along and across."""
        return -(-self.columns // TILE), -(-self.rows // TILE)


def cut_segments(cells: Cells) -> tuple[Segment, ...]:
    """Segments from head to tail, as long as 50 m allow; none of a roll of which nothing was seen.

    Example:
        >>> cut_segments(Cells(along=10_000, across=138, cell_m=0.0099, cell_mm=10.0, levels=7))[1:]
        (Segment(number=2, first=4864, last=9728), Segment(number=3, first=9728, last=10000))
    """
    if not cells.along or not cells.across:
        return ()
    fit = max(1, math.floor(MOST_M / cells.cell_m + 1e-9))
    unit = min(_UNIT, 1 << (fit.bit_length() - 1))
    step = fit // unit * unit
    return tuple(
        Segment(number=n + 1, first=first, last=min(first + step, cells.along))
        for n, first in enumerate(range(0, cells.along, step))
    )


def cut_levels(cells: Cells, segment: Segment, *, pitch_mm: tuple[float, float] | None) -> tuple[Level, ...]:
    """Levels of a segment, coarsest first: of the overview's as many as it takes to fit a tile, then of the raster.

    Args:
        cells: of the overview.
        segment: of the roll.
        pitch_mm: of the raster, along and across; None where it isn't there.
    """
    span = segment.last - segment.first
    aligned = (segment.first & -segment.first).bit_length() - 1 if segment.first else cells.levels
    most = min(cells.levels - 1, aligned)
    wanted = max(0, math.ceil(math.log2(max(span, cells.across) / TILE)))
    found = [_of_cells(cells, span, level) for level in range(min(most, wanted), -1, -1)]
    if pitch_mm is not None:
        lines = round(cells.cell_m * 1000.0 / pitch_mm[0])
        joined = min(1 << max(0, (lines // _CELL_TO_PIXELS).bit_length() - 1), _MOST_JOINED)
        while joined:
            found.append(_of_pixels(cells, span, pitch_mm, (lines, joined)))
            joined //= 2
    return tuple(replace(level, number=number) for number, level in enumerate(found))


def _of_cells(cells: Cells, span: int, level: int) -> Level:
    return Level(
        number=0,
        px_m=cells.cell_m * 2.0**level,
        px_mm=cells.cell_mm * 2.0**level,
        columns=-(-span // (1 << level)),
        rows=-(-cells.across // (1 << level)),
        cells=level,
    )


def _of_pixels(cells: Cells, span: int, pitch_mm: tuple[float, float], how: tuple[int, int]) -> Level:
    lines, joined = how
    return Level(
        number=0,
        px_m=pitch_mm[0] * joined / 1000.0,
        px_mm=pitch_mm[1] * joined,
        columns=-(-(span * lines) // joined),
        rows=math.ceil(cells.across * cells.cell_mm / (pitch_mm[1] * joined) - 1e-9),
        joined=joined,
    )
