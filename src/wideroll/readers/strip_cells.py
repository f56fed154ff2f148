"""Cells of strip readings that a plant's files and a bare file have in common: steps and densities."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row
from wideroll.sensitometry import Floats, Record

__all__ = [
    "NUMBER_COLUMNS",
    "RECORD_NAMES",
    "PlacedRow",
    "check_decimal_signs",
    "check_same_throughout",
    "densities_of",
    "density_in",
    "rows_by_step",
    "rows_by_strip",
]

RECORD_NAMES: Final = tuple(record.value for record in Record)
NUMBER_COLUMNS: Final = ("log_h", "step_density", *RECORD_NAMES)
"""Columns whose cells may have a decimal sign."""
_LEAST_DENSITY: Final = -0.5
_MOST_DENSITY: Final = 6.0
"""No densitometer in use reads more; a greater number is a slip of the decimal point (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedRow(Row):
    """The readings at one step, whose cells the file holds elsewhere than in a row under these names."""

    places: Mapping[str, str] = field(default_factory=dict)
    """Where the file has a cell, like ``line 3, column red_7``; a cell that isn't here has its own name and line."""

    def where(self, column: str) -> str:
        """File and place of the cell, for an error."""
        return f"{self.path}, {self.places.get(column, f'line {self.line}, column {column}')}"


def rows_by_strip(rows: Sequence[Row], *, default: str) -> dict[str, list[Row]]:
    """The rows of each strip, in the order of the file."""
    groups: dict[str, list[Row]] = {}
    for row in rows:
        name = row.text("strip") if "strip" in row.cells else default
        groups.setdefault(name, []).append(row)
    return groups


def rows_by_step(rows: Sequence[Row], log_h_of_step: Floats) -> tuple[Floats, list[Row]]:
    """Log H ascending with the rows in that order; each step of the tablet exactly once."""
    found: dict[int, Row] = {}
    for row in rows:
        step = row.whole("step")
        if not 1 <= step <= len(log_h_of_step):
            raise row.refuse("step", rule=f"the tablet has steps 1 to {len(log_h_of_step)}", mend="Correct the step.")
        if step in found:
            raise row.refuse(
                "step",
                rule=f"each step of a strip is read once; line {found[step].line} has it too",
                mend="Remove one of the two lines.",
            )
        found[step] = row
    missing = [step for step in range(1, len(log_h_of_step) + 1) if step not in found]
    if missing:
        name = rows[0].cells.get("strip", "")
        raise InputError(
            where=f"{rows[0].path}, strip {name or rows[0].path.stem}",
            rule=f"must have a reading for each of the tablet's {len(log_h_of_step)} steps",
            value=f"no step {', '.join(map(str, missing))}",
            mend="Read the step, or add its line with - in place of the densities.",
        )
    order = np.argsort(log_h_of_step, kind="stable")
    return log_h_of_step[order], [found[int(index) + 1] for index in order]


def densities_of(rows: Sequence[Row]) -> Mapping[Record, Floats]:
    """Densities (n,) of each record that has a column, NaN where a step wasn't read."""
    densities: dict[Record, Floats] = {}
    for record in Record:
        if record.value not in rows[0].cells:
            continue
        densities[record] = np.array([density_in(row, record.value) for row in rows])
    if not densities:
        raise InputError(
            where=f"{rows[0].path}, header",
            rule=f"must have at least one of the columns {', '.join(RECORD_NAMES)}",
            mend="Name the densitometer's channel in the header.",
        )
    return densities


def check_decimal_signs(rows: Iterable[Row]) -> None:
    """Refuse a file with decimal points in some numbers and decimal commas in others: one of them means thousands.

    Raises:
        InputError: naming the first cell whose sign is another than that of the cells before it.
    """
    first = ""
    for row in rows:
        for column in NUMBER_COLUMNS:
            cell = row.cells.get(column, "")
            sign = next((sign for sign in ".," if sign in cell), "")
            if sign and first and sign != first:
                used = "points" if first == "." else "commas"
                raise row.refuse(
                    column,
                    rule=f"one decimal sign in all of the file; the numbers before it have {used}",
                    mend="Write all numbers with the same decimal sign, none with a sign for thousands.",
                )
            first = first or sign


def check_same_throughout(rows: Sequence[Row], column: str) -> None:
    """Refuse rows of one strip that don't agree in a cell.

    Raises:
        InputError: naming the first cell that differs.
    """
    for row in rows[1:]:
        if row.cells.get(column, "") != rows[0].cells.get(column, ""):
            raise row.refuse(
                column,
                rule=f"a strip has one {column}; line {rows[0].line} says {rows[0].cells[column]!r}",
                mend="Write the same in all of its lines.",
            )


def density_in(row: Row, column: str) -> float:
    """A density, NaN where none was read.

    Raises:
        InputError: when it is no number, or one that no densitometer gives.
    """
    value = row.number(column)
    if not math.isnan(value) and not _LEAST_DENSITY < value <= _MOST_DENSITY:
        raise row.refuse(column, rule=f"a density lies between 0 and {_MOST_DENSITY:g}", mend="Read the patch again.")
    return value
