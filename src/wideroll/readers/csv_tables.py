"""CSV tables whose cells are read with file, line and column at hand for the error."""

import csv
import io
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeVar

from wideroll.errors import InputError
from wideroll.readers.fields import MOST_MM
from wideroll.readers.toml_files import read_text
from wideroll.roll import Length, parse_length

__all__ = ["Row", "read_table", "split_lines"]

Value = TypeVar("Value")
NOT_READ: Final = "-"
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
"""Python's own reading would take 0_1 for 1."""
_WHOLE: Final = re.compile(r"[0-9]{1,9}")
_YES_NO: Final = {"yes": True, "no": False, "": None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of a table."""

    path: Path
    line: int
    cells: dict[str, str]

    def where(self, column: str) -> str:
        """File, line and column, for an error."""
        return f"{self.path}, line {self.line}, column {column}"

    def refuse(self, column: str, *, rule: str, mend: str) -> InputError:
        """The error for a cell."""
        return InputError(where=self.where(column), rule=rule, value=self.cells.get(column, ""), mend=mend)

    def text(self, column: str) -> str:
        """A cell that must not be empty."""
        cell = self.cells.get(column, "")
        if not cell:
            raise self.refuse(column, rule="the cell must not be empty", mend="Fill it in.")
        return cell

    def number(self, column: str) -> float:
        """A finite number with decimal point or comma; ``-`` (not read) is NaN."""
        cell = self.text(column)
        if cell == NOT_READ:
            return math.nan
        plain = cell.replace("−", "-")
        value = float(plain.replace(",", ".")) if _NUMBER.fullmatch(plain) else math.nan
        if not math.isfinite(value):
            raise self.refuse(column, rule="must be a number", mend="Correct it, or write - where nothing was read.")
        return value

    def whole(self, column: str) -> int:
        """A whole number."""
        cell = self.text(column)
        if not _WHOLE.fullmatch(cell):
            raise self.refuse(column, rule="must be a whole number", mend="Correct it.")
        return int(cell)

    def length(self, column: str) -> Length:
        """A length with its unit."""
        length = parse_length(self.text(column), where=self.where(column))
        if abs(length.mm) > MOST_MM:
            raise self.refuse(column, rule="must be less than 1000 km", mend="Check its unit.")
        return length

    def answer(self, column: str) -> bool | None:
        """Yes, no, or nothing said."""
        return self.choice(column, _YES_NO.__getitem__, tuple(_YES_NO), default="")

    def choice(
        self, column: str, make: Callable[[str], Value], known: Sequence[str], *, default: str | None = None
    ) -> Value:
        """One of a few words; an empty cell is ``default`` where there is one."""
        cell = self.cells.get(column, "").lower() or default
        if cell is None or cell not in known:
            words = ", ".join(word or "empty" for word in known)
            raise self.refuse(column, rule=f"must be one of {words}", mend="Write one of these words.")
        return make(cell)


def read_table(
    path: Path, *, needed: Sequence[str], allowed: Sequence[str] = (), may_be_empty: bool = False
) -> list[Row]:
    """The rows of a table with a header line; separated by comma, semicolon or tab, whichever the header has.

    A line that starts with ``#`` is a remark. Lines without anything in their cells are left out.

    Raises:
        InputError: when a needed column is missing, an unknown one is there, a line has more or fewer cells than the
            header, or there are no rows though there must be.
    """
    _, lines = split_lines(path, read_text(path))
    header_line, header = next(lines)
    names = [cell.lower() for cell in header]
    _check_header(path, header_line, names, needed=needed, allowed=allowed)
    rows: list[Row] = []
    for number, cells in lines:
        if not any(cells):
            continue
        if len(cells) != len(names):
            raise InputError(
                where=f"{path}, line {number}",
                rule=f"must have {len(names)} cells like the header",
                value=f"{len(cells)} cells",
                mend="Check the separators; a cell with a comma in it needs quotes.",
            )
        rows.append(Row(path=path, line=number, cells=dict(zip(names, cells, strict=True))))
    if not rows and not may_be_empty:
        raise InputError(where=str(path), rule="the table must have rows below its header", mend="Add them.")
    return rows


def split_lines(path: Path, text: str, *, delimiter: str = "") -> tuple[str, Iterator[tuple[int, list[str]]]]:
    """The separator, that of the first line unless given, and each line that isn't a remark: its number and its cells.

    Raises:
        InputError: when there is no line, or (while they are read) one isn't CSV.
    """
    numbered = [(n, line) for n, line in enumerate(text.split("\n"), 1) if _holds_data(line)]
    if not numbered:
        raise InputError(where=str(path), rule="the table must have a header and rows", mend="Add them.")
    delimiter = delimiter or max(";\t,", key=numbered[0][1].count)
    return delimiter, _split(path, numbered, delimiter)


def _split(path: Path, numbered: list[tuple[int, str]], delimiter: str) -> Iterator[tuple[int, list[str]]]:
    for number, text in numbered:
        try:
            cells = next(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
        except csv.Error as error:
            raise InputError(
                where=f"{path}, line {number}",
                rule="the line must be CSV",
                value=str(error),
                mend="Check its quotes; no cell may hold a line break.",
            ) from error
        yield number, [cell.strip() for cell in cells]


def _holds_data(text: str) -> bool:
    return bool(text.strip()) and not text.startswith("#")


def _check_header(path: Path, line: int, names: list[str], *, needed: Sequence[str], allowed: Sequence[str]) -> None:
    where = f"{path}, line {line}"
    missing = [name for name in needed if name not in names]
    if missing:
        raise InputError(
            where=where,
            rule=f"the header must have the columns {', '.join(needed)}",
            value=f"no {', '.join(missing)}",
            mend="Add the column; docs/reference/files.md shows an example.",
        )
    known = {*needed, *allowed}
    for name in names:
        if name not in known or names.count(name) > 1:
            rule = "each column once" if name in known else f"the columns are {', '.join([*needed, *allowed])}"
            raise InputError(where=where, rule=rule, value=name, mend="Remove or rename the column.")
