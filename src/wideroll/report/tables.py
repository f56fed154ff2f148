"""The tables of a terminal: plain words and signs that read the same without colour, at 100 columns."""

from collections.abc import Sequence

from rich.table import Table

from wideroll.release.model import Decision
from wideroll.repeats.model import SeriesSearch
from wideroll.report import cut_grids, decision_grids, evidence_grids, repeat_grids
from wideroll.report.grid import Grid, rich_grid
from wideroll.roll import Coverage, Extent
from wideroll.scan.model import ScanResult
from wideroll.sensitometry.model import RunVerdict, StripResult
from wideroll.slitting.model import CutPlan
from wideroll.workflow.model import Examined

__all__ = [
    "coverage_table",
    "cut_table",
    "decision_table",
    "marks_summary_table",
    "missing_table",
    "process_runs_table",
    "rich_table",
    "series_table",
    "sightings_table",
    "strips_table",
]


def decision_table(decision: Decision) -> Table:
    """Criterion, limit, found, interval, margin, verdict; the worst first, every criterion present."""
    return rich_grid(decision_grids.decision_grid(decision, apart=True))


def missing_table(decision: Decision) -> Table:
    """What was not looked at, and evidence that is needed and isn't there or is void, with what mends it."""
    return rich_grid(decision_grids.unknown_grid(decision))


def coverage_table(coverage: dict[str, Coverage], whole: Extent) -> Table:
    """For each source, what it looked at and what it did not."""
    return rich_grid(decision_grids.coverage_grid(coverage, whole))


def cut_table(plan: CutPlan) -> Table:
    """The pieces in the order the slitter meets them, in its metres and in coated metres."""
    return rich_grid(cut_grids.cut_grid(plan))


def series_table(search: SeriesSearch) -> Table:
    """The series found, or what was searched without finding one."""
    return rich_grid(repeat_grids.series_grid(search))


def strips_table(results: Sequence[StripResult]) -> Table:
    """Each strip's departures from aim, record by record."""
    return rich_grid(evidence_grids.strips_grid(results))


def process_runs_table(runs: Sequence[RunVerdict]) -> Table:
    """Process runs: usable or void, why, and the strips to repeat."""
    return rich_grid(evidence_grids.runs_grid(runs))


def marks_summary_table(scan: ScanResult | None) -> Table:
    """Marks by kind, polarity and size class."""
    return rich_grid(evidence_grids.marks_grid(scan))


def sightings_table(examined: Sequence[Examined]) -> Table:
    """What examiners saw, layer and origin."""
    return rich_grid(evidence_grids.sightings_grid(examined))


def rich_table(grid: Grid) -> Table:
    """Any grid as a terminal table."""
    return rich_grid(grid)
