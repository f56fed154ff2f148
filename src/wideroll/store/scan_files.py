"""A scan's result as files: marks as Parquet, the small overview as arrays, chips as pictures, the rest as a card."""

from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import Coverage, Extent, check_marks
from wideroll.scan import (
    Band,
    ChannelScan,
    Chip,
    LinePlaces,
    MottleScale,
    Overview,
    ScanResult,
    ScanSettings,
    Splice,
    Streak,
)

__all__ = [
    "CHIPS",
    "MATCHES",
    "OVERVIEW",
    "SCAN_FILES",
    "SCAN_VERSION",
    "ScanCard",
    "pack_scan",
    "scan_card",
    "unpack_scan",
]

SCAN_VERSION: Final = 3
"""Counts up when what is kept of a scan is no longer read as it was; older ones are then stale."""
CHIPS: Final = "chips"
"""Folder of the chips; there is none where nothing was found."""
OVERVIEW: Final = "overview.zarr"
"""Folder of the whole overview; the arrays beside the card are the small one that the roll map shows."""
MATCHES: Final = "channel-matches.parquet"
"""Which marks several channels show; there is none where the scanner has one channel."""

_MARKS: Final = "marks.parquet"
_MEAN: Final = "state/overview-mean.npy"
_WORST: Final = "state/overview-worst.npy"
SCAN_FILES: Final = (_MARKS, _MEAN, _WORST)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanCard:
    """All of a scan's result that is not a table or an array, and the hash of each file that holds those."""

    version: int
    files: dict[str, str]
    streaks: tuple[Streak, ...]
    coverage: Coverage
    overview_cell_m: float
    overview_cell_mm: float
    overview_extent: Extent
    settings: ScanSettings
    pitch_mm: tuple[float, float]
    lines: int
    columns: int
    web_width_mm: float
    noise: float
    bands: tuple[Band, ...]
    mottle: tuple[MottleScale, ...]
    splices: tuple[Splice, ...]
    places: LinePlaces | None
    channels: tuple[ChannelScan, ...]


def pack_scan(scan: ScanResult) -> dict[str, bytes]:
    """The content of each of ``SCAN_FILES``, and of ``MATCHES`` where there are channels.

    The same scan gives the same bytes.

    Raises:
        InputError: when the marks aren't a marks table.
    """
    return {
        _MARKS: _parquet(check_marks(scan.marks)),
        _MEAN: _npy(scan.overview.mean),
        _WORST: _npy(scan.overview.worst),
        **({} if scan.channel_matches is None else {MATCHES: _parquet(scan.channel_matches)}),
    }


def scan_card(scan: ScanResult, hashes: Mapping[str, str]) -> ScanCard:
    """The card that goes with the packed files."""
    return ScanCard(
        version=SCAN_VERSION,
        files=dict(hashes),
        streaks=scan.streaks,
        coverage=scan.coverage,
        overview_cell_m=scan.overview.cell_m,
        overview_cell_mm=scan.overview.cell_mm,
        overview_extent=scan.overview.extent,
        settings=scan.settings,
        pitch_mm=scan.pitch_mm,
        lines=scan.lines,
        columns=scan.columns,
        web_width_mm=scan.web_width_mm,
        noise=scan.noise,
        bands=scan.bands,
        mottle=scan.mottle,
        splices=scan.splices,
        places=scan.places,
        channels=scan.channels,
    )


def unpack_scan(card: ScanCard, files: Mapping[str, bytes], chips: tuple[Chip, ...]) -> ScanResult:
    """The scan's result from its card and what the card names.

    Raises:
        InputError: when the marks aren't a marks table of today.
    """
    overview = Overview(
        mean=np.load(BytesIO(files[_MEAN]), allow_pickle=False),
        worst=np.load(BytesIO(files[_WORST]), allow_pickle=False),
        cell_m=card.overview_cell_m,
        cell_mm=card.overview_cell_mm,
        extent=card.overview_extent,
    )
    return ScanResult(
        marks=check_marks(pl.read_parquet(BytesIO(files[_MARKS]))),
        streaks=card.streaks,
        coverage=card.coverage,
        overview=overview,
        settings=card.settings,
        pitch_mm=card.pitch_mm,
        lines=card.lines,
        columns=card.columns,
        web_width_mm=card.web_width_mm,
        noise=card.noise,
        bands=card.bands,
        mottle=card.mottle,
        splices=card.splices,
        chips=chips,
        places=card.places,
        channels=card.channels,
        channel_matches=pl.read_parquet(BytesIO(files[MATCHES])) if MATCHES in files else None,
    )


def _parquet(table: pl.DataFrame) -> bytes:
    buffer = BytesIO()
    table.write_parquet(buffer, compression="zstd")
    return buffer.getvalue()


def _npy(array: NDArray[np.float32]) -> bytes:
    buffer = BytesIO()
    np.save(buffer, array, allow_pickle=False)
    return buffer.getvalue()
