"""Cells of strip readings that a plant's files and a bare file have in common: steps and densities."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row
from wideroll.sensitometry import Floats, Record

__all__ = ["RECORD_NAMES", "densities_of", "rows_by_step", "rows_by_strip"]

RECORD_NAMES: Final = tuple(record.value for record in Record)
_LEAST_DENSITY: Final = -0.5
_MOST_DENSITY: Final = 6.0
"""No densitometer in use reads more; a greater number is a slip of the decimal point (common practice)."""


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
        densities[record] = np.array([_density(row, record.value) for row in rows])
    if not densities:
        raise InputError(
            where=f"{rows[0].path}, header",
            rule=f"must have at least one of the columns {', '.join(RECORD_NAMES)}",
            mend="Name the densitometer's channel in the header.",
        )
    return densities


def _density(row: Row, column: str) -> float:
    value = row.number(column)
    if not math.isnan(value) and not _LEAST_DENSITY < value <= _MOST_DENSITY:
        raise row.refuse(column, rule=f"a density lies between 0 and {_MOST_DENSITY:g}", mend="Read the patch again.")
    return value
