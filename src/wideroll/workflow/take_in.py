"""Each kind of evidence, from what was read to a room's result."""

import math
from dataclasses import replace

from wideroll.errors import InputError
from wideroll.examination import Sheet, Sighting, find_origin, locate_layer, match_sightings
from wideroll.repeats import Roller, SeriesSearch, SeriesSettings, find_series
from wideroll.roll import Extent, Place, unseen_within
from wideroll.scan import MarkFinder, ScanResult, ScanSettings
from wideroll.sensitometry import RunVerdict, Strip, StripKind, StripResult, correct_strip, judge_run, measure_strip
from wideroll.workflow.model import Examination, Examined, Product, StripRoom
from wideroll.workflow.ports import Progress, Raster, Silent

__all__ = [
    "check_length",
    "check_width",
    "examine_sheets",
    "fit_to_roll",
    "judge_strips",
    "scan_web",
    "search_repeats",
    "whole_web",
]

_MATCH_ALONG_M = 0.01
_MATCH_ACROSS_MM = 4.0
"""An examiner's rule reads to a centimetre along and an eighth of an inch across (common practice)."""

_MUST_SHOW = 0.2
"""Where less of the web was seen its width isn't judged: the missing coverage is what holds the roll."""
_LENGTH_SLACK = 0.005
_LENGTH_SLACK_M = 0.05
_WIDTH_SLACK_MM = 6.0
"""Edges wander by millimetres (common practice), and a length counter slips by some tenths of a per cent."""


def whole_web(length_m: float, web_width_mm: float) -> Extent:
    """The roll as one rectangle."""
    return Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=web_width_mm)


def scan_web(raster: Raster, *, settings: ScanSettings | None = None, progress: Progress | None = None) -> ScanResult:
    """Feed a raster block by block to the finder."""
    progress = progress or Silent()
    chosen = settings or ScanSettings(source=raster.source)
    finder = MarkFinder(raster.columns, raster.pitch_mm, raster.dtype, chosen)
    progress.start("scan", raster.lines, "lines")
    try:
        for block in raster.blocks():
            finder.feed(block)
            progress.advance(len(block))
        return finder.finish()
    finally:
        progress.finish()


def fit_to_roll(scan: ScanResult, whole: Extent) -> ScanResult:
    """The scan with everything the scanner did not reach on this roll listed as unseen.

    What is shorter than a line or narrower than a pixel isn't listed.
    """
    line_m, pixel_mm = scan.pitch_mm[0] / 1000.0, scan.pitch_mm[1]
    missed = [
        gap
        for gap in unseen_within(whole, scan.coverage.seen, why="outside the scanner's field")
        if gap.extent.length_m > line_m and gap.extent.width_mm > pixel_mm
    ]
    if not missed:
        return scan
    scanned_m = scan.lines * line_m
    unseen = [
        replace(gap, why="the scan ends before the roll does") if gap.extent.along_from_m >= scanned_m - line_m else gap
        for gap in missed
    ]
    return replace(scan, coverage=replace(scan.coverage, unseen=(*scan.coverage.unseen, *unseen)))


def check_length(raster: Raster, whole: Extent, *, roll: str) -> None:
    """Refuse a scan that is longer than its roll: places along would be wrong.

    Raises:
        InputError: when it is longer by more than the slack of a length counter.
    """
    scanned_m = raster.lines * raster.pitch_mm[0] / 1000.0
    if scanned_m > whole.length_m * (1.0 + _LENGTH_SLACK) + _LENGTH_SLACK_M:
        raise InputError(
            where=f"rolls/{roll}/scan/scan.toml, field pitch_along",
            rule=f"the scan must not be longer than the roll, {whole.length_m:g} m",
            value=f"{scanned_m:.2f} m",
            mend="Correct pitch_along, take out segments of another roll, or correct the length in roll.toml.",
        )


