"""What examiners saw, as marks that rates count and as flaws that are judged one by one."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

import polars as pl

from wideroll.examination import GradeFinding, Origin, Sighting
from wideroll.release import GRADED, SIGHTED, Criterion, Flaw, Measurand
from wideroll.roll import EXTENDED_KINDS, MARK_KINDS, MARKS_SCHEMA, Extent, MarkKind, mark_id
from wideroll.scan import ScanResult
from wideroll.workflow.model import Examination, Examined, Product

__all__ = ["SHEETS", "SIGHTED_UNITS", "graded_flaws", "sighted_flaws", "web_sightings"]

SHEETS: Final = "sheets"
SIGHTED_UNITS: Final = {"metal": "mm"} | {f"{SIGHTED} {kind}": "mm" for kind in MARK_KINDS}
"""Kinds of flaw that examiners see, and the unit of each one's value."""
_SAME_STREAK_MM: Final = 4.0
"""An examiner's rule reads to an eighth of an inch across (common practice)."""


def web_sightings(examination: Examination, *, least_size_mm: float = 0.0) -> pl.DataFrame:
    """What was seen on the sheets as a marks table, but for dirt from handling and what runs on or spreads out."""
    rows = [
        {
            "id": mark_id(
                source=f"sheets {number}", along_m=s.place.along_m, across_mm=s.place.across_mm, polarity="dark"
            ),
            "along_m": s.place.along_m,
            "across_mm": s.place.across_mm,
            "length_mm": _size_mm(one),
            "width_mm": _size_mm(one),
            "area_mm2": math.pi * _size_mm(one) ** 2 / 4.0,
            **dict.fromkeys(("contrast", "snr", "peak", "angle_deg", "ring"), 0.0),
            "elongation": 1.0,
            "polarity": "dark",
            "kind": s.kind.value,
            "rule": "examiner",
            "source": "sheets",
        }
        for number, one in enumerate(examination.examined)
        for s in (one.sighting,)
        if one.origin.origin is not Origin.HANDLING and s.kind not in EXTENDED_KINDS and _size_mm(one) >= least_size_mm
    ]
    return pl.DataFrame(rows, schema=MARKS_SCHEMA)


def _size_mm(found: Examined) -> float:
    """The largest that any look says."""
    return max((one.size_mm for one in found.seen), default=found.sighting.size_mm)


def sighted_flaws(examination: Examination, scan: ScanResult | None, whole: Extent) -> Iterator[Flaw]:
    """What came with the coating counts against the film; handling dirt doesn't, unless it is metal.

    A streak that the scanner found there too is left to the scan, which knows where it starts and ends.
    """
    sheets = {sheet.name: sheet for sheet in examination.sheets}
    for found in examination.examined:
        sighting = found.sighting
        if found.origin.origin is Origin.HANDLING and not sighting.metallic:
            continue
        if sighting.kind is MarkKind.STREAK and _scanned(sighting, scan) is not None:
            continue
        sizes = [one.size_mm for one in found.seen] or [sighting.size_mm]
        yield Flaw(
            kind="metal" if sighting.metallic else f"{SIGHTED} {sighting.kind}",
            extent=_reach(sighting, sheets[sighting.sheet].extent, whole),
            value=sighting.size_mm,
            low=min(sizes),
            high=max(sizes),
            unit="mm",
            source=SHEETS,
            note=f"on {sighting.sheet}; {found.layer.likeliest}; {found.origin.origin}: {found.origin.why}",
        )


def _scanned(sighting: Sighting, scan: ScanResult | None) -> Extent | None:
    """The streak of the scan that a sighted streak is a part of."""
    place = sighting.place
    for streak in scan.streaks if scan else ():
        along = streak.extent.along_from_m <= place.along_m <= streak.extent.along_to_m
        if along and abs(streak.across_mm - place.across_mm) <= streak.width_mm / 2.0 + _SAME_STREAK_MM:
            return streak.extent
    return None


