"""Strip readings: which strips there are, how they were exposed, and what the densitometer read."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.days import iso_day
from wideroll.readers.exposure_file import read_exposure
from wideroll.readers.instrument_files import Instruments, not_there
from wideroll.readers.strip_cells import RECORD_NAMES, densities_of, rows_by_step, rows_by_strip
from wideroll.roll import Extent, Place
from wideroll.sensitometry import (
    DensitometerStatus,
    Exposure,
    Record,
    Strip,
    StripKind,
    read_calibrated,
    read_within_range,
)

__all__ = ["read_strips"]

_EXPOSED: Final = 0.1
_NOT_NAMED: Final = {"", "-"}


def read_strips(
    folder: Path, whole: Extent | None = None, *, instruments: Instruments | None = None
) -> tuple[Strip, ...]:
    """The strips of a roll: ``exposure.toml``, ``strips.csv`` and ``readings.csv``; none when the folder isn't there.

    Exposures and densities are those that the calibrations of the instruments named make of them. A strip whose
    instruments had no calibration that held comes back with the reason, not as an error.

    Args:
        folder: that holds the three files.
        whole: the roll, on which check strips must lie; None where it isn't known.
        instruments: what the plant has; None where it has no instruments.toml.

    Raises:
        InputError: naming the file, line and column.
    """
    if not folder.is_dir():
        return ()
    exposure = read_exposure(folder / "exposure.toml", instruments)
    listed = read_table(
        folder / "strips.csv",
        needed=("strip", "kind", "run", "along", "across"),
        allowed=("densitometer", "read_on"),
    )
    readings = rows_by_strip(
        read_table(folder / "readings.csv", needed=("strip", "step"), allowed=RECORD_NAMES), default=""
    )
    strips: list[Strip] = []
    for row in listed:
        name = row.text("strip")
        if any(strip.name == name for strip in strips):
            raise row.refuse("strip", rule="each strip is listed once", mend="Remove one of the lines.")
        if name not in readings:
            raise row.refuse(
                "strip", rule="each strip listed has readings in readings.csv", mend="Read it, or take it off the list."
            )
        strips.append(_read(row, _strip(row, readings.pop(name), exposure, whole), instruments))
        _check_own_readings(row, strips)
    for rows in readings.values():
        raise rows[0].refuse("strip", rule="each strip read is listed in strips.csv", mend="Add it to strips.csv.")
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


def _strip(row: Row, readings: Sequence[Row], exposure: Exposure, whole: Extent | None) -> Strip:
    log_h, ordered = rows_by_step(readings, exposure.log_h)
    kind = row.choice("kind", StripKind, tuple(StripKind))
    place = None
    if kind is StripKind.CHECK:
        place = _place(row, whole)
    for column in ("along", "across") if kind is StripKind.REFERENCE else ():
        if row.cells.get(column, "") not in _NOT_NAMED:
            raise row.refuse(
                column,
                rule="a reference strip isn't cut from the roll: its place is -",
                mend="Write check as its kind if it was, else - for its place.",
            )
    return Strip(
        name=row.text("strip"),
        kind=kind,
        run=row.text("run"),
        log_h=log_h,
        density=densities_of(ordered),
        place=place,
        log_h_sd=exposure.log_h_sd,
        why_unusable=exposure.why_unusable,
    )


def _read(row: Row, strip: Strip, instruments: Instruments | None) -> Strip:
    """The strip as the densitometer named in its row read it, calibrated; as it is where none is named."""
    name = row.cells.get("densitometer", "")
    if name in _NOT_NAMED:
        if instruments is None or not instruments.calibration_required:
            return strip
        why = "the plant asks for a calibrated densitometer, and strips.csv names none"
        return replace(strip, why_unusable="; ".join(filter(None, (strip.why_unusable, why))))
    known = {} if instruments is None else instruments.densitometers
    if name not in known:
        raise not_there(row.where("densitometer"), "densitometers", known, name)
    densitometer = known[name]
    colours = [record.value for record in strip.density if record is not Record.VISUAL]
    if densitometer.status is DensitometerStatus.VISUAL and colours:
        raise row.refuse(
            "densitometer",
            rule=f"a densitometer of status visual doesn't read {', '.join(colours)}",
            mend="Name the densitometer that read the strip, or correct its status in instruments.toml.",
        )
    if not (densitometer.calibrations or (instruments is not None and instruments.calibration_required)):
        return read_within_range(strip, densitometer)
    return read_calibrated(strip, densitometer, _day(row, "read_on"))


def _day(row: Row, column: str) -> str:
    try:
        return iso_day(row.text(column))
    except ArgumentError as error:
        raise row.refuse(column, rule=error.rule, mend=error.mend) from error


def _place(row: Row, whole: Extent | None) -> Place:
    """Where a strip was cut; one off the roll belongs to no batch and would be left out unseen."""
    place = Place(along_m=float(row.length("along").m), across_mm=float(row.length("across").mm))
    if whole is not None and not whole.contains(place):
        column = "across" if whole.along_from_m <= place.along_m < whole.along_to_m else "along"
        size = f"{whole.length_m:g} m long and {whole.width_mm:g} mm wide"
        raise row.refuse(column, rule=f"the place must lie on the roll, {size}", mend="Correct it.")
    return place
