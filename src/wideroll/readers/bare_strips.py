"""Strip readings in one file of the user's own: a table in any of its layouts, or ISO 28178 exchange text."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.csv_tables import Row
from wideroll.readers.exchange_text import ExchangeText, is_exchange_text, parse_exchange
from wideroll.readers.pasted import STANDARD_INPUT, read_cells, read_pasted, read_whole
from wideroll.readers.strip_cells import (
    PlacedRow,
    check_decimal_signs,
    check_same_throughout,
    densities_of,
    density_in,
    rows_by_step,
    rows_by_strip,
)
from wideroll.readers.wide_tables import BASES, long_rows
from wideroll.sensitometry import Floats, Strip, StripKind

__all__ = ["BareFile", "read_bare_file", "read_bare_strips"]

_FIELDS: Final = {
    "D_RED": "red",
    "D_GREEN": "green",
    "D_BLUE": "blue",
    "D_VIS": "visual",
    **{name.upper(): name for name in ("strip", "kind", "run", *BASES)},
}
"""Fields of exchange text that are read. Densities are the standard's (from memory); the others are this project's."""
_NOT_NEEDED: Final = (
    "SAMPLE_",
    "BLANK",
    "RGB_",
    "CMYK_",
    "XYZ_",
    "XYY_",
    "LAB_",
    "LCH_",
    "SPECTRAL_",
    "STDEV_",
    "MEAN_",
)
"""How the standard's fields begin that say nothing of a strip (from memory)."""
_LEAST_LOG_H: Final = -10.0
_MOST_LOG_H: Final = 10.0
"""Beyond starlight and beyond any sensitometer (common practice)."""
_MOST_STEPS: Final = 1000
_LONGEST_NAME: Final = 120


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BareFile:
    """The strips of one file, and how they were told from it."""

    strips: tuple[Strip, ...]
    source: str
    """The file's path, or that it was standard input."""
    form: str
    """What a line of the file is, in words."""
    exposed_by: str
    """``step``, ``step_density`` or ``log_h``: what the file says of each exposure."""


def read_bare_strips(path: Path, *, log_h_of_step: Floats) -> tuple[Strip, ...]:
    """The strips of one file that numbers its steps or gives log H; see ``read_bare_file``.

    Args:
        path: the file.
        log_h_of_step: log10 of exposure in lx·s of steps 1, 2, … (n,), used when the file has ``step``.

    Raises:
        InputError: naming the line and column.
    """
    return read_bare_file(path, log_h_of_step=log_h_of_step).strips


def read_bare_file(
    path: Path,
    *,
    log_h_of_step: Floats,
    log_h_clear: float | None = None,
    columns: Sequence[str] = (),
    pasted: BinaryIO | None = None,
) -> BareFile:
    """Readings in one file of the user's own.

    Its form is told from the text alone: exchange text by its sections, a table's layout by the names of its columns.

    Args:
        path: the file.
        log_h_of_step: log10 of exposure in lx·s of steps 1, 2, … (n,), used when the file numbers the steps.
        log_h_clear: log10 of exposure in lx·s without a tablet, needed when the file has the density of each step.
        columns: names of the columns of a table that has no header.
        pasted: read instead of the file.

    Raises:
        InputError: naming the line and column.
    """
    where = path if pasted is None else STANDARD_INPUT
    text = read_whole(path) if pasted is None else read_pasted(pasted)
    if is_exchange_text(text):
        if columns:
            raise InputError(where=str(where), rule="exchange text names its own fields", mend="Leave out --columns.")
        form, rows = "ISO 28178 exchange text", _exchange_rows(parse_exchange(where, text))
    else:
        layout, rows = long_rows(read_cells(where, text, columns=columns))
        form = f"table with {layout}"
    check_decimal_signs(rows)
    exposed_by = _exposed_by(rows[0])
    strips = tuple(
        _strip(name, group, _Exposure(by=exposed_by, of_step=log_h_of_step, clear=log_h_clear))
        for name, group in rows_by_strip(rows, default=where.stem).items()
    )
    return BareFile(strips=strips, source=str(where), form=form, exposed_by=exposed_by)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Exposure:
    by: str
    of_step: Floats
    clear: float | None


def _exposed_by(row: Row) -> str:
    """The one thing that says how each reading was exposed; a measured density goes before the number of its step."""
    found = [base for base in BASES if base in row.cells]
    if found == ["step", "step_density"]:
        found = ["step_density"]
    if len(found) != 1:
        raise InputError(
            where=f"{row.path}, header",
            rule="must have either a column step or a column log_h or a column step_density",
            mend="Number the steps, or give log10 of each exposure in lx·s, or the density of the tablet's step.",
        )
    return found[0]


