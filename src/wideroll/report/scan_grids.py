"""What a scan found besides marks and streaks, in tables: bands, mottle and splices."""

from collections.abc import Mapping, Sequence
from typing import Any

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_interval, show_number, show_share, show_span
from wideroll.scan.model import ScanResult

__all__ = ["bands_grid", "mottle_grid", "rolls_grid", "splices_grid"]

_NOT_SCANNED = "The roll was not scanned."
_INTERVAL = "interval, %"


def bands_grid(scan: ScanResult | None) -> Grid:
    """Periodic variations along the web with their period, amplitude and place."""
    return Grid(
        caption="Bands (amplitude: half the swing)",
        columns=(
            Column(head="period, mm", number=True),
            Column(head="per m", number=True),
            Column(head="amplitude, %", number=True),
            Column(head=_INTERVAL),
            Column(head="× noise", number=True),
            Column(head="along, m"),
            Column(head="across, mm"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(band.period_mm, 2)),
                Cell(text=show_number(band.frequency_per_m, 2)),
                Cell(text=show_number(band.amplitude * 100.0, 3)),
                Cell(text=show_interval(band.amplitude_low * 100.0, band.amplitude_high * 100.0, 3)),
                Cell(text=show_number(band.snr, 1)),
                Cell(text=show_span(band.extent.along_from_m, band.extent.along_to_m, "").rstrip()),
                Cell(text=show_span(band.extent.across_from_mm, band.extent.across_to_mm, "", 0).rstrip()),
            )
            for band in (scan.bands if scan else ())
        ),
        empty="No bands were found in what was looked at." if scan else _NOT_SCANNED,
    )


def mottle_grid(scan: ScanResult | None) -> Grid:
    """Unevenness by octave of size."""
    return Grid(
        caption="Mottle (standard deviation between squares of a size)",
        columns=(
            Column(head="size, mm", number=True),
            Column(head="amplitude, %", number=True),
            Column(head=_INTERVAL),
        ),
        rows=tuple(
            (
                Cell(text=show_number(scale.size_mm, 1)),
                Cell(text=show_number(scale.amplitude * 100.0, 3)),
                Cell(text=show_interval(scale.amplitude_low * 100.0, scale.amplitude_high * 100.0, 3)),
            )
            for scale in (scan.mottle if scan else ())
        ),
        empty="Mottle was not measured: too little was looked at." if scan else _NOT_SCANNED,
    )


def splices_grid(scan: ScanResult | None) -> Grid:
    """Lines across the whole web that aren't web as usual."""
    return Grid(
        caption="Splices and dropped lines in the scan",
        columns=(
            Column(head="along, m", number=True),
            Column(head="length, mm", number=True),
            Column(head="level against the web, %", number=True),
            Column(head="taken for"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(splice.extent.along_from_m, 3)),
                Cell(text=show_number(splice.extent.length_m * 1000.0, 1)),
                Cell(text=show_number(splice.contrast * 100.0, 1, signed=True)),
                Cell(text="dropped lines: too short for a splice" if splice.dropped else "splice"),
            )
            for splice in (scan.splices if scan else ())
        ),
        empty="No splices were found in what was looked at." if scan else _NOT_SCANNED,
    )


def rolls_grid(rolls: Sequence[Mapping[str, Any]]) -> Grid:
    """What was found on each of many rolls, as ``wideroll farm`` says it."""
    counted = ("lines", "marks", "streaks", "bands")
    return Grid(
        caption="Rolls scanned",
        columns=(
            Column(head="roll"),
            *(Column(head=name, number=True) for name in counted),
            Column(head="looked at"),
        ),
        rows=tuple(
            (
                Cell(text=roll["roll"], tone="strong"),
                *(Cell(text=show_number(roll[name])) for name in counted),
                Cell(text=show_share(roll["looked_at_share"])),
            )
            for roll in rolls
        ),
        empty="No roll was scanned.",
    )
