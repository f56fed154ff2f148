"""The sightings on the sample sheets of a roll, line after line as they were written."""

import re
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from wideroll.errors import ArgumentError, InputError
from wideroll.examination import (
    DensityChange,
    Entry,
    FilterColour,
    Section,
    Seen,
    Sheet,
    SheetLook,
    Sighting,
    SightingLog,
    density_change,
    read_back,
)
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.look_files import read_looks
from wideroll.roll import MARK_KINDS, MarkKind, Place, Side

__all__ = ["read_sighting_log", "read_sightings"]

_SEEN: Final = tuple(seen.value for seen in Seen)
_COLOURS: Final = tuple(colour.value for colour in FilterColour)
_SECTIONS: Final[Mapping[str, Section]] = {section.value.replace(" ", "_"): section for section in Section}
_DENSITIES: Final = tuple(f"density_{colour}" for colour in _COLOURS)
_NEEDED: Final = ("sheet", "kind", "along", "across", "size")
_EXTRAS: Final = (
    *_COLOURS,
    *("grade", "embedded", "wipes_off", "metallic", "note"),
    *_SECTIONS,
    *("magnification", *_DENSITIES, "density_uncertainty", "photograph", "photograph_scale"),
    *("entry", "takes_back", "look", "side"),
)
_PLAIN_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
_MOST_DENSITY: Final = 6.0
_MOST_MAGNIFICATION: Final = 1000.0


def read_sightings(folder: Path, sheets: tuple[Sheet, ...]) -> tuple[Sighting, ...]:
    """What holds of ``sightings.csv``, see ``read_sighting_log``."""
    return read_sighting_log(folder, sheets).sightings


def read_sighting_log(folder: Path, sheets: tuple[Sheet, ...]) -> SightingLog:
    """``sightings.csv``; ``along`` is measured on the sheet from its edge nearest the roll's head.

    A file with no rows below its header says that nothing was seen on the sheets; without the file nobody has said so.
    A row that names another in ``takes_back`` takes it back; the file only ever grows.

    Raises:
        InputError: when there are sheets and no file; naming the line and column; also when a sheet isn't listed, a
            place lies off it, or a row takes back what it can't.
    """
    path = folder / "sightings.csv"
    if not sheets and not path.is_file():
        return SightingLog()
    if not path.is_file():
        raise InputError(
            where=str(path),
            rule="sheets that were examined need a table of sightings",
            mend="Write what was seen; the header alone says that nothing was.",
        )
    by_name = {sheet.name: sheet for sheet in sheets}
    looks = {look.name: look for look in read_looks(folder, sheets)}
    rows = read_table(path, needed=_NEEDED, allowed=_EXTRAS, may_be_empty=True)
    entries = [
        _entry(row, by_name, looks, name=row.cells.get("entry", "") or str(number))
        for number, row in enumerate(rows, 1)
    ]
    fault = _fault(entries)
    if fault is not None:
        # every longer beginning of the file has a fault too
        last = bisect_left(range(len(entries)), 1, key=lambda n: int(_fault(entries[: n + 1]) is not None))
        raise InputError(
            where=rows[last].where(fault.where), rule=fault.rule, value=fault.value, mend=fault.mend
        ) from fault
    log = read_back(entries)
    _check_once(log, dict(zip((entry.name for entry in entries), rows, strict=True)))
    return log


def _check_once(log: SightingLog, rows: Mapping[str, Row]) -> None:
    """One look sees a thing of one kind and size at one place once; the same again is a slip that would count twice."""
    seen: dict[tuple[object, ...], str] = {}
    for one in log.sightings:
        key = (one.sheet, one.look, one.kind, one.place, one.size_mm)
        if key in seen:
            raise rows[one.entry].refuse(
                "along",
                rule=f"the same is noted once in a look; line {rows[seen[key]].line} notes it too",
                mend="Take one of them back, or correct its place.",
            )
        seen[key] = one.entry


def _fault(entries: Sequence[Entry]) -> ArgumentError | None:
    try:
        read_back(entries)
    except ArgumentError as error:
        return error
    return None


def _entry(row: Row, sheets: dict[str, Sheet], looks: dict[str, SheetLook], *, name: str) -> Entry:
    takes_back = row.cells.get("takes_back", "")
    note = row.cells.get("note", "")
    says_more = any(cell for column, cell in row.cells.items() if column not in {"entry", "takes_back", "note"})
    if takes_back and not says_more:
        return Entry(name=name, takes_back=takes_back, note=note)
    return Entry(name=name, sighting=_sighting(row, sheets, looks, name=name), takes_back=takes_back, note=note)