def _reach(sighting: Sighting, sheet: Extent, whole: Extent) -> Extent:
    """How far a sighting speaks: a streak for its lane, a band or fog for the sheet, all else for its own size.

    How far a streak runs beyond the sheet isn't known from the sheet, so its lane is taken over the whole length.
    """
    if sighting.kind in {MarkKind.BAND, MarkKind.FOG}:
        return sheet
    around = _around(sighting)
    if sighting.kind is MarkKind.STREAK:
        return replace(around, along_from_m=whole.along_from_m, along_to_m=whole.along_to_m)
    return around.meet(sheet) or around


def graded_flaws(
    examination: Examination, product: Product | None, whole: Extent, scan: ScanResult | None = None
) -> Iterator[Flaw]:
    """Grades of the kinds that a criterion on grades names, by their place on the scale from the best.

    A streak that the scanner found there too has one grade, the worst that any sheet shows of it, from where it starts
    to where it ends. Where the measurement predicts other grades than the examiner gave, the interval holds both, and
    what they disagree in is said. Handling dirt isn't graded.
    """
    kinds = {kind for criterion in _on_grades(product) for kind in criterion.kinds}
    sheets = {sheet.name: sheet for sheet in examination.sheets}
    scale = product.grades.grades if product and product.grades else ()
    by_part: dict[tuple[str, Extent], list[Flaw]] = {}
    for found in examination.examined:
        sighting = found.sighting
        if sighting.kind in kinds and found.origin.origin is not Origin.HANDLING:
            scanned = _scanned(sighting, scan) if sighting.kind is MarkKind.STREAK else None
            extent = scanned or _reach(sighting, sheets[sighting.sheet].extent, whole)
            by_part.setdefault((sighting.kind, extent), []).append(_graded(found, extent, scale))
    yield from map(_worst, by_part.values())


def _graded(found: Examined, extent: Extent, scale: Sequence[str]) -> Flaw:
    sighting = found.sighting
    given = [one.grade for one in found.seen or (sighting,)]
    value, low, high = _places(given, found.grade, scale)
    return Flaw(
        kind=f"{GRADED} {sighting.kind}",
        extent=extent,
        value=value,
        low=low,
        high=high,
        unit="grade",
        source=SHEETS,
        note=f"on {sighting.sheet}",
        contradiction=found.grade.warning if found.grade else "",
    )


def _worst(flaws: Sequence[Flaw]) -> Flaw:
    """The one that is most surely bad, naming the others' sheets."""
    worst = max(flaws, key=lambda flaw: (flaw.low, flaw.high, flaw.note))
    others = sorted({flaw.note.removeprefix("on ") for flaw in flaws} - {worst.note.removeprefix("on ")})
    return replace(worst, note=f"{worst.note}, graded too on {', '.join(others)}") if others else worst


def _on_grades(product: Product | None) -> Sequence[Criterion]:
    return [c for c in product.criteria if c.measurand is Measurand.GRADE] if product else []


def _places(given: Sequence[str], found: GradeFinding | None, scale: Sequence[str]) -> tuple[float, float, float]:
    """Place of the first grade given, or else predicted, and of the best and worst it may be; any where there is none.

    ``given`` are those of all looks at it.
    """
    place = {grade: float(number) for number, grade in enumerate(scale, 1)}
    told = [grade for grade in given if grade in place]
    predicted = [found.low, found.high] if found and found.low in place and found.high in place else []
    possible = [place[grade] for grade in (*told, *predicted)]
    if not possible:
        return math.nan, 1.0, float(len(scale))
    likeliest = found.likeliest if found else ""
    return place.get(told[0] if told else likeliest, math.nan), min(possible), max(possible)


def _around(sighting: Sighting) -> Extent:
    place, half_mm = sighting.place, sighting.size_mm / 2.0
    point = Extent(
        along_from_m=place.along_m,
        along_to_m=place.along_m,
        across_from_mm=place.across_mm,
        across_to_mm=place.across_mm,
    )
    return point.grown(along_m=half_mm / 1000.0, across_mm=half_mm)
