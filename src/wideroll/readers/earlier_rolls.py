"""earlier.csv of a plant: what was measured of rolls from before its record."""

import math
from pathlib import Path
from typing import Final

from wideroll.control import RollValue
from wideroll.errors import ArgumentError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.days import iso_moment

__all__ = ["EARLIER", "read_earlier"]

EARLIER: Final = "earlier.csv"
_NEEDED: Final = ("roll", "product", "coated", "quantity", "unit", "value")
_ALLOWED: Final = ("line", "batch", "record", "part", "area_m2")


def read_earlier(path: Path, line: str) -> tuple[RollValue, ...]:
    """The values, line after line in any order; none without the file.

    Args:
        path: of the table.
        line: the plant's, which rolls were coated on whose cell is empty.

    Raises:
        InputError: naming the line and column; also when a value is there twice, or two lines differ in what a roll is.
    """
    if not path.is_file():
        return ()
    found: dict[tuple[str, ...], RollValue] = {}
    rolls: dict[str, tuple[str, ...]] = {}
    for row in read_table(path, needed=_NEEDED, allowed=_ALLOWED, may_be_empty=True):
        one = _value(row, line)
        key = (one.roll, one.quantity, one.record, one.part)
        if key in found:
            raise row.refuse("quantity", rule="each quantity of a roll is listed once", mend="Remove one of the lines.")
        what = (one.product, one.line, one.coated, one.batch)
        if rolls.setdefault(one.roll, what) != what:
            raise row.refuse(
                "roll",
                rule="all lines of a roll give the same product, line, time of coating and batch",
                mend="Correct the line that differs.",
            )
        found[key] = one
    return tuple(found.values())


def _value(row: Row, line: str) -> RollValue:
    value = row.number("value")
    return RollValue(
        roll=row.text("roll"),
        product=row.text("product"),
        line=row.cells.get("line", "") or line,
        coated=_coated(row),
        batch=row.cells.get("batch", ""),
        quantity=row.text("quantity"),
        record=row.cells.get("record", ""),
        part=row.cells.get("part", ""),
        unit=row.text("unit"),
        value=None if math.isnan(value) else value,
        area_m2=_area(row, value),
    )


def _coated(row: Row) -> str:
    try:
        return iso_moment(row.text("coated"))
    except ArgumentError as error:
        raise row.refuse("coated", rule=error.rule, mend=error.mend) from error


def _area(row: Row, value: float) -> float | None:
    if not row.cells.get("area_m2", ""):
        return None
    area = row.number("area_m2")
    if not area > 0.0:
        raise row.refuse("area_m2", rule="must be greater than 0", mend="Leave it empty where nothing was counted.")
    if value < 0.0 or value != math.floor(value):
        raise row.refuse("value", rule="what is counted on an area is a whole number, 0 or more", mend="Correct it.")
    return area
