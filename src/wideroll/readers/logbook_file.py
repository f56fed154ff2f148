"""logbook.csv of a plant: what happened on the line besides what other files tell."""

from pathlib import Path
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.days import iso_moment
from wideroll.workflow.line_events import LineEvent

__all__ = ["LOGBOOK", "read_logbook"]

LOGBOOK: Final = "logbook.csv"


def read_logbook(path: Path) -> tuple[LineEvent, ...]:
    """What was noted, line after line in any order; nothing without the file.

    Raises:
        InputError: naming the line and column.
    """
    if not path.is_file():
        return ()
    rows = read_table(path, needed=("on", "kind", "what"), allowed=("note",), may_be_empty=True)
    return tuple(LineEvent(on=_on(row), kind=row.text("kind").lower(), name=row.text("what")) for row in rows)


def _on(row: Row) -> str:
    try:
        return iso_moment(row.text("on"))
    except ArgumentError as error:
        raise row.refuse("on", rule=error.rule, mend=error.mend) from error
