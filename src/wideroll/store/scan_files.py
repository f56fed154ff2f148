"""A scan's result as files: the marks as Parquet, the overview's layers as arrays, the rest as a card."""

from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import Coverage, Extent, check_marks
from wideroll.scan import Overview, ScanResult, ScanSettings, Streak

__all__ = ["SCAN_FILES", "ScanCard", "pack_scan", "scan_card", "unpack_scan"]

_MARKS: Final = "marks.parquet"
_MEAN: Final = "state/overview-mean.npy"
_WORST: Final = "state/overview-worst.npy"
SCAN_FILES: Final = (_MARKS, _MEAN, _WORST)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanCard:
    """All of a scan's result that is not a table or an array, and the hash of each file that holds those."""

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


def pack_scan(scan: ScanResult) -> dict[str, bytes]:
    """The content of each of ``SCAN_FILES``; the same scan gives the same bytes.

    Raises:
        InputError: when the marks aren't a marks table.
    """
    return {
        _MARKS: _parquet(check_marks(scan.marks)),
        _MEAN: _npy(scan.overview.mean),
        _WORST: _npy(scan.overview.worst),
    }


def scan_card(scan: ScanResult, hashes: Mapping[str, str]) -> ScanCard:
    """The card that goes with the packed files."""
    return ScanCard(
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
    )


def unpack_scan(card: ScanCard, files: Mapping[str, bytes]) -> ScanResult:
    """The scan's result from its card and the files that the card names."""
    overview = Overview(
        mean=np.load(BytesIO(files[_MEAN]), allow_pickle=False),
        worst=np.load(BytesIO(files[_WORST]), allow_pickle=False),
        cell_m=card.overview_cell_m,
        cell_mm=card.overview_cell_mm,
        extent=card.overview_extent,
    )
    return ScanResult(
        marks=pl.read_parquet(BytesIO(files[_MARKS])),
        streaks=card.streaks,
        coverage=card.coverage,
        overview=overview,
        settings=card.settings,
        pitch_mm=card.pitch_mm,
        lines=card.lines,
        columns=card.columns,
        web_width_mm=card.web_width_mm,
        noise=card.noise,
    )


def _parquet(table: pl.DataFrame) -> bytes:
    buffer = BytesIO()
    table.write_parquet(buffer, compression="zstd")
    return buffer.getvalue()


def _npy(array: NDArray[np.float32]) -> bytes:
    buffer = BytesIO()
    np.save(buffer, array, allow_pickle=False)
    return buffer.getvalue()
