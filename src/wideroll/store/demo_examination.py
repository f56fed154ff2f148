"""What examiners left of the invented rolls: sheets, sightings, further looks and a photograph, with the truth.

Everything here is made up: eyes miss small marks, filters are misread now and then, and one mark was measured in the
wrong place.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import imagecodecs
import numpy as np

from wideroll.examination import Layer, Section, Seen, Sheet, Sighting, density_change
from wideroll.examination.grades import visibility_of
from wideroll.examination.grading import shape_of
from wideroll.examination.model import Floats
from wideroll.examination.visibility import visual_density
from wideroll.roll import Extent, MarkKind
from wideroll.store.demo_product import DYES, grade_fit
from wideroll.store.demo_scene import LookScene, RollScene
from wideroll.store.demo_sightings import looks_rows, sheets_rows, sightings_rows
from wideroll.synthetic import (
    PlantedMark,
    PlantedStreak,
    SheetSet,
    SightingTruth,
    draw_photograph,
    examine_sheets,
    make_sheets,
)

__all__ = ["Examined", "examine_roll"]

_SHEET_M: Final = 0.8
_APART_M: Final = 0.05
_EXAMINER: Final = "examiner A"
_MISREAD: Final = 0.04
_MISNAMED: Final = 0.08
_SIZE_SD: Final = 0.08
_GRADE_SD: Final = 0.05
"""Of one judgement, in log10 of visibility."""
_DEVELOPED: Final = 11.0
"""How much denser the streak is on processed film than for the scanner's infrared light."""
_DENSITY_SD: Final = 0.006
_MEASURED_EACH: Final = 3
_LOUPE: Final = 3.0
_SCALE_MM: Final = 0.02
_PHOTOGRAPH: Final = "photograph-01.png"
_PNG_LEVEL: Final = 6
_RECORDS: Final = (Layer.CYAN, Layer.MAGENTA, Layer.YELLOW)
_SEPARATIONS: Final = (Section.CYAN_SEPARATION, Section.MAGENTA_SEPARATION, Section.YELLOW_SEPARATION)


@dataclass(frozen=True, slots=True, kw_only=True)
class Examined:
    """A roll's examination folder by file, as rows or bytes, and the truth about each line of its sightings."""

    tables: Mapping[str, Sequence[Sequence[str]]]
    pictures: Mapping[str, bytes]
    truth: tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A line of the sightings with its truth, what is odd about it, and the line it takes back."""

    sighting: Sighting
    true: SightingTruth
    odd: str = ""
    takes_back: int = 0


def examine_roll(
    scene: RollScene, whole: Extent, planted: Sequence[PlantedMark], streaks: Sequence[PlantedStreak]
) -> Examined:
    """Sheets drawn by chance and one that wasn't, looked at once by one examiner and some of them again."""
    drawn = make_sheets(
        whole=whole,
        planted=planted,
        streaks=streaks,
        count=scene.sheets,
        sheet_length_m=_SHEET_M,
        seed=scene.seed + 3,
        examiner=_EXAMINER,
    ).sheets
    sheets = (*drawn, *_chosen(scene, whole, drawn))

    def look(at: Sequence[Sheet], **how: Any) -> SheetSet:
        return examine_sheets(at, planted=planted, streaks=streaks, seed=scene.seed + 3, **how)

    chance = np.random.Generator(np.random.PCG64([scene.seed, 11]))
    first = look(sheets, examiner=_EXAMINER)
    density = [_densities(planted, streaks, true) for true in first.truth]
    lines = list(_first_look(first, density, chance))
    pictures = {}
    if scene.oddities:
        pictures = _oddities(lines, density, chance)
        _mistyped(lines)
    for further in scene.looks:
        at = [sheet for sheet in sheets if sheet.name == further.sheet]
        made = look(at, examiner=further.examiner, again=further.again, wrong=_MISREAD)
        lines += _further_look(further, made, (first, planted, streaks), chance)
    notes = [(line.sighting, line.takes_back) for line in lines]
    tables = {"sheets.csv": sheets_rows(sheets), "sightings.csv": sightings_rows(notes, sheets)}
    if scene.looks:
        tables["looks.csv"] = looks_rows(scene.looks)
    return Examined(tables=tables, pictures=pictures, truth=tuple(_truth(n, line) for n, line in enumerate(lines, 1)))


def _chosen(scene: RollScene, whole: Extent, drawn: Sequence[Sheet]) -> Iterator[Sheet]:
    """A sheet just beyond a batch border, or beyond the sheet that lies there."""
    if not scene.chosen_at:
        return
    start = scene.chosen_at * whole.length_m
    for sheet in drawn:
        if sheet.extent.along_from_m < start + _APART_M + _SHEET_M and start < sheet.extent.along_to_m:
            start = sheet.extent.along_to_m
    start = round(start + _APART_M, 2)
    extent = replace(whole, along_from_m=start, along_to_m=round(start + _SHEET_M, 2))
    yield Sheet(name=f"sheet {len(drawn) + 1}", extent=extent, examiner=_EXAMINER, drawn=False)


def _densities(planted: Sequence[PlantedMark], streaks: Sequence[PlantedStreak], true: SightingTruth) -> Floats | None:
    """Red, green and blue density of a mark less its surround's on processed film; None for dirt from handling."""
    if true.streak is not None:
        return np.full(3, -_DEVELOPED * math.log10(1.0 + streaks[true.streak].contrast))
    if true.planted is None:
        return None
    amount = -math.log10(1.0 + planted[true.planted].contrast)
    if true.layer not in _RECORDS:
        return np.full(3, amount)
    return amount * np.array(DYES)[:, _RECORDS.index(true.layer)]


