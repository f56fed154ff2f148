"""Strip readings: which strips there are, how they were exposed, and what the densitometer read."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.models import ExposureFile
from wideroll.readers.strip_cells import RECORD_NAMES, densities_of, rows_by_step, rows_by_strip
from wideroll.readers.toml_files import placed, read_toml
from wideroll.roll import Extent, Place
from wideroll.sensitometry import Floats, Strip, StripKind, log_exposure, step_tablet

__all__ = ["read_strips"]

_EXPOSED: Final = 0.1


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
        strips.append(_strip(row, readings.pop(name), tablet, whole))
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


def _tablet(exposure: ExposureFile, *, where: Path) -> Floats:
    with placed(where):
        if exposure.step_density is not None:
            steps = np.asarray(exposure.step_density, dtype=np.float64)
        else:
            steps = step_tablet(exposure.steps or 0, exposure.increment_density or 0.0)
        return log_exposure(exposure.illuminance_lx, exposure.time_s, steps)


def _strip(row: Row, readings: Sequence[Row], log_h_of_step: Floats, whole: Extent | None) -> Strip:
    log_h, ordered = rows_by_step(readings, log_h_of_step)
    kind = row.choice("kind", StripKind, tuple(StripKind))
    place = None
    if kind is StripKind.CHECK:
        place = _place(row, whole)
    return Strip(
        name=row.text("strip"), kind=kind, run=row.text("run"), log_h=log_h, density=densities_of(ordered), place=place
    )


def _place(row: Row, whole: Extent | None) -> Place:
    """Where a strip was cut; one off the roll belongs to no batch and would be left out unseen."""
    place = Place(along_m=float(row.length("along").m), across_mm=float(row.length("across").mm))
    if whole is not None and not whole.contains(place):
        column = "across" if whole.along_from_m <= place.along_m < whole.along_to_m else "along"
        size = f"{whole.length_m:g} m long and {whole.width_mm:g} mm wide"
        raise row.refuse(column, rule=f"the place must lie on the roll, {size}", mend="Correct it.")
    return place
