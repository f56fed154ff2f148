"""A scan as a person reads it in a terminal."""

from collections.abc import Iterator

from rich.table import Table

from wideroll.report import (
    bands_table,
    coverage_table,
    detection_tables,
    detection_words,
    marks_summary_table,
    mottle_table,
    splices_table,
    streaks_table,
)
from wideroll.report.quantities import show_count
from wideroll.roll import Extent
from wideroll.scan import ScanResult
from wideroll.scan.detection import DetectionResult
from wideroll.workflow import SCAN, scanned_m, telling_curves, whole_web

__all__ = ["show_detection", "show_scan"]


def show_scan(scan: ScanResult, whole: Extent | None) -> Iterator[str | Table]:
    """What was found, piece by piece, and last what was looked at.

    Args:
        scan: The scan.
        whole: The roll; None for a raster of one's own, of which the web that it shows is the whole.
    """
    length_m = scanned_m(scan)
    area = length_m * scan.web_width_mm / 1000.0
    yield (
        f"{scan.lines:,} lines × {scan.columns:,} pixels at {scan.pitch_mm[0]:g} × {scan.pitch_mm[1]:g} mm, "
        f"web {scan.web_width_mm:.1f} mm wide, {area:.2f} m², pixel noise {scan.noise:.1%}"
    )
    yield marks_summary_table(scan)
    yield from _channels(scan)
    yield streaks_table(scan)
    yield bands_table(scan)
    yield mottle_table(scan)
    yield splices_table(scan)
    shown = whole or whole_web(length_m, scan.web_width_mm)
    yield coverage_table({SCAN: scan.coverage}, shown)
    yield f"looked at {scan.coverage.share(shown):.2%} of the {'roll' if whole else 'web'}"
    yield f"{show_count(len(scan.chips), 'crop')} of the most severe marks of each kind"


def show_detection(detection: DetectionResult) -> Iterator[str | Table]:
    """How likely a mark is found, by size and contrast, and from which size on."""
    yield from detection_words(detection)
    for curve in telling_curves(detection):
        yield from detection_tables(curve)


def _channels(scan: ScanResult) -> Iterator[str]:
    for channel in scan.channels:
        marks = f"{show_count(channel.marks, 'mark')}, {channel.alone} of them in no other channel"
        yield f"channel {channel.name}: {marks}; pixel noise {channel.noise:.1%}"
