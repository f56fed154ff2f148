"""Strip readings in one file of the user's own."""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.strip_cells import RECORD_NAMES, densities_of, rows_by_step, rows_by_strip
from wideroll.sensitometry import Floats, Strip, StripKind

__all__ = ["read_bare_strips"]


def read_bare_strips(path: Path, *, log_h_of_step: Floats) -> tuple[Strip, ...]:
    """Readings in one file of the user's own.

    Columns: ``step`` or ``log_h``, any of red, green, blue, visual, and ``strip`` when there is more than one.

    Args:
        path: the CSV file.
        log_h_of_step: log10 of exposure in lx·s of steps 1, 2, … (n,), used when the file has ``step``.

    Raises:
        InputError: naming the line and column.
    """
    rows = read_table(path, needed=(), allowed=("strip", "step", "log_h", *RECORD_NAMES))
    columns = rows[0].cells
    if ("step" in columns) == ("log_h" in columns):
        raise InputError(
            where=f"{path}, header",
            rule="must have either a column step or a column log_h",
            mend="Number the steps, or give log10 of each exposure in lx·s.",
        )
    strips: list[Strip] = []
    for name, group in rows_by_strip(rows, default=path.stem).items():
        if "step" in columns:
            log_h, ordered = rows_by_step(group, log_h_of_step)
        else:
            ordered = sorted(group, key=_log_h)
            log_h = np.array([_log_h(row) for row in ordered])
            _check_log_h(ordered, log_h)
        strips.append(
            Strip(name=name, kind=StripKind.CHECK, run="", log_h=log_h, density=densities_of(ordered), place=None)
        )
    return tuple(strips)


def _log_h(row: Row) -> float:
    value = row.number("log_h")
    if math.isnan(value):
        raise row.refuse("log_h", rule="an exposure must be a number", mend="Take the line out, or correct it.")
    return value


def _check_log_h(rows: Sequence[Row], log_h: Floats) -> None:
    for row, here, after in zip(rows[1:], log_h, log_h[1:], strict=False):
        if not after > here:
            raise row.refuse(
                "log_h", rule="each exposure of a strip is given once", mend="Remove one of the two lines."
            )
