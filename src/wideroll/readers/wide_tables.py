"""Layouts of a table of strip readings, each turned into one row a strip and step."""

import re
from collections.abc import Iterator, Sequence
from enum import StrEnum
from typing import Final

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row
from wideroll.readers.pasted import CellTable
from wideroll.readers.strip_cells import RECORD_NAMES, PlacedRow, check_same_throughout, rows_by_strip

__all__ = ["BASES", "Layout", "long_rows"]

BASES: Final = ("step", "step_density", "log_h")
"""Columns that say how a reading was exposed."""
_ABOUT: Final = ("strip", "kind", "run")
_RECORD: Final = "|".join(RECORD_NAMES)
_RECORD_AND_STEP: Final = re.compile(rf"({_RECORD})_([0-9]{{1,3}})")
_STRIP_AND_RECORD: Final = re.compile(rf"(.+) ({_RECORD})", re.IGNORECASE)
_STEP: Final = re.compile(r"[0-9]{1,3}")


class Layout(StrEnum):
    """What a line of the table is."""

    LONG = "a line for each step of each strip"
    STRIPS_ABREAST = "a line for each step, strips side by side"
    LINE_PER_STRIP = "a line for each strip"
    LINE_PER_RECORD = "a line for each record of each strip"


_ALLOWED: Final = {
    Layout.LONG: {*_ABOUT, *BASES},
    Layout.STRIPS_ABREAST: {*BASES},
    Layout.LINE_PER_STRIP: {*_ABOUT},
    Layout.LINE_PER_RECORD: {*_ABOUT, "record"},
}


def long_rows(table: CellTable) -> tuple[Layout, list[Row]]:
    """The layout that the names of the columns give away, and a row for each strip and step in that of ``LONG``.

    Rows have the cells strip, kind, run, step, step_density, log_h and records, as far as the table has them.

    Raises:
        InputError: when a column isn't known, or columns of two layouts are there.
    """
    layout = _layout(table)
    _check_columns(table, layout)
    rows = [
        Row(path=table.path, line=number, cells=dict(zip((n.lower() for n in table.names), cells, strict=True)))
        for number, cells in table.lines
    ]
    match layout:
        case Layout.LONG:
            return layout, rows
        case Layout.STRIPS_ABREAST:
            return layout, list(_strips_abreast(table))
        case Layout.LINE_PER_STRIP:
            return layout, list(_line_per_strip(table, rows))
        case Layout.LINE_PER_RECORD:
            return layout, list(_line_per_record(table, rows))


def _layout_of(name: str) -> Layout | None:
    if name.lower() in RECORD_NAMES:
        return Layout.LONG
    if _RECORD_AND_STEP.fullmatch(name.lower()):
        return Layout.LINE_PER_STRIP
    if _STEP.fullmatch(name):
        return Layout.LINE_PER_RECORD
    return Layout.STRIPS_ABREAST if _STRIP_AND_RECORD.fullmatch(name) else None


def _layout(table: CellTable) -> Layout:
    """Columns of densities belong to one layout only; a table with two could be read in two ways."""
    found: dict[Layout, str] = {}
    for name in table.names:
        layout = _layout_of(name)
        if layout is not None:
            found.setdefault(layout, name)
    if len(found) > 1:
        raise InputError(
            where=f"{table.path}, {table.header}",
            rule="all columns of densities must be of one layout",
            value=" and ".join(found.values()),
            mend="Keep one of them; docs/reference/files.md shows the layouts.",
        )
    return next(iter(found), Layout.LONG)


def _check_columns(table: CellTable, layout: Layout) -> None:
    where = f"{table.path}, {table.header}"
    lower = [name.lower() for name in table.names]
    for name, plain in zip(table.names, lower, strict=True):
        if plain not in _ALLOWED[layout] and _layout_of(name) is None:
            known = ", ".join([*(c for c in (*_ABOUT, "record", *BASES) if c in _ALLOWED[layout]), "densities"])
            raise InputError(
                where=where,
                rule=f"a table with {layout} has the columns {known}",
                value=name,
                mend="Remove or rename the column; docs/reference/files.md shows the layouts.",
            )
    if layout is Layout.LINE_PER_RECORD and "record" not in lower:
        raise InputError(
            where=where,
            rule="a table with steps as columns must have a column record",
            value=", ".join(table.names),
            mend=f"Say which record each line is: {', '.join(RECORD_NAMES)}.",
        )


