"""The rooms' results into the plain evidence that release decides by."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from wideroll.examination import Origin, Sighting
from wideroll.release import Evidence, Flaw, Missing
from wideroll.repeats import SeriesSearch
from wideroll.roll import MARK_KINDS, Coverage, Extent, MarkKind, empty_marks, unseen_within
from wideroll.sampling import rate_limits
from wideroll.scan import ScanResult, StreakOrigin
from wideroll.sensitometry import RunVerdict, StripResult
from wideroll.workflow.gather_readings import gather_readings, usable_strips
from wideroll.workflow.model import Batch, Examination, RollCard, StripRoom

__all__ = ["BATCHES", "FLAW_UNITS", "SCAN", "SHEETS", "STRIPS", "batch_extents", "gather_evidence"]

SCAN = "scan"
SHEETS = "sheets"
STRIPS = "strips"
BATCHES = "batches"
FLAW_UNITS = {"streak": "%", "band": "%", "repeating marks": "per m", "metal": "mm"} | {
    f"sighted {k}": "mm" for k in MARK_KINDS
}
"""Kinds of flaw there can be, and the unit of each one's value."""
_LEAST_GAP_M = 0.001
_SAME_STREAK_MM = 4.0
"""An examiner's rule reads to an eighth of an inch across (common practice)."""
_CONFIDENCE = 0.95


def batch_extents(card: RollCard, whole: Extent) -> tuple[tuple[Batch, Extent], ...]:
    """Each batch with its part of the web."""
    return tuple((batch, _stretch(whole, batch.along_from_m, batch.along_to_m)) for batch in card.batches)


def gather_evidence(
    *,
    card: RollCard,
    whole: Extent,
    scan: ScanResult | None,
    strip_room: StripRoom,
    examination: Examination,
    repeats: SeriesSearch,
) -> Evidence:
    """Everything known about a roll, in the forms that criteria speak of."""
    batches = batch_extents(card, whole)
    coverage: dict[str, Coverage] = {}
    if scan is not None:
        coverage[SCAN] = scan.coverage
    if examination.sheets:
        coverage[SHEETS] = Coverage(seen=tuple(sheet.extent for sheet in examination.sheets))
    flaws = (*_streaks(scan), *_bands(scan), *_series(repeats), *_sightings(examination, scan, whole))
    return Evidence(
        whole=whole,
        marks=empty_marks() if scan is None else scan.marks,
        coverage=coverage,
        flaws=flaws,
        readings=gather_readings(strip_room.results, [extent for _, extent in batches]),
        missing=(*_unclaimed(whole, batches), *_missing(strip_room, batches)),
        counts={
            STRIPS: tuple((extent, len(usable_strips(strip_room.results, extent))) for _, extent in batches),
            SHEETS: tuple(
                (extent, sum(sheet.extent.meet(extent) is not None for sheet in examination.sheets))
                for _, extent in batches
            ),
        },
    )


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
        best = series.candidates[0]
        yield Flaw(
            kind="repeating marks",
            extent=series.extent,
            value=rate.rate,
            low=rate.low,
            high=rate.high,
            unit="per m",
            source=SCAN,
            note=f"every {series.spacing_m * 1000:.1f} mm; {best.roller} ({100.0 * best.probability:.0f} %)",
        )


def _sightings(examination: Examination, scan: ScanResult | None, whole: Extent) -> Iterator[Flaw]:
    """What came with the coating counts against the film; handling dirt doesn't, unless it is metal.

    A streak that the scanner found there too is left to the scan, which knows where it starts and ends.
    """
    sheets = {sheet.name: sheet for sheet in examination.sheets}
    for found in examination.examined:
        sighting = found.sighting
        if found.origin.origin is Origin.HANDLING and not sighting.metallic:
            continue
        if sighting.kind is MarkKind.STREAK and _scanned_too(sighting, scan):
            continue
        yield Flaw(
            kind="metal" if sighting.metallic else f"sighted {sighting.kind}",
            extent=_reach(sighting, sheets[sighting.sheet].extent, whole),
            value=sighting.size_mm,
            low=sighting.size_mm,
            high=sighting.size_mm,
            unit="mm",
            source=SHEETS,
            note=f"on {sighting.sheet}; {found.layer.likeliest}; {found.origin.origin}: {found.origin.why}",
        )


def _scanned_too(sighting: Sighting, scan: ScanResult | None) -> bool:
    place = sighting.place
    return any(
        streak.extent.along_from_m <= place.along_m <= streak.extent.along_to_m
        and abs(streak.across_mm - place.across_mm) <= streak.width_mm / 2.0 + _SAME_STREAK_MM
        for streak in (scan.streaks if scan else ())
    )


def _reach(sighting: Sighting, sheet: Extent, whole: Extent) -> Extent:
    """How far a sighting speaks: a streak for its lane, a band or fog for the sheet, all else for its own size.

    How far a streak runs beyond the sheet isn't known from the sheet, so its lane is taken over the whole length.
    """
    place, half_mm = sighting.place, sighting.size_mm / 2.0
    point = Extent(
        along_from_m=place.along_m,
        along_to_m=place.along_m,
        across_from_mm=place.across_mm,
        across_to_mm=place.across_mm,
    )
    if sighting.kind in {MarkKind.BAND, MarkKind.FOG}:
        return sheet
    if sighting.kind is MarkKind.STREAK:
        lane = point.grown(across_mm=half_mm)
        return replace(lane, along_from_m=whole.along_from_m, along_to_m=whole.along_to_m)
    spot = point.grown(along_m=half_mm / 1000.0, across_mm=half_mm)
    return spot.meet(sheet) or spot


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
