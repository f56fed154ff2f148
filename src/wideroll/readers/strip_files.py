"""Strip readings: which strips there are, how they were exposed, and what the densitometer read."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from wideroll.errors import InputError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.models import ExposureFile
from wideroll.readers.toml_files import placed, read_toml
from wideroll.roll import Extent, Place
from wideroll.sensitometry import Floats, Record, Strip, StripKind, log_exposure, step_tablet

__all__ = ["read_bare_strips", "read_strips"]

_RECORDS: Final = tuple(record.value for record in Record)
_EXPOSED: Final = 0.1
_LEAST_DENSITY: Final = -0.5
_MOST_DENSITY: Final = 6.0
"""No densitometer in use reads more; a greater number is a slip of the decimal point (common practice)."""


def read_strips(folder: Path, whole: Extent | None = None) -> tuple[Strip, ...]:
    """The strips of a roll: ``exposure.toml``, ``strips.csv`` and ``readings.csv``; none when the folder isn't there.

    Args:
        folder: that holds the three files.
        whole: the roll, on which check strips must lie; None where it isn't known.

    Raises:
        InputError: naming the file, line and column.
    """
    if not folder.is_dir():
        return ()
    tablet = _tablet(read_toml(folder / "exposure.toml", ExposureFile), where=folder / "exposure.toml")
    listed = read_table(folder / "strips.csv", needed=("strip", "kind", "run", "along", "across"))
    readings = _by_strip(read_table(folder / "readings.csv", needed=("strip", "step"), allowed=_RECORDS), default="")
    strips: list[Strip] = []
    for row in listed:
        name = row.text("strip")
        if any(strip.name == name for strip in strips):
            raise row.refuse("strip", rule="each strip is listed once", mend="Remove one of the lines.")
        if name not in readings:
            raise row.refuse(
                "strip", rule="each strip listed has readings in readings.csv", mend="Read it, or take it off the list."
            )
        strips.append(_strip(row, readings.pop(name), tablet, whole))
        _check_own_readings(row, strips)
    for rows in readings.values():
        raise rows[0].refuse("strip", rule="each strip read is listed in strips.csv", mend="Add it to strips.csv.")
    return tuple(strips)


def read_bare_strips(path: Path, *, log_h_of_step: Floats) -> tuple[Strip, ...]:
    """Readings in one file of the user's own.

    Columns: ``step`` or ``log_h``, any of red, green, blue, visual, and ``strip`` when there is more than one.

    Args:
        path: the CSV file.
        log_h_of_step: log10 of exposure in lx·s of steps 1, 2, … (n,), used when the file has ``step``.

    Raises:
        InputError: naming the line and column.
    """
    rows = read_table(path, needed=(), allowed=("strip", "step", "log_h", *_RECORDS))
    columns = rows[0].cells
    if ("step" in columns) == ("log_h" in columns):
        raise InputError(
            where=f"{path}, header",
            rule="must have either a column step or a column log_h",
            mend="Number the steps, or give log10 of each exposure in lx·s.",
        )
    strips: list[Strip] = []
    for name, group in _by_strip(rows, default=path.stem).items():
        if "step" in columns:
            log_h, ordered = _by_step(group, log_h_of_step)
        else:
            ordered = sorted(group, key=_log_h)
            log_h = np.array([_log_h(row) for row in ordered])
            _check_log_h(ordered, log_h)
        strips.append(
            Strip(name=name, kind=StripKind.CHECK, run="", log_h=log_h, density=_densities(ordered), place=None)
        )
    return tuple(strips)


def _check_own_readings(row: Row, strips: Sequence[Strip]) -> None:
    """Two exposed strips never read alike in every step of every record: one of them was copied."""
    *before, here = strips
    if here.place is not None and any(other.place == here.place for other in before):
        raise row.refuse(
            "along", rule="two strips can't be cut from one place", mend="Correct the place of one of them."
        )
    exposed = any(float(np.nanmax(d) - np.nanmin(d)) > _EXPOSED for d in here.density.values() if np.isfinite(d).any())
    for other in before if exposed else ():
        if all(np.array_equal(other.density[r], here.density[r], equal_nan=True) for r in here.density):
            raise row.refuse(
                "strip",
                rule=f"each strip has readings of its own; strip {other.name} has the same in every step",
                mend="Read the strip, or take it off both lists.",
            )


def _tablet(exposure: ExposureFile, *, where: Path) -> Floats:
    with placed(where):
        if exposure.step_density is not None:
            steps = np.asarray(exposure.step_density, dtype=np.float64)
        else:
            steps = step_tablet(exposure.steps or 0, exposure.increment_density or 0.0)
        return log_exposure(exposure.illuminance_lx, exposure.time_s, steps)


def _strip(row: Row, readings: Sequence[Row], log_h_of_step: Floats, whole: Extent | None) -> Strip:
    log_h, ordered = _by_step(readings, log_h_of_step)
    kind = row.choice("kind", StripKind, tuple(StripKind))
    place = None
    if kind is StripKind.CHECK:
        place = _place(row, whole)
    return Strip(
        name=row.text("strip"), kind=kind, run=row.text("run"), log_h=log_h, density=_densities(ordered), place=place
    )


def _place(row: Row, whole: Extent | None) -> Place:
    """Where a strip was cut; one off the roll belongs to no batch and would be left out unseen."""
    place = Place(along_m=float(row.length("along").m), across_mm=float(row.length("across").mm))
    if whole is not None and not whole.contains(place):
        column = "across" if whole.along_from_m <= place.along_m < whole.along_to_m else "along"
        size = f"{whole.length_m:g} m long and {whole.width_mm:g} mm wide"
        raise row.refuse(column, rule=f"the place must lie on the roll, {size}", mend="Correct it.")
    return place


def _by_strip(rows: Sequence[Row], *, default: str) -> dict[str, list[Row]]:
    groups: dict[str, list[Row]] = {}
    for row in rows:
        name = row.text("strip") if "strip" in row.cells else default
        groups.setdefault(name, []).append(row)
    return groups


def _by_step(rows: Sequence[Row], log_h_of_step: Floats) -> tuple[Floats, list[Row]]:
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


def _densities(rows: Sequence[Row]) -> Mapping[Record, Floats]:
    densities: dict[Record, Floats] = {}
    for record in Record:
        if record.value not in rows[0].cells:
            continue
        densities[record] = np.array([_density(row, record.value) for row in rows])
    if not densities:
        raise InputError(
            where=f"{rows[0].path}, header",
            rule=f"must have at least one of the columns {', '.join(_RECORDS)}",
            mend="Name the densitometer's channel in the header.",
        )
    return densities


def _density(row: Row, column: str) -> float:
    value = row.number(column)
    if not math.isnan(value) and not _LEAST_DENSITY < value <= _MOST_DENSITY:
        raise row.refuse(column, rule=f"a density lies between 0 and {_MOST_DENSITY:g}", mend="Read the patch again.")
    return value


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
