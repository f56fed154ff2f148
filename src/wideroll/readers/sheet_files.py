"""Sample sheets and the sightings on them."""

from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.examination import FilterColour, Seen, Sheet, Sighting
from wideroll.readers.csv_tables import Row, read_table
from wideroll.roll import MARK_KINDS, Extent, MarkKind, Place

__all__ = ["read_sheets", "read_sightings"]

_SEEN: Final = tuple(seen.value for seen in Seen)
_COLOURS: Final = tuple(colour.value for colour in FilterColour)
_SIGHTING_EXTRAS: Final = (*_COLOURS, "grade", "embedded", "wipes_off", "metallic", "note")


def read_sheets(folder: Path, whole: Extent) -> tuple[Sheet, ...]:
    """``sheets.csv``: sheets cut across the whole web; none when the folder isn't there.

    Raises:
        InputError: naming the line and column; also when a sheet lies outside the roll.
    """
    path = folder / "sheets.csv"
    if not folder.is_dir():
        return ()
    sheets: dict[str, Sheet] = {}
    for row in read_table(path, needed=("sheet", "along_from", "along_to", "examiner")):
        name = row.text("sheet")
        if name in sheets:
            raise row.refuse("sheet", rule="each sheet is listed once", mend="Remove one of the lines.")
        start, end = float(row.length("along_from").m), float(row.length("along_to").m)
        if not whole.along_from_m <= start < end <= whole.along_to_m:
            raise row.refuse(
                "along_to",
                rule=f"a sheet lies inside the roll (0 to {whole.along_to_m:g} m) and ends after it starts",
                mend="Correct along_from and along_to.",
            )
        extent = Extent(
            along_from_m=start,
            along_to_m=end,
            across_from_mm=whole.across_from_mm,
            across_to_mm=whole.across_to_mm,
        )
        sheets[name] = Sheet(name=name, extent=extent, examiner=row.text("examiner"))
    return tuple(sheets.values())


def read_sightings(folder: Path, sheets: tuple[Sheet, ...]) -> tuple[Sighting, ...]:
    """``sightings.csv``; ``along`` is measured on the sheet from its edge nearest the roll's head.

    A file with no rows below its header says that nothing was seen on the sheets; without the file nobody has said so.

    Raises:
        InputError: when there are sheets and no file; naming the line and column; also when a sheet isn't listed or a
            place lies off it.
    """
    path = folder / "sightings.csv"
    if not sheets and not path.is_file():
        return ()
    if not path.is_file():
        raise InputError(
            where=str(path),
            rule="sheets that were examined need a table of sightings",
            mend="Write what was seen; the header alone says that nothing was.",
        )
    by_name = {sheet.name: sheet for sheet in sheets}
    rows = read_table(
        path, needed=("sheet", "kind", "along", "across", "size"), allowed=_SIGHTING_EXTRAS, may_be_empty=True
    )
    return tuple(_sighting(row, by_name) for row in rows)


def _sighting(row: Row, sheets: dict[str, Sheet]) -> Sighting:
    name = row.text("sheet")
    if name not in sheets:
        raise row.refuse("sheet", rule="the sheet must be listed in sheets.csv", mend="Correct the name, or add it.")
    extent = sheets[name].extent
    place = Place(along_m=extent.along_from_m + float(row.length("along").m), across_mm=float(row.length("across").mm))
    if not extent.contains(place):
        size = f"{extent.length_m * 1000:g} mm long and {extent.width_mm:g} mm wide"
        column = "across" if extent.along_from_m <= place.along_m < extent.along_to_m else "along"
        raise row.refuse(column, rule=f"the place must lie on the sheet, {size}", mend="Measure it again.")
    size_mm = float(row.length("size").mm)
    if not size_mm > 0:
        raise row.refuse("size", rule="must be greater than 0", mend="Measure it again.")
    through = {
        FilterColour(colour): row.choice(colour, Seen, _SEEN) for colour in _COLOURS if row.cells.get(colour, "")
    }
    return Sighting(
        sheet=name,
        kind=row.choice("kind", MarkKind, MARK_KINDS),
        place=place,
        size_mm=size_mm,
        grade=row.cells.get("grade", ""),
        through=through,
        embedded=row.answer("embedded"),
        wipes_off=row.answer("wipes_off"),
        metallic=bool(row.answer("metallic")),
        note=row.cells.get("note", ""),
    )
