"""The tables an examiner of the invented plant would have written: sheets, looks and sightings."""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from wideroll.examination import FilterColour, Section, Sheet, Sighting
from wideroll.roll import Length, Notation, Place, format_length
from wideroll.store.demo_scene import LookScene

__all__ = ["eighths", "inches_across", "looks_rows", "sheets_rows", "sightings_rows"]

_EIGHTH_MM: Final = Fraction(254, 80)
_ANSWERS: Final = {True: "yes", False: "no", None: ""}
_HEAD: Final = (
    *("sheet", "kind", "along", "across", "size", *FilterColour, "embedded", "wipes_off", "metallic"),
    *("grade", "magnification", *(section.value.replace(" ", "_") for section in Section)),
    *(*(f"density_{colour}" for colour in FilterColour), "density_uncertainty", "photograph", "photograph_scale"),
    *("look", "takes_back", "note"),
)


def eighths(mm: float) -> Fraction:
    """To the nearest eighth of an inch, in mm."""
    return round(Fraction(mm) / _EIGHTH_MM) * _EIGHTH_MM


def inches_across(place: Place | None) -> str:
    """A place across as it is read off a rule, ``-`` for none."""
    if place is None:
        return "-"
    return format_length(Length(mm=eighths(place.across_mm), notation=Notation.INCH))


def sheets_rows(sheets: Iterable[Sheet]) -> list[Sequence[str]]:
    """The rows of sheets.csv, with their head."""
    rows: list[Sequence[str]] = [("sheet", "along_from", "along_to", "examiner", "taken")]
    for sheet in sheets:
        along = (f"{sheet.extent.along_from_m:.2f} m", f"{sheet.extent.along_to_m:.2f} m")
        rows.append((sheet.name, *along, sheet.examiner, "drawn" if sheet.drawn else "chosen"))
    return rows


def looks_rows(looks: Iterable[LookScene]) -> list[Sequence[str]]:
    """The rows of looks.csv, with their head; every look is blind."""
    head = ("look", "sheet", "examiner", "on", "blind")
    return [head, *((look.name, look.sheet, look.examiner, look.on, "yes") for look in looks)]


def sightings_rows(lines: Iterable[tuple[Sighting, int]], sheets: Iterable[Sheet]) -> list[Sequence[str]]:
    """The rows of sightings.csv, with their head; each line with the number of the one it takes back, or 0."""
    by_name = {sheet.name: sheet for sheet in sheets}
    return [_HEAD, *(_row(sighting, by_name[sighting.sheet], takes_back) for sighting, takes_back in lines)]


def _row(sighting: Sighting, sheet: Sheet, takes_back: int) -> Sequence[str]:
    on_sheet_cm = (sighting.place.along_m - round(sheet.extent.along_from_m, 2)) * 100.0
    return (
        sighting.sheet,
        sighting.kind.value,
        f"{max(on_sheet_cm, 0.0):.0f} cm",
        inches_across(sighting.place),
        f"{sighting.size_mm:.1f} mm",
        *(sighting.through[colour].value if colour in sighting.through else "" for colour in FilterColour),
        _ANSWERS[sighting.embedded],
        _ANSWERS[sighting.wipes_off],
        "yes" if sighting.metallic else "",
        sighting.grade,
        f"{sighting.magnification:g}" if sighting.magnification else "",
        *(_ANSWERS[sighting.shows_in.get(section)] for section in Section),
        *_densities(sighting),
        sighting.photograph,
        f"{sighting.photograph_mm_per_pixel:g} mm" if sighting.photograph_mm_per_pixel else "",
        sighting.look,
        str(takes_back or ""),
        sighting.note,
    )


def _densities(sighting: Sighting) -> tuple[str, ...]:
    if sighting.density is None:
        return ("",) * 4
    shown = (*sighting.density.density.tolist(), float(sighting.density.standard_uncertainty[0]))
    return tuple(f"{value:.3f}" for value in shown)
