"""The sample sheets of a roll."""

from pathlib import Path
from typing import Final

from wideroll.examination import Sheet
from wideroll.readers.csv_tables import Row, read_table
from wideroll.roll import Extent

__all__ = ["read_sheets"]

_NEEDED: Final = ("sheet", "along_from", "along_to", "examiner")
_EXTRAS: Final = ("taken", "across_from", "across_to")
_TAKEN: Final = {"drawn": True, "chosen": False, "": True}


def read_sheets(folder: Path, whole: Extent) -> tuple[Sheet, ...]:
    """``sheets.csv``: sheets cut across the web, or a part of its width; none when the folder isn't there.

    Raises:
        InputError: naming the line and column; also when a sheet lies outside the roll.
    """
    path = folder / "sheets.csv"
    if not folder.is_dir():
        return ()
    sheets: dict[str, Sheet] = {}
    for row in read_table(path, needed=_NEEDED, allowed=_EXTRAS):
        name = row.text("sheet")
        if name in sheets:
            raise row.refuse("sheet", rule="each sheet is listed once", mend="Remove one of the lines.")
        extent = _extent(row, whole)
        for other in sheets.values():
            common = other.extent.meet(extent)
            if common is not None and common.area_m2 > 0.0:
                raise row.refuse(
                    "along_from",
                    rule=f"no two sheets hold the same film; {other.name} does",
                    mend="Measure both again; a further look at a sheet goes into looks.csv.",
                )
        sheets[name] = Sheet(
            name=name,
            extent=extent,
            examiner=row.text("examiner"),
            drawn=row.choice("taken", _TAKEN.__getitem__, tuple(_TAKEN), default=""),
        )
    return tuple(sheets.values())


def _extent(row: Row, whole: Extent) -> Extent:
    start, end = float(row.length("along_from").m), float(row.length("along_to").m)
    if not whole.along_from_m <= start < end <= whole.along_to_m:
        raise row.refuse(
            "along_to",
            rule=f"a sheet lies inside the roll (0 to {whole.along_to_m:g} m) and ends after it starts",
            mend="Correct along_from and along_to.",
        )
    left, right = (
        float(row.length(column).mm) if row.cells.get(column, "") else edge_mm
        for column, edge_mm in (("across_from", whole.across_from_mm), ("across_to", whole.across_to_mm))
    )
    if not whole.across_from_mm <= left < right <= whole.across_to_mm:
        raise row.refuse(
            "across_to" if row.cells.get("across_to", "") else "across_from",
            rule=f"a sheet lies on the web (0 to {whole.across_to_mm:g} mm from the datum edge) and has a width",
            mend="Correct across_from and across_to; both are measured from the datum edge.",
        )
    return Extent(along_from_m=start, along_to_m=end, across_from_mm=left, across_to_mm=right)
