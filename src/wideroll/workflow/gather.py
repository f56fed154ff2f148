"""The rooms' results into the plain evidence that release decides by."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import polars as pl

from wideroll.release import DetectedShare, Evidence, Flaw, Missing, NamedPart
from wideroll.repeats import SeriesSearch
from wideroll.roll import Coverage, Extent, empty_marks, unseen_within
from wideroll.sampling import rate_limits
from wideroll.scan import ScanResult, StreakOrigin
from wideroll.scan.detection import DetectionResult
from wideroll.sensitometry import RunVerdict, StripResult
from wideroll.workflow.detected import detected_shares
from wideroll.workflow.gather_readings import gather_readings, usable_strips
from wideroll.workflow.gather_sightings import SHEETS, SIGHTED_UNITS, graded_flaws, sighted_flaws, web_sightings
from wideroll.workflow.maker_words import maker_words
from wideroll.workflow.model import Batch, Examination, Product, RollCard, StripRoom
from wideroll.workflow.property_model import Measurement
from wideroll.workflow.property_readings import gather_properties

__all__ = ["BATCHES", "FLAW_UNITS", "SCAN", "SHEETS", "STRIPS", "RoomResults", "batch_extents", "gather_evidence"]

SCAN = "scan"
STRIPS = "strips"
BATCHES = "batches"
FLAW_UNITS = {"streak": "%", "band": "%", "repeating marks": "per m"} | SIGHTED_UNITS
"""Kinds of flaw there can be, and the unit of each one's value."""
_LEAST_GAP_M = 0.001
_CONFIDENCE = 0.95


def batch_extents(card: RollCard, whole: Extent) -> tuple[tuple[Batch, Extent], ...]:
    """Each batch with its part of the web."""
    return tuple((batch, _stretch(whole, batch.along_from_m, batch.along_to_m)) for batch in card.batches)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomResults:
    """What each room found on a roll."""

    scan: ScanResult | None
    strip_room: StripRoom
    examination: Examination
    repeats: SeriesSearch
    detection: DetectionResult | None = None
    measurements: tuple[Measurement, ...] = ()


def gather_evidence(*, card: RollCard, whole: Extent, found: RoomResults, product: Product | None = None) -> Evidence:
    """Everything known about a roll, in the forms that criteria speak of.

    Sheets that were chosen are looked at like others, but only those drawn by chance stand for what lies between them.
    """
    scan, strip_room, examination = found.scan, found.strip_room, found.examination
    batches = batch_extents(card, whole)
    properties = gather_properties(found.measurements, product.properties if product else (), batches)
    return Evidence(
        whole=whole,
        marks=_marks(scan, examination),
        coverage=_coverage(scan, examination),
        flaws=(
            *(*_streaks(scan), *_bands(scan), *_series(found.repeats)),
            *sighted_flaws(examination, scan, whole),
            *graded_flaws(examination, product, whole, scan),
        ),
        readings=(*gather_readings(strip_room.results, [extent for _, extent in batches]), *properties.readings),
        missing=(*_unclaimed(whole, batches), *_missing(strip_room, batches), *properties.missing),
        counts=_counts(strip_room, examination, batches) | dict(properties.counts),
        sampled=_sampled(examination),
        detected=_detected(found, product),
        batches=tuple(NamedPart(name=batch.name, extent=extent) for batch, extent in batches),
    )


def _marks(scan: ScanResult | None, examination: Examination) -> pl.DataFrame:
    scanned = empty_marks() if scan is None else scan.marks
    return pl.concat([scanned, web_sightings(examination)]) if examination.examined else scanned


def _detected(found: RoomResults, product: Product | None) -> dict[tuple[str, str], DetectedShare]:
    if product is None or found.scan is None:
        return {}
    return detected_shares(product.criteria, found.detection, found.scan.marks, source=SCAN)


def _coverage(scan: ScanResult | None, examination: Examination) -> dict[str, Coverage]:
    coverage = {} if scan is None else {SCAN: scan.coverage}
    if examination.sheets:
        coverage[SHEETS] = Coverage(seen=tuple(sheet.extent for sheet in examination.sheets))
    return coverage


