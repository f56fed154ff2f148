"""Further looks at the sample sheets of a roll."""

from pathlib import Path
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.examination import Sheet, SheetLook
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.days import iso_day

__all__ = ["read_looks"]

_NEEDED: Final = ("look", "sheet", "examiner", "blind")
_BLIND: Final = {"yes": True, "no": False}


def read_looks(folder: Path, sheets: tuple[Sheet, ...]) -> tuple[SheetLook, ...]:
    """``looks.csv``; none where there is no such file.

    Raises:
        InputError: naming the line and column; also when a look is listed twice or its sheet isn't listed.
    """
    path = folder / "looks.csv"
    if not path.is_file():
        return ()
    known = {sheet.name for sheet in sheets}
    looks: dict[str, SheetLook] = {}
    for row in read_table(path, needed=_NEEDED, allowed=("on",), may_be_empty=True):
        look = _look(row, known)
        if look.name in looks:
            raise row.refuse("look", rule="each look is listed once, at one sheet", mend="Give it another name.")
        looks[look.name] = look
    return tuple(looks.values())


def _look(row: Row, sheets: set[str]) -> SheetLook:
    sheet = row.text("sheet")
    if sheet not in sheets:
        raise row.refuse("sheet", rule="the sheet must be listed in sheets.csv", mend="Correct the name, or add it.")
    return SheetLook(
        name=row.text("look"),
        sheet=sheet,
        examiner=row.text("examiner"),
        on=_day(row, "on"),
        blind=row.choice("blind", _BLIND.__getitem__, tuple(_BLIND)),
    )


def _day(row: Row, column: str) -> str:
    cell = row.cells.get(column, "")
    try:
        return iso_day(cell) if cell else ""
    except ArgumentError as error:
        raise row.refuse(column, rule=error.rule, mend=error.mend) from error
