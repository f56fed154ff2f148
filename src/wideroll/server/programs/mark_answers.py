"""What the API answers about segments and marks, field by field."""

from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Mark", "Marks", "OneMark", "Segment", "Segments", "StepMark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearest:
    """The mark of a segment that stands out most."""

    id: str
    kind: str
    along_m: float
    across_mm: float
    size_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortSegment:
    """A segment in short."""

    roll: str
    segment: int
    from_m: float
    to_m: float
    marks: int
    clearest: Clearest | None
    page: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """The segments of a roll; ``pixels`` says whether the raster can be shown."""

    roll: str
    pixels: bool
    no_pixels_why: str | None
    segments: list[ShortSegment]


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level of zoom."""

    level: int
    px_m: float
    px_mm: float
    columns: int
    rows: int
    shows: Literal["pixels of the raster", "cells of the overview"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment(ShortSegment):
    """A segment: its levels of zoom, where its tiles are, and how to read their greys."""

    schema: Literal["wideroll/segment/1"]
    of: int
    width_mm: float
    tile_px: int
    tiles: str
    layers: list[str]
    greys: dict[str, Any]
    picture: dict[str, float]
    places: dict[str, list[float]] | None
    levels: list[Level]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A mark; ``snr`` is null where the noise beside it can't be told."""

    id: str
    along_m: float
    across_mm: float
    length_mm: float
    width_mm: float
    size_mm: float
    area_mm2: float
    contrast: float
    snr: float | None
    peak: float
    elongation: float
    angle_deg: float
    ring: float
    polarity: str
    kind: str
    rule: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldMark(Mark):
    """A mark in words too, with its chip and where it is shown."""

    words: str
    chip: str | None
    segment: int
    page: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OneMark:
    """One mark of a roll."""

    roll: str
    mark: ToldMark


@dataclass(frozen=True, slots=True, kw_only=True)
class StepMark:
    """The mark that comes next, the how-manieth it is, and of how many; the mark is null at the end."""

    roll: str
    mark: ToldMark | None
    number: int = 0
    of: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Marks side by side, counted together."""

    from_m: float
    to_m: float
    from_mm: float
    to_mm: float
    count: int
    dark: int
    clearest: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BinSize:
    """Of all bins of an answer."""

    m: float
    mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """The marks that are asked for; in bins where there are more than 2,000."""

    schema: Literal["wideroll/marks-in-view/1"]
    roll: str
    found: int
    of: int
    binned: bool
    cell: BinSize | None
    marks: list[Mark]
    bins: list[Bin]
