"""The sample sheets of a roll."""

from pathlib import Path

from wideroll.examination import Sheet
from wideroll.readers.csv_tables import read_table
from wideroll.roll import Extent

__all__ = ["read_sheets"]


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