def _strips_abreast(table: CellTable) -> Iterator[Row]:
    columns: dict[str, dict[str, int]] = {}
    for place, name in enumerate(table.names):
        found = _STRIP_AND_RECORD.fullmatch(name)
        if found:
            columns.setdefault(found[1].strip(), {})[found[2].lower()] = place
    bases = {name.lower(): place for place, name in enumerate(table.names) if name.lower() in BASES}
    for number, cells in table.lines:
        shared = {base: cells[place] for base, place in bases.items()}
        for strip, own in columns.items():
            yield PlacedRow(
                path=table.path,
                line=number,
                cells={"strip": strip, **shared, **{record: cells[place] for record, place in own.items()}},
                places={record: f"line {number}, column {table.names[place]}" for record, place in own.items()},
            )


def _line_per_strip(table: CellTable, rows: Sequence[Row]) -> Iterator[Row]:
    columns: dict[int, dict[str, str]] = {}
    for name in table.names:
        found = _RECORD_AND_STEP.fullmatch(name.lower())
        if found:
            here = columns.setdefault(int(found[2]), {})
            if found[1] in here:
                where = f"{table.path}, {table.header}"
                raise InputError(where=where, rule="each step once", value=name, mend="Remove or rename the column.")
            here[found[1]] = name
    records = dict.fromkeys(record for own in columns.values() for record in own)
    for step, own in columns.items():
        for record in records:
            if record not in own:
                raise InputError(
                    where=f"{table.path}, {table.header}",
                    rule="each record must have the same steps",
                    value=f"no {record}_{step}",
                    mend="Add the column, with - where nothing was read.",
                )
    for own_rows in rows_by_strip(rows, default="").values():
        row = _only(own_rows, "each strip has one line")
        for step, names in columns.items():
            yield PlacedRow(
                path=row.path,
                line=row.line,
                cells=_about(row, step) | {r: row.cells[name.lower()] for r, name in names.items()},
                places={
                    "step": f"{table.header}, column {next(iter(names.values()))}",
                    **{record: f"line {row.line}, column {name}" for record, name in names.items()},
                },
            )


def _line_per_record(table: CellTable, rows: Sequence[Row]) -> Iterator[Row]:
    steps = [name for name in table.names if _STEP.fullmatch(name)]
    if len({int(name) for name in steps}) < len(steps):
        where = f"{table.path}, {table.header}"
        raise InputError(
            where=where, rule="each step once", value=", ".join(steps), mend="Remove or rename the column."
        )
    for own in rows_by_strip(rows, default="").values():
        for column in ("kind", "run"):
            check_same_throughout(own, column)
        lines: dict[str, list[Row]] = {}
        for row in own:
            lines.setdefault(row.choice("record", str, RECORD_NAMES), []).append(row)
        single = {record: _only(found, f"a strip has one line of {record}") for record, found in lines.items()}
        for name in steps:
            yield PlacedRow(
                path=table.path,
                line=own[0].line,
                cells=_about(own[0], int(name)) | {r: row.cells[name] for r, row in single.items()},
                places={
                    "step": f"{table.header}, column {name}",
                    **{record: f"line {row.line}, column {name}" for record, row in single.items()},
                },
            )


def _about(row: Row, step: int) -> dict[str, str]:
    """What is the same for all steps of a strip, and the step; without a column of strips there is no name."""
    cells: dict[str, str] = {column: row.cells[column] for column in _ABOUT if column in row.cells}
    return {"step": str(step), **cells}


def _only(rows: Sequence[Row], rule: str) -> Row:
    if len(rows) > 1:
        raise rows[1].refuse(
            "strip", rule=f"{rule}; line {rows[0].line} has it too", mend="Name the strips, or remove one of the lines."
        )
    return rows[0]
