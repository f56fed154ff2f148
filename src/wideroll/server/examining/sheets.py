"""A sheet that somebody takes: its name and places as they were typed, where it may lie, whether it is listed."""

from typing import Any

from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.examining.data import extent_of
from wideroll.server.examining.drafts import DraftSheet
from wideroll.server.examining.questions import read_length

__all__ = ["BegunSheet", "cells_of", "check_place", "cut_of", "is_listed"]


class BegunSheet(BaseModel):
    """A sheet to be taken in hand, in the words of sheets.csv."""

    sheet: str = Field("", max_length=120)
    along_from: str = Field("", max_length=60)
    along_to: str = Field("", max_length=60)
    across_from: str = Field("", max_length=60)
    across_to: str = Field("", max_length=60)
    taken: str = Field("drawn", max_length=20)


def cells_of(form: BegunSheet) -> dict[str, str]:
    """What was typed, with its units; metres and millimetres where none was typed.

    Raises:
        InputError: when one of them can't be used.
    """
    name = " ".join("".join(letter for letter in form.sheet if letter.isprintable()).split())
    if not name or set(name) <= {"."}:
        raise InputError(where="sheet", rule="a sheet needs a name", mend="Give it one, such as sheet 7.")
    if form.taken not in {"drawn", "chosen"}:
        raise InputError(where="taken", rule="is drawn or chosen", value=form.taken, mend="Choose one.")
    along = {field: read_length(getattr(form, field), "m", where=field) for field in ("along_from", "along_to")}
    across = {
        field: read_length(getattr(form, field), "mm", where=field) if getattr(form, field).strip() else ""
        for field in ("across_from", "across_to")
    }
    return {"sheet": name, **along, **across, "taken": form.taken}


def cut_of(cells: dict[str, str]) -> DraftSheet:
    """A sheet in hand of these cells, that nobody looked at yet."""
    return DraftSheet(
        sheet=cells["sheet"],
        along_from=cells["along_from"],
        along_to=cells["along_to"],
        across_from=cells["across_from"],
        across_to=cells["across_to"],
        taken=cells["taken"],
    )


def is_listed(files: Any, cells: dict[str, str]) -> bool:
    """Whether somebody looked at the sheet before.

    Args:
        files: of the examination, ``acts.examining_files.ExaminationFiles``.
        cells: of the sheet.

    Raises:
        InputError: when one of its name is listed at another place.
    """
    listed = next((one for one in files.sheets if one.name == cells["sheet"]), None)
    if listed is not None and not files.is_same(listed, cells):
        raise InputError(
            where="sheet",
            rule="a sheet of that name is listed at another place",
            value=cells["sheet"],
            mend="Give it another name.",
        )
    return listed is not None and "sightings.csv" in files.texts


def check_place(basics: Any, files: Any, sheet: DraftSheet) -> None:
    """A sheet lies on the roll, is listed or holds no film of another.

    Args:
        basics: of the roll, ``examining.data.Basics``.
        files: of the examination.
        sheet: in hand.

    Raises:
        InputError: when it doesn't.
    """
    try:
        extent = extent_of(basics, sheet)
    except ValueError as error:
        raise InputError(
            where="along_to", rule="a sheet ends after it starts, along and across", mend="Correct its ends."
        ) from error
    inside = extent.meet(basics.whole)
    if not extent.area_m2 > 0.0 or inside != extent:
        size = f"0 to {basics.whole.along_to_m:g} m along, 0 to {basics.whole.across_to_mm:g} mm across"
        raise InputError(where="along_to", rule=f"a sheet lies on the roll ({size})", mend="Correct its ends.")
    for other in files.sheets:
        common = other.extent.meet(extent)
        if other.name != sheet.sheet and common is not None and common.area_m2 > 0.0:
            raise InputError(
                where="along_from",
                rule=f"no two sheets hold the same film; {other.name} does",
                mend=f"Look at {other.name}, or correct the ends.",
            )
