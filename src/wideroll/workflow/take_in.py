"""Each kind of evidence, from what was read to a room's result."""

import math
from collections.abc import Mapping

from wideroll.examination import MarkPhotograph, Sheet, Sighting, match_sightings
from wideroll.repeats import Roller, SeriesSearch, SeriesSettings, find_series
from wideroll.roll import Extent, Place, unseen_within
from wideroll.scan import ScanResult
from wideroll.workflow.model import Examination, Product
from wideroll.workflow.scanning import scanned_m
from wideroll.workflow.sightings import examine_sighting

__all__ = ["examine_sheets", "search_repeats", "whole_web"]

_MATCH_ALONG_M = 0.01
_MATCH_ACROSS_MM = 4.0
"""An examiner's rule reads to a centimetre along and an eighth of an inch across (common practice)."""

_LEAST_BLIND_M = 0.05
"""A turn is looked for within some hundredths of a metre; a dropped line hides none."""


def whole_web(length_m: float, web_width_mm: float) -> Extent:
    """The roll as one rectangle."""
    return Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=web_width_mm)


def examine_sheets(
    sheets: tuple[Sheet, ...],
    sightings: tuple[Sighting, ...],
    scan: ScanResult | None,
    *,
    product: Product | None = None,
    photographs: Mapping[str, MarkPhotograph] | None = None,
) -> Examination:
    """Layer, origin and grade of each sighting, and how sheets and scan agree; photographs go by entry."""
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
        examine_sighting(
            sighting,
            seen_by_scanner=seen[number],
            product=product,
            photograph=(photographs or {}).get(sighting.entry),
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
    """Series among the scan's marks; stretches in which nothing could be seen from edge to edge tell nothing."""
    chosen = settings or SeriesSettings()
    end_m = scanned_m(scan) if scan else 0.0
    observed = _watched(scan, whole_web(end_m, scan.web_width_mm)) if scan else []
    if scan is None or not observed:
        return SeriesSearch(series=(), marks=0, lanes=0, trials=0, length_m=length_m, observed=(), settings=chosen)
    return find_series(
        scan.marks["along_m"].to_numpy(),
        scan.marks["across_mm"].to_numpy(),
        length_m=max(length_m, math.nextafter(end_m, math.inf)),
        rollers=rollers,
        observed=observed,
        settings=chosen,
    )


def _watched(scan: ScanResult, whole: Extent) -> list[tuple[float, float]]:
    blind = [
        hole.extent
        for hole in scan.coverage.unseen
        if hole.extent.length_m > _LEAST_BLIND_M
        and hole.extent.across_from_mm <= whole.across_from_mm
        and hole.extent.across_to_mm >= whole.across_to_mm
    ]
    seen = unseen_within(whole, blind, why="what is left between them")
    return [(part.extent.along_from_m, part.extent.along_to_m) for part in seen]
