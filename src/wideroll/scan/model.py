"""What a scan is asked and what it answers."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import Coverage, Extent, Polarity

__all__ = ["Overview", "ScanResult", "ScanSettings", "Streak"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanSettings:
    """What counts as a mark or a streak; each threshold is in units of the noise at that place."""

    seed_snr: float = 6.0
    """A mark needs at least one pixel this far from its background."""
    grow_snr: float = 3.0
    """Pixels this far belong to a mark they touch."""
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
    """Shorter streaks are not reported."""
    overview_cell_mm: float = 10.0
    """Side of a cell of the overview."""
    source: str = "scanner"
    """Name of the scanner, kept with each mark."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overview:
    """The web in coarse cells ``[along, across]``, as signal over background.

    ``mean`` is the average of the cell, ``worst`` the value in it furthest from 1, so that a one-pixel mark still
    shows."""

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
