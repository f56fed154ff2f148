"""Rates of marks on a roll from scan and sheets together, and what its sheets settle."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import polars as pl

from wideroll.release import Criterion, Measurand, unit_m2
from wideroll.roll import Coverage, Extent, Lane, Unseen, marks_within
from wideroll.sampling import (
    Border,
    ClassRate,
    Combined,
    Detected,
    Dispersion,
    Look,
    RateLimits,
    RegionLook,
    RegionRate,
    class_rates,
    clustered_limits,
    combine_looks,
    measure_dispersion,
    region_rates,
)
from wideroll.scan import ScanResult
from wideroll.workflow.gather_sightings import web_sightings
from wideroll.workflow.model import Examination, RollCard

__all__ = [
    "RollRates",
    "borders_of",
    "rate_roll",
    "size_borders",
    "strictest_rate",
]

_STRETCHES: Final = 40
_CLUSTERED: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class RollRates:
    """How often marks lie on a roll, by source, class, lane and region.

    ``scan_clustered`` and ``sheets_clustered`` are wider limits that allow for clusters; None where the counts of the
    stretches, or the sheets, show none at 5 %, or there are fewer than two.
    """

    least_size_mm: float
    scan: tuple[ClassRate, ...] = ()
    sheets: tuple[ClassRate, ...] = ()
    scan_dispersion: Dispersion | None = None
    sheets_dispersion: Dispersion | None = None
    scan_clustered: RateLimits | None = None
    sheets_clustered: RateLimits | None = None
    combined: Combined | None = None
    regions: tuple[RegionRate, ...] = ()
    notes: tuple[str, ...] = ()


def borders_of(card: RollCard) -> tuple[Border, ...]:
    """The batch borders and splices of a roll, from head to tail."""
    batches = [
        Border(along_m=end.along_from_m, what=f"batch {start.name} to {end.name}")
        for start, end in zip(card.batches, card.batches[1:], strict=False)
    ]
    splices = [Border(along_m=along, what="splice") for along in card.splices_m]
    return tuple(sorted([*batches, *splices], key=lambda border: border.along_m))


def strictest_rate(criteria: Sequence[Criterion]) -> Criterion | None:
    """The criterion with the least limit on a rate, put in marks per m²; None where there is none above 0."""
    rates = [_per_m2(one) for one in criteria if one.measurand is Measurand.MARK_RATE and one.limit > 0.0]
    return min(rates, key=lambda one: one.limit, default=None)


def _per_m2(criterion: Criterion) -> Criterion:
    unit = unit_m2(criterion)
    return replace(criterion, limit=criterion.limit / unit, good=criterion.good / unit, unit="per m²")


def size_borders(criteria: Sequence[Criterion]) -> tuple[float, ...]:
    """The sizes from which on criteria count marks, rising."""
    return tuple(sorted({one.least_size_mm for one in criteria if one.least_size_mm > 0.0}))


def rate_roll(
    whole: Extent,
    scan: ScanResult | None,
    examination: Examination,
    *,
    lanes: Sequence[Lane] = (),
    stretches: Sequence[Extent] = (),
    borders_mm: Sequence[float] = (),
    least_size_mm: float = 0.0,
    detected: Detected | None = None,
) -> RollRates:
    """Everything that scan and sheets say about how often marks lie on a roll.

    Only sheets that were drawn by chance count. Scan and sheets are combined on areas that don't overlap: on a sheet
    the examiner's count stands, elsewhere the scanner's. ``detected`` is the probability that the scan finds a mark of
    the smallest size; None takes it as sure, and says so.
    """
    sheets = Coverage(seen=tuple(sheet.extent for sheet in examination.sheets if sheet.drawn))
    seen = web_sightings(examination, least_size_mm=least_size_mm)
    found = RollRates(least_size_mm=least_size_mm)
    looks: list[Look] = []
    if sheets.seen:
        seen = marks_within(seen, sheets.seen)
        area = sheets.share(whole) * whole.area_m2
        looks.append(Look(source="sheets", count=seen.height, area_m2=area))
        counts = [(marks_within(seen, [extent]).height, extent.area_m2) for extent in sheets.seen]
        spread = _spread(counts)
        found = replace(
            found,
            sheets=class_rates(seen, sheets, whole, size_borders_mm=borders_mm),
            sheets_dispersion=spread[0],
            sheets_clustered=spread[1],
        )
    if scan is not None:
        marks = scan.marks.filter(pl.max_horizontal("length_mm", "width_mm") >= least_size_mm)
        found = replace(
            _scanned(found, marks, scan.coverage, whole),
            scan=class_rates(marks, scan.coverage, whole, lanes=lanes, size_borders_mm=borders_mm),
            regions=_regions(marks, scan.coverage, lanes, stretches),
        )
        looks += _beside_sheets(marks, scan.coverage, (whole, sheets), detected)
    note = "the scan is taken to find every mark" if scan is not None and detected is None else ""
    return replace(found, combined=combine_looks(looks) if looks else None, notes=(note,) if note else ())


def _scanned(found: RollRates, marks: pl.DataFrame, coverage: Coverage, whole: Extent) -> RollRates:
    """With how the scan's marks spread over the roll."""
    spread = _spread(list(_by_stretch(marks, coverage, whole)))
    return replace(found, scan_dispersion=spread[0], scan_clustered=spread[1])


