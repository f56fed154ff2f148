"""cleanings.csv of a plant: which roller was cleaned when."""

from collections.abc import Collection
from pathlib import Path

from wideroll.errors import ArgumentError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.days import iso_moment
from wideroll.repeats import Cleaning, When
from wideroll.workflow.moments import when

__all__ = ["read_cleanings"]


def read_cleanings(path: Path, rollers: Collection[str]) -> tuple[Cleaning, ...]:
    """The cleanings, line after line in any order; none without the file.

    Args:
        path: of the table.
        rollers: names in plant.toml.

    Raises:
        InputError: naming the line and column; also when a roller isn't in plant.toml, or a line is there twice.
    """
    if not path.is_file():
        return ()
    found: list[Cleaning] = []
    for row in read_table(path, needed=("roller", "on"), allowed=("note",), may_be_empty=True):
        one = Cleaning(roller=_roller(row, rollers), on=_when(row), note=row.cells.get("note", ""))
        if any((one.roller, one.on) == (other.roller, other.on) for other in found):
            raise row.refuse("on", rule="each cleaning is listed once", mend="Remove one of the lines, or give times.")
        found.append(one)
    return tuple(found)


def _roller(row: Row, rollers: Collection[str]) -> str:
    name = row.text("roller")
    if name not in rollers:
        known = ", ".join(rollers) or "none"
        raise row.refuse(
            "roller", rule=f"must be one of plant.toml's rollers: {known}", mend="Correct its name, or add the roller."
        )
    return name


def _when(row: Row) -> When:
    try:
        return when(iso_moment(row.text("on")))
    except ArgumentError as error:
        raise row.refuse("on", rule=error.rule, mend=error.mend) from error
