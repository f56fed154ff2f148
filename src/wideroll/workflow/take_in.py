"""Each kind of evidence, from what was read to a room's result."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

from wideroll.examination import (
    MarkPhotograph,
    Reliability,
    SeenThing,
    Sheet,
    SheetLook,
    Sighting,
    match_sightings,
    merge_looks,
)
from wideroll.repeats import Roller, SeriesSearch, SeriesSettings, Winding, find_series
from wideroll.roll import Coverage, Extent, Place, unseen_within
from wideroll.scan import ScanResult
from wideroll.workflow.model import Examination, Product
from wideroll.workflow.scanning import scanned_m
from wideroll.workflow.sightings import examine_thing

__all__ = [
    "LOOKS_ACROSS_MM",
    "LOOKS_ALONG_M",
    "MATCH_ACROSS_MM",
    "MATCH_ALONG_M",
    "examine_sheets",
    "examiner_of",
    "scan_blind",
    "search_repeats",
    "watched_stretches",
    "whole_web",
]

MATCH_ALONG_M: Final = 0.01
MATCH_ACROSS_MM: Final = 4.0
"""An examiner's rule reads to a centimetre along and an eighth of an inch across (common practice)."""
LOOKS_ALONG_M: Final = math.sqrt(2.0) * MATCH_ALONG_M
LOOKS_ACROSS_MM: Final = math.sqrt(2.0) * MATCH_ACROSS_MM
"""Between two looks both places are read by rule."""

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
    looks: tuple[SheetLook, ...] = (),
    product: Product | None = None,
    photographs: Mapping[str, MarkPhotograph] | None = None,
    reliability: Mapping[str, Reliability] | None = None,
) -> Examination:
    """Layer, origin and grade of each thing seen, and how sheets and scan agree.

    What several looks at a sheet saw is one thing, in the first look's words.

    Args:
        sheets: of the roll.
        sightings: of all looks at them.
        scan: of the roll, None where it wasn't scanned.
        looks: further looks at the sheets.
        product: its dyes, film type and scale of grades.
        photographs: what they tell, by entry of their sighting.
        reliability: how often answers are wrong, by examiner.
    """
    things = merge_looks(sightings, LOOKS_ALONG_M, LOOKS_ACROSS_MM)
    seen: list[bool | None] = [None] * len(things)
    matching = None
    if scan is not None:
        places = [thing.sighting for thing in things]
        matching = match_sightings(sheets, places, scan.marks, MATCH_ALONG_M, MATCH_ACROSS_MM)
        found = {match.sighting for match in matching.matches}
        seen = [n in found or (None if scan_blind(scan, s.place) else False) for n, s in enumerate(places)]
    examiners = examiner_of(sheets, looks)
    examined = tuple(
        examine_thing(
            thing,
            seen_by_scanner=seen[number],
            product=product,
            photograph=_photograph(thing, photographs or {}),
            reliability=(reliability or {}).get(examiners.get((thing.sighting.sheet, thing.sighting.look), "")),
        )
        for number, thing in enumerate(things)
    )
    return Examination(sheets=sheets, examined=examined, matching=matching, looks=looks)


def examiner_of(sheets: Sequence[Sheet], looks: Sequence[SheetLook]) -> Mapping[tuple[str, str], str]:
    """Who looked, by sheet and look."""
    return {(one.name, ""): one.examiner for one in sheets} | {(one.sheet, one.name): one.examiner for one in looks}


def _photograph(thing: SeenThing, photographs: Mapping[str, MarkPhotograph]) -> MarkPhotograph | None:
    return next((photographs[one.entry] for one in thing.seen if one.entry in photographs), None)


def scan_blind(scan: ScanResult, place: Place) -> bool:
    """Whether the scanner did not look there, so that its silence says nothing."""
    inside = any(box.contains(place) for box in scan.coverage.seen)
    return not inside or any(hole.extent.contains(place) for hole in scan.coverage.unseen)


def search_repeats(
    scan: ScanResult | None,
    rollers: tuple[Roller, ...],
    length_m: float,
    *,
    winding: Winding | None = None,
    settings: SeriesSettings | None = None,
) -> SeriesSearch:
    """Series among the scan's marks; stretches in which nothing could be seen from edge to edge tell nothing."""
    chosen = settings or SeriesSettings()
    end_m = scanned_m(scan) if scan else 0.0
    observed = watched_stretches(scan.coverage, whole_web(end_m, scan.web_width_mm)) if scan else []
    if scan is None or not observed:
        return SeriesSearch(series=(), marks=0, lanes=0, trials=0, length_m=length_m, observed=(), settings=chosen)
    return find_series(
        scan.marks["along_m"].to_numpy(),
        scan.marks["across_mm"].to_numpy(),
        length_m=max(length_m, math.nextafter(end_m, math.inf)),
        rollers=rollers,
        observed=observed,
        winding=winding,
        settings=chosen,
    )


def watched_stretches(coverage: Coverage, whole: Extent) -> list[tuple[float, float]]:
    """Stretches along of a web, from and to in metres, in which something could be seen across it."""
    blind = [
        hole.extent
        for hole in coverage.unseen
        if hole.extent.length_m > _LEAST_BLIND_M
        and hole.extent.across_from_mm <= whole.across_from_mm
        and hole.extent.across_to_mm >= whole.across_to_mm
    ]
    seen = unseen_within(whole, blind, why="what is left between them")
    return [(part.extent.along_from_m, part.extent.along_to_m) for part in seen]
