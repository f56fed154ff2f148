"""What a scan is asked and what it answers."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.roll import Coverage, Extent, Polarity
from wideroll.scan.places import LinePlaces

__all__ = [
    "Band",
    "ChannelScan",
    "Chip",
    "LostLines",
    "MottleScale",
    "Overview",
    "ScanResult",
    "ScanSettings",
    "Splice",
    "Streak",
    "StreakOrigin",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanSettings:
    """What counts as a mark or a streak; each threshold is in units of the noise at that place.

    Raises:
        ArgumentError: when a threshold or a length is not a finite number above 0, when marks would have to grow
            from pixels fainter than they are grown to, or when a count is not whole.
    """

    seed_snr: float = 6.0
    """A mark needs a pixel this far from its background, or a window of 4 to 64 pixels square whose sum is half a
    deviation farther."""
    grow_snr: float = 3.0
    """Pixels this far, or means over the squares in which a faint mark shows, belong to a mark they touch."""
    least_pixels: int = 2
    """Smaller groups of pixels are noise."""
    find_edges: bool = True
    """Look for the web's edges in each stretch; False takes the whole raster as web."""
    edge_bead_mm: float = 4.0
    """The thick rim of the coating beside each edge, not looked at."""
    block_m: float = 0.25
    """Length over which the across-web profile is taken to be steady."""
    streak_snr: float = 7.0
    """Integrated along the web, a streak must reach this."""
    streak_least_m: float = 1.0
    """Shorter streaks are not reported as streaks; they become marks of kind scratch."""
    level_tolerance: float = 0.1
    """An area whose level departs from the roll's own by more than this fraction is not judged."""
    overview_cell_mm: float = 10.0
    """Side of a cell of the overview; a cell has at least four lines and one column."""
    chips_per_kind: int = 16
    """Crops are kept of so many of the most severe marks of each kind."""
    source: str = "scanner"
    """Name of the scanner, kept with each mark."""
    saturation: int | None = None
    """The detector's greatest value; None takes the greatest that the pixel type can hold."""

    def __post_init__(self) -> None:
        """Refuse settings that can find nothing or everything."""
        lengths = ("block_m", "streak_least_m", "overview_cell_mm")
        for name in ("seed_snr", "grow_snr", "streak_snr", "level_tolerance", *lengths):
            value = getattr(self, name)
            self._require(math.isfinite(value) and value > 0.0, name, "must be a finite number above 0")
        self._require(self.grow_snr <= self.seed_snr, "grow_snr", f"must not exceed seed_snr ({self.seed_snr:g})")
        bead = self.edge_bead_mm
        self._require(math.isfinite(bead) and bead >= 0.0, "edge_bead_mm", "must be a finite number, 0 or above")
        self._require(
            self.least_pixels == int(self.least_pixels) >= 1, "least_pixels", "must be a whole number above 0"
        )
        self._require(
            self.chips_per_kind == int(self.chips_per_kind) >= 0, "chips_per_kind", "must be a whole number, 0 or above"
        )
        self._require(self.saturation is None or self.saturation > 0, "saturation", "must be above 0")

    def _require(self, holds: bool, name: str, rule: str) -> None:  # noqa: FBT001
        if not holds:
            raise ArgumentError(
                where=f"ScanSettings.{name}", rule=rule, value=getattr(self, name), mend="Correct it or leave it out."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class LostLines:
    """Lines that the scanner wrote and nobody can read any more; they come in their place between rows of pixels."""

    lines: int
    why: str


class StreakOrigin(StrEnum):
    """What a streak belongs to."""

    WEB = "web"
    SCANNER = "scanner"
    UNDECIDED = "undecided between web and scanner"


@dataclass(frozen=True, slots=True, kw_only=True)
class Streak:
    """A faint line along the web. ``contrast`` is signed: negative where the signal falls."""

    extent: Extent
    across_mm: float
    width_mm: float
    contrast: float
    contrast_low: float
    contrast_high: float
    snr: float
    polarity: Polarity
    whole_length: bool
    """Present from end to end of the scan: could be the scanner's own pattern."""
    column: float = math.nan
    """Mean place of its middle in the raster, in columns: what belongs to the scanner keeps it from roll to roll."""
    origin: StreakOrigin = StreakOrigin.WEB
    why: str = ""
    """What the origin was told by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A periodic variation along the web over some of its width, such as chatter.

    ``amplitude`` is half its swing, as a fraction of the signal, with its 95 % interval.
    """

    extent: Extent
    period_mm: float
    amplitude: float
    amplitude_low: float
    amplitude_high: float
    snr: float

    @property
    def frequency_per_m(self) -> float:
        """Waves in a metre of web."""
        return 1000.0 / self.period_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class MottleScale:
    """Unevenness of one octave of sizes: standard deviation as a fraction of the signal, with its 95 % interval."""

    size_mm: float
    """Side of the squares between which it was measured."""
    amplitude: float
    amplitude_low: float
    amplitude_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Splice:
    """Lines across the whole web that aren't web as usual: a splice, or lines that the scanner dropped."""

    extent: Extent
    contrast: float
    """Signed departure of its level from the web's beside it."""
    dropped: bool
    """Too short for the tape of a splice: the scanner's own fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelScan:
    """What one of several channels saw."""

    name: str
    source: str
    """As its marks have it."""
    marks: int
    alone: int
    """Marks that no other channel shows."""
    noise: float
    web_width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chip:
    """A small crop around a mark, ``[along, across]``, in the scanner's own grey values."""

    mark: str
    """Its id in the marks table."""
    pixels: NDArray[np.uint8] | NDArray[np.uint16]
    first_line: int
    first_column: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overview:
    """The web in coarse cells ``[along, across]``, as signal over the level of its surroundings.

    ``mean`` is the average of the cell, ``worst`` the value in it furthest from 1, so that a one-pixel mark still
    shows. Cell ``[i, j]`` starts ``i × cell_m`` from the head and ``j × cell_mm`` from the datum edge; the last row and
    column may reach past ``extent``. A cell that was not looked at is NaN."""

    mean: NDArray[np.float32]
    worst: NDArray[np.float32]
    cell_m: float
    cell_mm: float
    extent: Extent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScanResult:
    """Everything found in one scan, with what was looked at and the settings that found it."""

    marks: pl.DataFrame
    streaks: tuple[Streak, ...]
    coverage: Coverage
    overview: Overview
    settings: ScanSettings
    pitch_mm: tuple[float, float]
    lines: int
    columns: int
    web_width_mm: float
    noise: float
    """Median pixel noise as a fraction of the background."""
    bands: tuple[Band, ...] = ()
    mottle: tuple[MottleScale, ...] = ()
    splices: tuple[Splice, ...] = ()
    chips: tuple[Chip, ...] = ()
    places: LinePlaces | None = None
    """Where the lines lie along; None where the pitch is steady."""
    channels: tuple[ChannelScan, ...] = ()
    """Where the raster has several: each of them."""
    channel_matches: pl.DataFrame | None = None
    """Marks that several channels show, see ``wideroll.scan.channels.MATCHES_SCHEMA``."""