def _sighting(row: Row, sheets: dict[str, Sheet], looks: dict[str, SheetLook], *, name: str) -> Sighting:
    sheet = row.text("sheet")
    if sheet not in sheets:
        raise row.refuse("sheet", rule="the sheet must be listed in sheets.csv", mend="Correct the name, or add it.")
    photograph, mm_per_pixel = _photograph(row)
    return Sighting(
        sheet=sheet,
        kind=row.choice("kind", MarkKind, MARK_KINDS),
        place=_place(row, sheets[sheet]),
        size_mm=_size(row),
        grade=row.cells.get("grade", ""),
        through={
            FilterColour(colour): row.choice(colour, Seen, _SEEN) for colour in _COLOURS if row.cells.get(colour, "")
        },
        embedded=row.answer("embedded"),
        wipes_off=row.answer("wipes_off"),
        metallic=bool(row.answer("metallic")),
        note=row.cells.get("note", ""),
        shows_in={
            section: answer for column, section in _SECTIONS.items() if (answer := row.answer(column)) is not None
        },
        magnification=_magnification(row),
        density=_density(row),
        photograph=photograph,
        photograph_mm_per_pixel=mm_per_pixel,
        entry=name,
        look=_look(row, looks),
        side=row.choice("side", Side, tuple(Side)) if row.cells.get("side", "") else None,
    )


def _look(row: Row, looks: dict[str, SheetLook]) -> str:
    name = row.cells.get("look", "")
    if not name:
        return ""
    if name not in looks:
        raise row.refuse(
            "look",
            rule="the look must be listed in looks.csv",
            mend="Correct the name, or add it; empty means the sheet's first look.",
        )
    if looks[name].sheet != row.cells["sheet"]:
        raise row.refuse(
            "look", rule=f"the look is at {looks[name].sheet}, by looks.csv", mend="Correct the look or the sheet."
        )
    return name


def _place(row: Row, sheet: Sheet) -> Place:
    extent = sheet.extent
    place = Place(along_m=extent.along_from_m + float(row.length("along").m), across_mm=float(row.length("across").mm))
    if not extent.contains(place):
        size = f"{extent.length_m * 1000:g} mm long and {extent.width_mm:g} mm wide"
        column = "across" if extent.along_from_m <= place.along_m < extent.along_to_m else "along"
        raise row.refuse(column, rule=f"the place must lie on the sheet, {size}", mend="Measure it again.")
    return place


def _size(row: Row) -> float:
    size_mm = float(row.length("size").mm)
    if not size_mm > 0:
        raise row.refuse("size", rule="must be greater than 0", mend="Measure it again.")
    return size_mm


def _magnification(row: Row) -> float | None:
    if not row.cells.get("magnification", ""):
        return None
    value = row.number("magnification")
    if not 0.0 < value <= _MOST_MAGNIFICATION:
        raise row.refuse("magnification", rule="greater than 0 and at most 1000", mend="Write 7 for a 7 times loupe.")
    return value


def _density(row: Row) -> DensityChange | None:
    """Measured densities of the mark less its surround's: all three and how well they repeat, or none."""
    columns = (*_DENSITIES, "density_uncertainty")
    if not any(row.cells.get(column, "") for column in columns):
        return None
    *density, uncertainty = (row.number(column) for column in columns)
    for column, value in zip(_DENSITIES, density, strict=True):
        if not abs(value) <= _MOST_DENSITY:
            raise row.refuse(column, rule=f"between −{_MOST_DENSITY:g} and {_MOST_DENSITY:g}", mend="Measure it again.")
    if not 0.0 < uncertainty <= _MOST_DENSITY:
        raise row.refuse("density_uncertainty", rule="must be greater than 0", mend="Say how well the readings repeat.")
    return density_change(density, uncertainty)


def _photograph(row: Row) -> tuple[str, float | None]:
    """The name of a file beside the table, and millimetres of film in a pixel."""
    name = row.cells.get("photograph", "")
    if not name:
        if row.cells.get("photograph_scale", ""):
            raise row.refuse("photograph", rule="a scale needs its photograph", mend="Name the file, or empty both.")
        return "", None
    if not _PLAIN_NAME.fullmatch(name) or not (row.path.parent / name).is_file():
        raise row.refuse(
            "photograph", rule="must be the name of a file beside sightings.csv", mend="Correct it, or add the file."
        )
    scale = row.length("photograph_scale")
    if not scale.mm > 0:
        raise row.refuse("photograph_scale", rule="must be greater than 0", mend="Give the film's length in a pixel.")
    return name, float(scale.mm)