def _first_look(made: SheetSet, density: Sequence[Floats | None], chance: np.random.Generator) -> Iterator[_Line]:
    """Sightings as they were noted first: graded, and some measured and looked for in the sections."""
    for number, (sighting, true) in enumerate(zip(made.sightings, made.truth, strict=True)):
        there = density[number]
        if there is None:
            yield _Line(sighting=sighting, true=true)
            continue
        noted = replace(sighting, grade=_grade(sighting, there, chance), magnification=_LOUPE)
        if true.layer in _RECORDS or true.streak is not None or number % _MEASURED_EACH == 0:
            read = np.round(there + _DENSITY_SD * chance.standard_normal(3), 3)
            noted = replace(noted, density=density_change(read, _DENSITY_SD), shows_in=_sections(true.layer))
        yield _Line(sighting=noted, true=true)


def _further_look(
    further: LookScene,
    made: SheetSet,
    beside: tuple[SheetSet, Sequence[PlantedMark], Sequence[PlantedStreak]],
    chance: np.random.Generator,
) -> Iterator[_Line]:
    """Sightings of a further look, with sizes read anew, and some spots taken for bubbles."""
    first, planted, streaks = beside
    known = {true.planted for true in first.truth}
    for sighting, true in zip(made.sightings, made.truth, strict=True):
        size_mm = max(round(sighting.size_mm * (1.0 + _SIZE_SD * float(chance.standard_normal())), 1), 0.1)
        noted = replace(sighting, look=further.name, size_mm=size_mm)
        density = _densities(planted, streaks, true)
        if density is not None:
            noted = replace(noted, grade=_grade(noted, density, chance), magnification=_LOUPE)
        if true.planted in known and noted.kind is MarkKind.SPOT and chance.random() < _MISNAMED:
            noted = replace(noted, kind=MarkKind.BUBBLE)
        yield _Line(sighting=noted, true=true)


def _grade(sighting: Sighting, density: Floats, chance: np.random.Generator) -> str:
    fit = grade_fit()
    seen = visibility_of(
        visual_density(density), 1e-3, width=(sighting.size_mm, 0.0), shape=shape_of(sighting.kind), viewing=fit.viewing
    )
    judged = seen.log10 + _GRADE_SD * float(chance.standard_normal())
    return fit.grades[int(np.searchsorted(fit.borders, judged))]


def _sections(layer: Layer) -> dict[Section, bool]:
    """A record shows where it is exposed; what is opaque shows everywhere."""
    if layer not in _RECORDS:
        return dict.fromkeys(Section, True)
    own = _SEPARATIONS[_RECORDS.index(layer)]
    return {section: section in {Section.HIGH_DENSITY, Section.MID_DENSITY, own} for section in Section}


def _oddities(lines: list[_Line], density: Sequence[Floats | None], chance: np.random.Generator) -> dict[str, bytes]:
    """Of two marks in one record, the first is photographed; the densities written for the second aren't its own."""
    single = [n for n, line in enumerate(lines) if line.true.layer in _RECORDS and _excess(line.sighting)]
    single.sort(key=lambda n: (lines[n].true.layer is not Layer.CYAN, -lines[n].sighting.size_mm))
    photographed, elsewhere = single[:2]
    there = density[photographed]
    assert there is not None  # noqa: S101  -- handling dirt lies in no record
    pixels = lines[photographed].sighting.size_mm / _SCALE_MM
    made = draw_photograph(
        density=(float(there[0]), float(there[1]), float(there[2])),
        across_pixels=pixels,
        seed=int(chance.integers(1000)),
        shape=(round(4.0 * pixels), round(5.0 * pixels)),
    )
    seen = replace(lines[photographed].sighting, photograph=_PHOTOGRAPH, photograph_mm_per_pixel=_SCALE_MM)
    lines[photographed] = replace(lines[photographed], sighting=seen, odd="photographed")
    record = (_RECORDS.index(lines[elsewhere].true.layer) + 1) % len(_RECORDS)
    other = np.round(0.3 * np.array(DYES)[:, record], 3)
    lines[elsewhere] = replace(
        lines[elsewhere],
        sighting=replace(lines[elsewhere].sighting, density=density_change(other, _DENSITY_SD)),
        odd=f"densities are those of a mark in the {_RECORDS[record]} beside it",
    )
    return {_PHOTOGRAPH: bytes(imagecodecs.png_encode(made.photograph.pixels, level=_PNG_LEVEL))}


def _excess(sighting: Sighting) -> bool:
    return Seen.DARKER in sighting.through.values()


def _mistyped(lines: list[_Line]) -> None:
    """One size was first written without its point; the next line takes that back."""
    number = next(n for n, line in enumerate(lines) if line.true.planted is not None and not line.odd)
    right = lines[number]
    wrong = replace(right.sighting, size_mm=round(right.sighting.size_mm * 10.0, 1))
    mended = replace(right.sighting, note=f"the size is {right.sighting.size_mm:.1f} mm, the point was forgotten")
    lines[number : number + 1] = [
        replace(right, sighting=wrong, odd="size without its point"),
        replace(right, sighting=mended, takes_back=number + 1),
    ]


def _truth(number: int, line: _Line) -> dict[str, Any]:
    true = line.true
    said: dict[str, Any] = {"line": number, "planted": true.planted, "streak": true.streak, "layer": true.layer.value}
    return said | ({"odd": line.odd} if line.odd else {})