def check_width(scan: ScanResult, whole: Extent, *, roll: str) -> None:
    """Refuse a scan whose web isn't as wide as the plant's: places across would be wrong.

    Raises:
        InputError: when the measured width differs by more than edges wander.
    """
    if scan.coverage.share(whole) > _MUST_SHOW and abs(scan.web_width_mm - whole.width_mm) > _WIDTH_SLACK_MM:
        raise InputError(
            where=f"rolls/{roll}/scan/scan.toml, field pitch_across",
            rule=f"the web in the scan must be as wide as plant.toml's web_width, {whole.width_mm:g} mm",
            value=f"{scan.web_width_mm:.1f} mm",
            mend="Correct pitch_across, or web_width; a scan that doesn't show both edges can't be placed.",
        )


def judge_strips(strips: tuple[Strip, ...], product: Product) -> StripRoom:
    """Judge each process run by its reference strips, correct the check strips of good runs, and measure them."""
    runs: list[RunVerdict] = []
    for run in dict.fromkeys(strip.run for strip in strips):
        inside = [strip for strip in strips if strip.run == run]
        runs.append(
            judge_run(
                run,
                [strip for strip in inside if strip.kind is StripKind.REFERENCE],
                [strip for strip in inside if strip.kind is StripKind.CHECK],
                product.reference_aims,
                product.process_limit_density,
            )
        )
    by_name = {run.run: run for run in runs}
    checks = [strip for strip in strips if strip.kind is StripKind.CHECK]
    results = tuple(_measure(strip, by_name[strip.run], product) for strip in checks)
    return StripRoom(strips=strips, runs=tuple(runs), results=results)


def _measure(strip: Strip, run: RunVerdict, product: Product) -> StripResult:
    if run.usable:
        return measure_strip(correct_strip(strip, run), product.aims)
    result = measure_strip(strip, product.aims)
    return replace(result, usable=False, why=f"process run {run.run} is void: {run.why}")


def examine_sheets(sheets: tuple[Sheet, ...], sightings: tuple[Sighting, ...], scan: ScanResult | None) -> Examination:
    """Layer and origin of each sighting, and how sheets and scan agree."""
    if scan is None:
        seen: list[bool | None] = [None] * len(sightings)
        matching = None
    else:
        matching = match_sightings(
            sheets,
            sightings,
            scan.marks,
            tolerance_along_m=_MATCH_ALONG_M,
            tolerance_across_mm=_MATCH_ACROSS_MM,
        )
        found = {match.sighting for match in matching.matches}
        seen = [n in found or (None if _blind(scan, s.place) else False) for n, s in enumerate(sightings)]
    examined = tuple(
        Examined(
            sighting=sighting,
            layer=locate_layer(sighting),
            origin=find_origin(sighting, seen_by_scanner=seen[number]),
        )
        for number, sighting in enumerate(sightings)
    )
    return Examination(sheets=sheets, examined=examined, matching=matching)


def _blind(scan: ScanResult, place: Place) -> bool:
    """Whether the scanner did not look there, so that its silence says nothing."""
    inside = any(box.contains(place) for box in scan.coverage.seen)
    return not inside or any(hole.extent.contains(place) for hole in scan.coverage.unseen)


def search_repeats(
    scan: ScanResult | None, rollers: tuple[Roller, ...], length_m: float, settings: SeriesSettings | None = None
) -> SeriesSearch:
    """Series among the scan's marks."""
    chosen = settings or SeriesSettings()
    if scan is None:
        return SeriesSearch(series=(), marks=0, lanes=0, trials=0, length_m=length_m, observed=(), settings=chosen)
    scanned_m = scan.lines * scan.pitch_mm[0] / 1000.0
    return find_series(
        scan.marks["along_m"].to_numpy(),
        scan.marks["across_mm"].to_numpy(),
        length_m=max(length_m, math.nextafter(scanned_m, math.inf)),
        rollers=rollers,
        observed=[(0.0, scanned_m)],
        settings=chosen,
    )