def _sampled(examination: Examination) -> dict[str, Coverage]:
    if not examination.sheets:
        return {}
    return {SHEETS: Coverage(seen=tuple(sheet.extent for sheet in examination.sheets if sheet.drawn))}


def _counts(
    strip_room: StripRoom, examination: Examination, batches: Sequence[tuple[Batch, Extent]]
) -> dict[str, tuple[tuple[Extent, int], ...]]:
    seen = [sheet.extent for sheet in examination.sheets]
    return {
        STRIPS: tuple((extent, len(usable_strips(strip_room.results, extent))) for _, extent in batches),
        SHEETS: tuple((extent, sum(sheet.meet(extent) is not None for sheet in seen)) for _, extent in batches),
    }


def _stretch(whole: Extent, from_m: float, to_m: float) -> Extent:
    return Extent(
        along_from_m=from_m,
        along_to_m=to_m,
        across_from_mm=whole.across_from_mm,
        across_to_mm=whole.across_to_mm,
    )


def _streaks(scan: ScanResult | None) -> Iterator[Flaw]:
    """Those of the web; one that could be the scanner's own counts until that is known."""
    for streak in scan.streaks if scan else ():
        if streak.origin is StreakOrigin.SCANNER:
            continue
        sizes = sorted((abs(streak.contrast_low), abs(streak.contrast_high)))
        yield Flaw(
            kind="streak",
            extent=streak.extent,
            value=100.0 * abs(streak.contrast),
            low=100.0 * sizes[0],
            high=100.0 * sizes[1],
            unit="%",
            source=SCAN,
            note=f"{streak.origin}: {streak.why}" if streak.origin is StreakOrigin.UNDECIDED else "",
        )


def _bands(scan: ScanResult | None) -> Iterator[Flaw]:
    for band in scan.bands if scan else ():
        yield Flaw(
            kind="band",
            extent=band.extent,
            value=100.0 * band.amplitude,
            low=100.0 * band.amplitude_low,
            high=100.0 * band.amplitude_high,
            unit="%",
            source=SCAN,
            note=f"every {band.period_mm:.1f} mm",
        )


def _series(repeats: SeriesSearch) -> Iterator[Flaw]:
    for series in repeats:
        rate = rate_limits(len(series.members), max(series.extent.length_m, series.spacing_m), _CONFIDENCE)
        yield Flaw(
            kind="repeating marks",
            extent=series.extent,
            value=rate.rate,
            low=rate.low,
            high=rate.high,
            unit="per m",
            source=SCAN,
            note=f"every {series.spacing_m * 1000:.1f} mm; {maker_words(series)}",
        )


def _unclaimed(whole: Extent, batches: Sequence[tuple[Batch, Extent]]) -> Iterator[Missing]:
    """Stretches that no batch claims: what was coated there nobody knows, whatever the criteria ask."""
    for gap in unseen_within(whole, [extent for _, extent in batches], why="no batch claims this stretch"):
        if gap.extent.length_m > _LEAST_GAP_M:
            yield Missing(
                subject=BATCHES,
                extent=gap.extent,
                void=False,
                why=gap.why,
                mend="Say in roll.toml which batch was coated there.",
            )


def _missing(strip_room: StripRoom, batches: Sequence[tuple[Batch, Extent]]) -> Iterator[Missing]:
    """Strips that can't be used, batch by batch, and what to do about them."""
    runs = {run.run: run for run in strip_room.runs}
    for batch, extent in batches:
        for result in strip_room.results:
            place = result.strip.place
            if not result.usable and place is not None and extent.contains(place):
                run = runs[result.strip.run]
                yield Missing(
                    subject=STRIPS,
                    extent=extent,
                    void=not run.usable,
                    cause=f"strip {result.strip.name} can't be used"
                    if run.usable
                    else f"process run {run.run} is void",
                    why=f"strip {result.strip.name} of batch {batch.name}: {result.why}",
                    mend=_repeat(result, run),
                )


def _repeat(result: StripResult, run: RunVerdict) -> str:
    place = result.strip.place
    at = "" if place is None else f" at {place.along_m:.2f} m, {place.across_mm:.0f} mm from the datum edge"
    how = "in a run whose reference strips are within limits" if not run.usable else "and read it"
    return f"Expose a strip{at} again {how} (replaces {result.strip.name})."
