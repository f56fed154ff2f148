"""Sample sheets of an invented roll and what an examiner reports of them, with the truth about each sighting."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.examination.model import FilterColour, Layer, Seen, Sheet, Sighting
from wideroll.roll import INCH_MM, Extent, MarkKind, Place
from wideroll.synthetic.planted import PlantedMark, PlantedStreak

__all__ = ["SheetSet", "SightingTruth", "chance_to_see", "examine_sheets", "make_sheets"]

_EIGHTH_MM: Final = float(INCH_MM) / 8.0
_HALF_SEEN_MM: Final = 0.3
_STEEPNESS: Final = 3.0
_HALF_SEEN_CONTRAST: Final = 0.01
_OPAQUE_SHARE: Final = 0.7
_RECORDS: Final = (Layer.CYAN, Layer.MAGENTA, Layer.YELLOW)
_SHOWN_BY: Final[Mapping[Layer, FilterColour]] = {
    Layer.CYAN: FilterColour.RED,
    Layer.MAGENTA: FilterColour.GREEN,
    Layer.YELLOW: FilterColour.BLUE,
}
_LACKS_ALL: Final = (MarkKind.HOLE, MarkKind.PINHOLE)
_SHORTEST_M: Final = 0.01
_HANDLING_SIZE_MM: Final = 0.5
_HANDLING_SPREAD: Final = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class SightingTruth:
    """What a sighting truly is: a planted mark or streak (its number), or neither: dirt from handling the sheet.

    ``place`` is where it truly lies.
    """

    planted: int | None = None
    streak: int | None = None
    place: Place
    layer: Layer

    @property
    def handling(self) -> bool:
        """Whether it came after coating."""
        return self.planted is None and self.streak is None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSet:
    """Sheets, what was reported of them, and the truth.

    ``truth`` runs beside ``sightings``; ``missed`` are the numbers of the planted marks that lie on a sheet but weren't
    seen.
    """

    sheets: tuple[Sheet, ...]
    sightings: tuple[Sighting, ...]
    truth: tuple[SightingTruth, ...]
    missed: tuple[int, ...]


def chance_to_see(size_mm: float, *, detection: float = 0.9) -> float:
    """Probability that an examiner sees a mark: half of ``detection`` at 0.3 mm, towards all of it for large ones.

    An assumed curve, logistic in the logarithm of the size.

    Example:
        >>> round(chance_to_see(0.3), 3), round(chance_to_see(1.0), 3)
        (0.45, 0.876)
    """
    return detection / (1.0 + math.pow(_HALF_SEEN_MM / size_mm, _STEEPNESS))


def make_sheets(  # noqa: PLR0913  -- a roll, its sheets and its examiner are nine plain numbers and names
    *,
    whole: Extent,
    planted: Sequence[PlantedMark],
    streaks: Sequence[PlantedStreak],
    count: int,
    sheet_length_m: float,
    seed: int,
    examiner: str,
    detection: float = 0.9,
    handling_per_sheet: float = 0.3,
) -> SheetSet:
    """Sheets across the full width, one at random in each of ``count`` equal parts of the roll, and their sightings.

    Places are reported to the nearest eighth of an inch across and centimetre along, as measured from the sheet's edge
    nearest the head; sizes to 0.1 mm. Marks planted on the web are embedded and answer the filters as one record or as
    something opaque would; one whose cause names metal looks metallic. A Poisson number of specks lies on top of each
    sheet from handling and wipes off. The same seed gives another examiner the same sheets, marks in the same layers,
    and other eyes.

    Args:
        whole: the roll.
        planted: marks on the web; those off the sheets aren't seen.
        streaks: streaks on the web; the fainter, the less seen.
        count: number of sheets.
        sheet_length_m: of each sheet.
        seed: another seed, other sheets.
        examiner: who looks.
        detection: probability that a large mark is seen, see ``chance_to_see``.
        handling_per_sheet: expected number of specks from handling.

    Raises:
        ArgumentError: when the sheets don't fit their parts of the roll, or an argument can't be.

    Example:
        >>> roll = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1380.0)
        >>> spots = [
        ...     PlantedMark(along_m=0.5 * n, across_mm=300.0, length_mm=2.0, width_mm=2.0, contrast=-0.4)
        ...     for n in range(20)
        ... ]
        >>> made = make_sheets(whole=roll, planted=spots, streaks=(), count=2, sheet_length_m=1.0, seed=1, examiner="A")
        >>> [sheet.name for sheet in made.sheets]
        ['sheet 1', 'sheet 2']
        >>> {sighting.place.across_mm for sighting, true in zip(made.sightings, made.truth) if not true.handling}
        {298.45}
    """
    _check(detection, handling_per_sheet)
    _check_sheets(count, sheet_length_m)
    sheets = _cut(whole, count, sheet_length_m, np.random.Generator(np.random.PCG64(seed)), examiner)
    return examine_sheets(
        sheets,
        planted=planted,
        streaks=streaks,
        seed=seed,
        examiner=examiner,
        detection=detection,
        handling_per_sheet=handling_per_sheet,
    )


def examine_sheets(  # noqa: PLR0913  -- sheets, what lies on them and the examiner are nine plain numbers and names
    sheets: Sequence[Sheet],
    *,
    planted: Sequence[PlantedMark],
    streaks: Sequence[PlantedStreak],
    seed: int,
    examiner: str,
    again: int = 0,
    wrong: float = 0.0,
    detection: float = 0.9,
    handling_per_sheet: float = 0.3,
) -> SheetSet:
    """What an examiner reports of sheets that were cut before, as ``make_sheets`` has it.

    With the same seed another examiner, or the same one ``again``, sees marks in the same layers with other eyes.

    Args:
        sheets: from the roll.
        planted: marks on the web.
        streaks: streaks on the web.
        seed: that of ``make_sheets``.
        examiner: who looks, whoever looked first.
        again: which further look of the same examiner it is; 0 is the first.
        wrong: share of wrong answers through filters.
        detection: probability that a large mark is seen.
        handling_per_sheet: expected number of specks from handling; each look has others.

    Raises:
        ArgumentError: when an argument can't be.

    Example:
        >>> roll = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1380.0)
        >>> spots = [
        ...     PlantedMark(along_m=0.5 * n, across_mm=300.0, length_mm=0.4, width_mm=0.4, contrast=-0.4)
        ...     for n in range(20)
        ... ]
        >>> made = make_sheets(whole=roll, planted=spots, streaks=(), count=5, sheet_length_m=1.9, seed=1, examiner="A")
        >>> look = examine_sheets(made.sheets, planted=spots, streaks=(), seed=1, examiner="B")
        >>> look.missed == made.missed
        False
    """
    _check(detection, handling_per_sheet, wrong)
    layers = _layers(planted, np.random.Generator(np.random.PCG64([seed, 1])))
    look = [*examiner.encode(), *([again] if again else [])]
    eyes = np.random.Generator(np.random.PCG64([seed, 2, *look]))
    found: list[tuple[Sighting, SightingTruth]] = []
    missed: list[int] = []
    for sheet in sheets:
        for number, mark in enumerate(planted):
            if not sheet.extent.contains(Place(along_m=mark.along_m, across_mm=mark.across_mm)):
                continue
            if eyes.random() < chance_to_see(mark.size_mm, detection=detection):
                found.append(_see_mark(sheet, mark, number, layers[number]))
            else:
                missed.append(number)
        found.extend(_see_streaks(sheet, streaks, detection, eyes))
        found.extend(_see_handling(sheet, int(eyes.poisson(handling_per_sheet)), eyes))
    mistakes = np.random.Generator(np.random.PCG64([seed, 3, *look]))
    return SheetSet(
        sheets=tuple(sheets),
        sightings=tuple(_mistaken(sighting, wrong, mistakes) for sighting, _ in found),
        truth=tuple(true for _, true in found),
        missed=tuple(missed),
    )


def _mistaken(sighting: Sighting, wrong: float, random: np.random.Generator) -> Sighting:
    """Each answer through a filter turned into one of the other two in a share of cases."""
    if not wrong:
        return sighting
    through = {
        colour: [seen for seen in Seen if seen is not true][int(random.integers(2))]
        if random.random() < wrong
        else true
        for colour, true in sighting.through.items()
    }
    return replace(sighting, through=through)


def _cut(whole: Extent, count: int, length_m: float, random: np.random.Generator, examiner: str) -> tuple[Sheet, ...]:
    part_m = whole.length_m / count if count else 0.0
    sheets = []
    for number in range(count):
        # Whole centimetres, so that the places on the sheet's label are exact.
        first = math.ceil(round((whole.along_from_m + number * part_m) * 100.0, 6))
        last = math.floor(round((whole.along_from_m + (number + 1) * part_m - length_m) * 100.0, 6))
        if last < first:
            raise ArgumentError(
                where="sheet_length_m",
                rule=f"{count} sheets must fit {count} equal parts of {whole.length_m:g} m",
                value=length_m,
                mend="Take fewer or shorter sheets.",
            )
        start = int(random.integers(first, last + 1)) / 100.0
        extent = Extent(
            along_from_m=start,
            along_to_m=round(start + length_m, 6),
            across_from_mm=whole.across_from_mm,
            across_to_mm=whole.across_to_mm,
        )
        sheets.append(Sheet(name=f"sheet {number + 1}", extent=extent, examiner=examiner))
    return tuple(sheets)


def _layers(planted: Sequence[PlantedMark], random: np.random.Generator) -> list[Layer]:
    """The layer of each mark: most are opaque or in every record, the others in one."""
    opaque = random.random(len(planted)) < _OPAQUE_SHARE
    record: NDArray[np.int64] = random.integers(0, len(_RECORDS), len(planted))
    return [
        Layer.OPAQUE if opaque[n] or mark.kind in _LACKS_ALL or _metallic(mark) else _RECORDS[record[n]]
        for n, mark in enumerate(planted)
    ]


def _metallic(mark: PlantedMark) -> bool:
    return "metal" in mark.cause.lower()


def _see_mark(sheet: Sheet, mark: PlantedMark, number: int, layer: Layer) -> tuple[Sighting, SightingTruth]:
    place = Place(along_m=mark.along_m, across_mm=mark.across_mm)
    sighting = Sighting(
        sheet=sheet.name,
        kind=mark.kind,
        place=_measured(place, sheet),
        size_mm=_size(max(mark.length_mm, mark.width_mm)),
        through=_look(layer, mark.contrast),
        embedded=True,
        metallic=_metallic(mark),
    )
    return sighting, SightingTruth(planted=number, place=place, layer=layer)


def _see_streaks(
    sheet: Sheet, streaks: Sequence[PlantedStreak], detection: float, eyes: np.random.Generator
) -> Iterator[tuple[Sighting, SightingTruth]]:
    for number, streak in enumerate(streaks):
        start = max(streak.along_from_m, sheet.extent.along_from_m)
        end = min(streak.along_to_m, sheet.extent.along_to_m)
        strength = streak.contrast**2
        seen = eyes.random() < detection * strength / (strength + _HALF_SEEN_CONTRAST**2)
        if streak.fixed:  # the scanner's own pattern is on no film
            continue
        place = Place(along_m=(start + end) / 2.0, across_mm=streak.across_mm)
        if end <= start or not sheet.extent.contains(place) or not seen:
            continue
        sighting = Sighting(
            sheet=sheet.name,
            kind=MarkKind.STREAK,
            place=_measured(place, sheet),
            size_mm=_size(streak.width_mm),
            through=_look(Layer.OPAQUE, streak.contrast),
            embedded=True,
        )
        yield sighting, SightingTruth(streak=number, place=place, layer=Layer.OPAQUE)


def _see_handling(sheet: Sheet, specks: int, random: np.random.Generator) -> Iterator[tuple[Sighting, SightingTruth]]:
    for _ in range(specks):
        along, across = random.random(2).tolist()
        place = Place(
            along_m=sheet.extent.along_from_m + along * sheet.extent.length_m,
            across_mm=sheet.extent.across_from_mm + across * sheet.extent.width_mm,
        )
        sighting = Sighting(
            sheet=sheet.name,
            kind=MarkKind.SPOT,
            place=_measured(place, sheet),
            size_mm=_size(_HANDLING_SIZE_MM * math.exp(_HANDLING_SPREAD * float(random.standard_normal()))),
            through=_look(Layer.OPAQUE, -1.0),
            embedded=False,
            wipes_off=True,
        )
        yield sighting, SightingTruth(place=place, layer=Layer.SURFACE)


def _look(layer: Layer, contrast: float) -> dict[FilterColour, Seen]:
    changed = Seen.DARKER if contrast < 0.0 else Seen.LIGHTER
    shown = _SHOWN_BY.get(layer)
    return {colour: changed if shown in {None, colour} else Seen.SAME for colour in FilterColour}


def _measured(place: Place, sheet: Sheet) -> Place:
    """The place as ruler and tape give it; never off the sheet."""
    extent = sheet.extent
    last = math.ceil(round(extent.length_m * 100.0, 6)) - 1
    centimetres = min(round((place.along_m - extent.along_from_m) * 100.0), last)
    least, most = math.ceil(extent.across_from_mm / _EIGHTH_MM), math.ceil(extent.across_to_mm / _EIGHTH_MM) - 1
    eighths = min(max(round(place.across_mm / _EIGHTH_MM), least), most)
    return Place(along_m=round(extent.along_from_m + centimetres / 100.0, 2), across_mm=eighths * _EIGHTH_MM)


def _size(size_mm: float) -> float:
    return max(round(size_mm, 1), 0.1)


def _check(detection: float, handling_per_sheet: float, wrong: float = 0.0) -> None:
    _refuse(
        ("wrong", wrong, 0.0 <= wrong < 1.0, "must lie between 0 and 1"),
        ("detection", detection, 0.0 <= detection <= 1.0, "must lie between 0 and 1"),
        (
            "handling_per_sheet",
            handling_per_sheet,
            0.0 <= handling_per_sheet < math.inf,
            "must be finite and not negative",
        ),
    )


def _check_sheets(count: int, sheet_length_m: float) -> None:
    _refuse(
        ("count", count, count >= 0, "must not be negative"),
        ("sheet_length_m", sheet_length_m, _SHORTEST_M <= sheet_length_m < math.inf, "must be finite, 0.01 or more"),
    )


def _refuse(*rules: tuple[str, float, bool, str]) -> None:
    for where, value, holds, rule in rules:
        if not holds:
            raise ArgumentError(where=where, rule=rule, value=value, mend="Correct the argument.")
