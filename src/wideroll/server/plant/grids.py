"""Tables of plain values in the shape that the pages' macro and CSV take."""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeAlias

from wideroll.server.people.data import comma_lines

__all__ = ["Grid", "cell", "grid", "grid_lines", "grid_records"]

Grid: TypeAlias = dict[str, Any]
"""A table: ``caption``, ``columns``, ``rows`` of cells, ``empty``, ``left_out`` and ``foot``."""


def cell(text: object, *, note: str = "", tone: str = "", link: str = "") -> dict[str, str]:
    """A cell.

    Example:
        >>> cell(80.0)["text"]
        '80'
    """
    shown = f"{text:.9g}" if isinstance(text, float) else str(text)
    return {"text": shown, "note": note, "tone": tone, "link": link}


def grid(caption: str, heads: Sequence[str], rows: Iterable[Sequence[object]], *, empty: str = "") -> Grid:
    """A table.

    Args:
        caption: above it; without rows only what comes before its first colon or semicolon.
        heads: of the columns; one that begins with ``#`` is of numbers, with ``!`` isn't broken.
        rows: of cells, or of what cells show.
        empty: what stands there without rows.
    """
    made = [[one if isinstance(one, dict) else cell(one) for one in row] for row in rows]
    return {
        "caption": caption if made else re.split(r"[:;]", caption)[0],
        "columns": [
            {"head": head.lstrip("#!"), "number": head.startswith("#"), "keep": head.startswith("!")} for head in heads
        ],
        "rows": made,
        "empty": empty,
        "left_out": 0,
        "foot": [],
    }


def grid_lines(table: Grid) -> str:
    """A table as CSV; notes in a column's own brackets."""
    heads = [column["head"] for column in table["columns"]]
    return comma_lines([dict(zip(heads, _texts(row), strict=True)) for row in table["rows"]], heads)


def grid_records(table: Grid) -> list[dict[str, str]]:
    """A table for machines: a record a row, by the heads of the columns."""
    return list(csv.DictReader(io.StringIO(grid_lines(table))))


def _texts(row: Iterable[Mapping[str, str]]) -> list[str]:
    return [" ".join(filter(None, (one["text"], one["note"] and f"({one['note']})"))) for one in row]
