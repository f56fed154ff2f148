"""The tables of a terminal: plain words and signs that read the same without colour, at 100 columns."""

from collections.abc import Mapping, Sequence
from typing import Any

from rich.table import Table

from wideroll.release.costs_model import CostTable
from wideroll.release.model import Decision
from wideroll.repeats.model import SeriesSearch
from wideroll.report import (
    cost_grids,
    cut_grids,
    decision_grids,
    detection_grids,
    evidence_grids,
    repeat_grids,
    scan_grids,
)
from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.grid import Grid, rich_grid
from wideroll.roll import Coverage, Extent
from wideroll.scan.detection import DetectionCurve
from wideroll.scan.model import ScanResult
from wideroll.sensitometry.model import RunVerdict, StripResult
from wideroll.slitting.model import CutPlan
from wideroll.workflow.model import Examined
from wideroll.workflow.processor_model import ProcessorState

__all__ = [
    "bands_table",
    "costs_table",
    "coverage_table",
    "cut_table",
    "decision_table",
    "detection_tables",
    "farm_table",
    "marks_summary_table",
    "missing_table",
    "mottle_table",
    "process_runs_table",
    "rich_table",
    "series_table",
    "sightings_table",
    "splices_table",
    "streaks_table",
    "strips_table",
]


def decision_table(decision: Decision) -> Table:
    """Criterion, limit, found, interval, margin, verdict; the worst first, every criterion present."""
    return rich_grid(decision_grids.decision_grid(decision, apart=True))


def missing_table(decision: Decision) -> Table:
    """What was not looked at, and evidence that is needed and isn't there or is void, with what mends it."""
    return rich_grid(decision_grids.unknown_grid(decision))


def costs_table(table: CostTable) -> Table:
    """What each choice is expected to cost, for the roll and its parts."""
    return rich_grid(cost_grids.costs_grid(table))


def coverage_table(coverage: dict[str, Coverage], whole: Extent) -> Table:
    """For each source, what it looked at and what it did not."""
    return rich_grid(decision_grids.coverage_grid(coverage, whole))


def cut_table(plan: CutPlan, units: CutUnits = METRIC) -> Table:
    """The pieces in the order the slitter meets them, by its counter and in coated metres."""
    return rich_grid(cut_grids.cut_grid(plan, units))


def series_table(search: SeriesSearch) -> Table:
    """The series found, or what was searched without finding one."""
    return rich_grid(repeat_grids.series_grid(search))


def strips_table(results: Sequence[StripResult]) -> Table:
    """Each strip's departures from aim, record by record."""
    return rich_grid(evidence_grids.strips_grid(results))


def process_runs_table(runs: Sequence[RunVerdict], processors: Sequence[ProcessorState] = ()) -> Table:
    """Process runs: usable or void, why, by which processor's charts, and the strips to repeat."""
    return rich_grid(evidence_grids.runs_grid(runs, processors))


def marks_summary_table(scan: ScanResult | None) -> Table:
    """Marks by kind, polarity and size class."""
    return rich_grid(evidence_grids.marks_grid(scan))


def streaks_table(scan: ScanResult | None) -> Table:
    """Streaks with their place, contrast and origin."""
    return rich_grid(evidence_grids.streaks_grid(scan))


def bands_table(scan: ScanResult | None) -> Table:
    """Bands with their period, amplitude and place."""
    return rich_grid(scan_grids.bands_grid(scan))


def mottle_table(scan: ScanResult | None) -> Table:
    """Mottle by octave of size."""
    return rich_grid(scan_grids.mottle_grid(scan))


def splices_table(scan: ScanResult | None) -> Table:
    """Splices and dropped lines."""
    return rich_grid(scan_grids.splices_grid(scan))


def detection_tables(curve: DetectionCurve) -> tuple[Table, Table]:
    """Probability of detection by size and contrast, and the sizes from which on marks are found."""
    return rich_grid(detection_grids.detection_grid(curve)), rich_grid(detection_grids.thresholds_grid(curve))


def farm_table(rolls: Sequence[Mapping[str, Any]]) -> Table:
    """What was found on each of many rolls."""
    return rich_grid(scan_grids.rolls_grid(rolls))


def sightings_table(examined: Sequence[Examined]) -> Table:
    """What examiners saw, layer and origin."""
    return rich_grid(evidence_grids.sightings_grid(examined))


def rich_table(grid: Grid) -> Table:
    """Any grid as a terminal table."""
    return rich_grid(grid)