def _strip(name: str, rows: Sequence[Row], exposure: _Exposure) -> Strip:
    if len(name) > _LONGEST_NAME or not name.isprintable():
        raise rows[0].refuse(
            "strip", rule=f"a name has 1 to {_LONGEST_NAME} printable characters", mend="Give another name."
        )
    for column in ("kind", "run"):
        check_same_throughout(rows, column)
    kind = rows[0].choice("kind", StripKind, tuple(StripKind), default=StripKind.CHECK.value)
    if exposure.by == "step":
        log_h, ordered = rows_by_step(rows, exposure.of_step)
    else:
        log_h, ordered = _rows_by_exposure(rows, exposure)
    density = densities_of(ordered)
    return Strip(name=name, kind=kind, run=rows[0].cells.get("run", ""), log_h=log_h, density=density, place=None)


def _rows_by_exposure(rows: Sequence[Row], exposure: _Exposure) -> tuple[Floats, list[Row]]:
    """Log H ascending with the rows in that order; each exposure, and each number of a step, once."""
    if len(rows) > _MOST_STEPS:
        raise rows[_MOST_STEPS].refuse(
            exposure.by, rule=f"a strip has at most {_MOST_STEPS} readings", mend="Name the strips in a column strip."
        )
    steps: dict[int, Row] = {}
    for row in rows:
        if "step" in row.cells and steps.setdefault(row.whole("step"), row) is not row:
            raise row.refuse("step", rule="each step of a strip is read once", mend="Remove one of the two lines.")
    pairs = sorted(((_log_h(row, exposure), place) for place, row in enumerate(rows)), key=lambda pair: pair[0])
    for (before, _), (here, place) in itertools.pairwise(pairs):
        if not here > before:
            raise rows[place].refuse(
                exposure.by, rule="each exposure of a strip is given once", mend="Remove one of the two lines."
            )
    return np.array([value for value, _ in pairs]), [rows[place] for _, place in pairs]


def _log_h(row: Row, exposure: _Exposure) -> float:
    if exposure.by == "log_h":
        value = row.number("log_h")
    elif exposure.clear is None:
        raise ArgumentError(
            where="log_h_clear",
            rule="must be given for a file with step_density",
            mend="Give log10 of illuminance × time in lx·s.",
        )
    else:
        value = exposure.clear - density_in(row, "step_density")
    if math.isnan(value):
        raise row.refuse(exposure.by, rule="an exposure must be a number", mend="Take the line out, or correct it.")
    if not _LEAST_LOG_H <= value <= _MOST_LOG_H:
        raise row.refuse(
            exposure.by,
            rule=f"log10 of an exposure in lx·s lies between {_LEAST_LOG_H:g} and {_MOST_LOG_H:g}",
            mend="Correct it.",
        )
    return value


def _exchange_rows(exchange: ExchangeText) -> list[Row]:
    """A row for each set; without a field that says how it was exposed, the sample's number is that of its step."""
    names = _names_of_fields(exchange)
    if not set(names) & set(BASES):
        names = ["step" if field == "SAMPLE_ID" else name for name, field in zip(names, exchange.fields, strict=True)]
    _check_samples(exchange)
    if not exchange.sets:
        raise InputError(
            where=str(exchange.path), rule="the data must hold at least one set", mend="Export the file again."
        )
    return [
        PlacedRow(
            path=exchange.path,
            line=number,
            cells={name: value for name, value in zip(names, values, strict=True) if name},
            places={name: f"line {number}, field {f}" for name, f in zip(names, exchange.fields, strict=True) if name},
        )
        for number, values in exchange.sets
    ]


def _names_of_fields(exchange: ExchangeText) -> list[str]:
    """Our name of each field, empty for one that isn't needed."""
    names: list[str] = []
    for name in exchange.fields:
        own = _FIELDS.get(name, "")
        known = own or name in exchange.declared or name.startswith(_NOT_NEEDED)
        if not known or (own and own in names):
            fields = ", ".join(_FIELDS)
            raise InputError(
                where=f"{exchange.path}, line {exchange.format_line}, field {name}",
                rule="each field once" if known else f"the fields read are SAMPLE_ID, {fields}",
                value=name,
                mend="Rename the field, or take it out."
                if known
                else f'Rename the field; where it isn\'t needed, add a line KEYWORD "{name}" before it.',
            )
        names.append(own)
    return names


def _check_samples(exchange: ExchangeText) -> None:
    """A sample that is there twice was exported twice, or is another one under its name."""
    if "SAMPLE_ID" not in exchange.fields:
        return
    column = exchange.fields.index("SAMPLE_ID")
    if exchange.fields.count("SAMPLE_ID") > 1:
        raise InputError(
            where=f"{exchange.path}, line {exchange.format_line}, field SAMPLE_ID",
            rule="each field once",
            mend="Rename the field, or take it out.",
        )
    seen: dict[str, int] = {}
    for number, values in exchange.sets:
        if values[column] in seen:
            raise InputError(
                where=f"{exchange.path}, line {number}, field SAMPLE_ID",
                rule=f"each sample is there once; line {seen[values[column]]} has it too",
                value=values[column],
                mend="Remove one of the two sets, or number the samples through.",
            )
        seen[values[column]] = number