def _spread(counts: Sequence[tuple[int, float]]) -> tuple[Dispersion | None, RateLimits | None]:
    looked = [(count, area) for count, area in counts if area > 0.0]
    if len(looked) < 2:  # noqa: PLR2004  (one count doesn't vary)
        return None, None
    numbers, areas = [count for count, _ in looked], [area for _, area in looked]
    dispersion = measure_dispersion(numbers, areas)
    clustered = dispersion.p_clustered <= _CLUSTERED
    return dispersion, clustered_limits(numbers, areas) if clustered else None


def _by_stretch(marks: pl.DataFrame, coverage: Coverage, whole: Extent) -> Iterator[tuple[int, float]]:
    step = whole.length_m / _STRETCHES
    for number in range(_STRETCHES):
        start = whole.along_from_m + number * step
        extent = replace(whole, along_from_m=start, along_to_m=start + step)
        yield _counted(marks, coverage, extent)


def _counted(marks: pl.DataFrame, coverage: Coverage, extent: Extent) -> tuple[int, float]:
    """Marks, and area looked at, in a part of the web."""
    inside = marks_within(marks, [extent])
    hidden = marks_within(inside, [hole.extent for hole in coverage.unseen]).height
    return inside.height - hidden, coverage.share(extent) * extent.area_m2


def _regions(
    marks: pl.DataFrame, coverage: Coverage, lanes: Sequence[Lane], stretches: Sequence[Extent]
) -> tuple[RegionRate, ...]:
    looks = []
    for stretch in stretches:
        for lane in lanes:
            extent = lane.over(stretch.along_from_m, stretch.along_to_m)
            count, area = _counted(marks, coverage, extent)
            # what none can see is no look: a share of a millionth is rounding
            area = area if area > 1e-6 * extent.area_m2 else 0.0
            looks.append(RegionLook(extent=extent, count=count if area else 0, looked_m2=area))
    return region_rates(looks) if looks else ()


def _beside_sheets(
    marks: pl.DataFrame, coverage: Coverage, where: tuple[Extent, Coverage], detected: Detected | None
) -> Iterator[Look]:
    """The scan's look at all that no sheet covers."""
    whole, sheets = where
    holes = (*coverage.unseen, *(Unseen(extent=one, why="on a sheet") for one in sheets.seen))
    count, area = _counted(marks, Coverage(seen=coverage.seen, unseen=holes), whole)
    if area > 0.0:
        yield Look(source="scan", count=count, area_m2=area, detected=detected or Detected())
