"""Each kind of evidence, from what was read to a room's result."""

import math
from dataclasses import replace

from wideroll.examination import Sheet, Sighting, find_origin, locate_layer, match_sightings
from wideroll.repeats import Roller, SeriesSearch, SeriesSettings, find_series
from wideroll.roll import Extent, Unseen
from wideroll.scan import MarkFinder, ScanResult, ScanSettings
from wideroll.sensitometry import RunVerdict, Strip, StripKind, StripResult, correct_strip, judge_run, measure_strip
from wideroll.workflow.model import Examination, Examined, Product, StripRoom
from wideroll.workflow.ports import Progress, Raster, Silent

__all__ = ["examine_sheets", "fit_to_roll", "judge_strips", "scan_web", "search_repeats", "whole_web"]

_MATCH_ALONG_M = 0.01
_MATCH_ACROSS_MM = 4.0
"""An examiner's rule reads to a centimetre along and an eighth of an inch across (common practice)."""


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
    """The scan with everything the scanner did not reach on this roll listed as unseen."""
    scanned_m = scan.lines * scan.pitch_mm[0] / 1000.0
    if scanned_m >= whole.along_to_m - scan.pitch_mm[0] / 1000.0:
        return scan
    rest = replace(whole, along_from_m=min(scanned_m, whole.along_to_m))
    unseen = (*scan.coverage.unseen, Unseen(extent=rest, why="the scan ends before the roll does"))
    return replace(scan, coverage=replace(scan.coverage, unseen=unseen))


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
        seen: set[int] | None = None
        matching = None
    else:
        matching = match_sightings(
            sheets,
            sightings,
            scan.marks,
            tolerance_along_m=_MATCH_ALONG_M,
            tolerance_across_mm=_MATCH_ACROSS_MM,
        )
        seen = {match.sighting for match in matching.matches}
    examined = tuple(
        Examined(
            sighting=sighting,
            layer=locate_layer(sighting),
            origin=find_origin(sighting, seen_by_scanner=None if seen is None else number in seen),
        )
        for number, sighting in enumerate(sightings)
    )
    return Examination(sheets=sheets, examined=examined, matching=matching)


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
