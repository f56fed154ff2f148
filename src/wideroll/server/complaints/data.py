"""The cases of a plant, kept while its record stays as it is, and which of them are asked for."""

from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fastapi import HTTPException
from pydantic import BaseModel, Field

from wideroll.server.desk import Desk

if TYPE_CHECKING:
    from wideroll.workflow.complaint_model import Complaint, Photo

__all__ = ["STATES", "CasesAsked", "case_at", "cases_of_plant", "cases_table", "photograph", "picked"]

STATES: Final = ("not closed", "open", "waiting for samples", "found", "closed")
_LONGEST: Final = 200
_OPENED: Final = 2
"""The column of the day that a case was opened; here it is the moment, which has a day in the plant's zone."""
_KINDS: Final = {".png": "image/png", ".jpg": "image/jpeg", ".tif": "image/tiff"}


class CasesAsked(BaseModel):
    """Which cases are asked for; an empty text asks for all."""

    state: str = Field(default="", max_length=40)
    roll: str = Field(default="", max_length=_LONGEST)
    batch: str = Field(default="", max_length=_LONGEST)
    words: str = Field(default="", max_length=_LONGEST)
    format: str = Field(default="", max_length=10)


def cases_of_plant(desk: Desk) -> "tuple[Complaint, ...]":
    """All cases, by a record that was proven once in the state it is in.

    Raises:
        RecordError: when it doesn't hold.
    """
    from wideroll.acts.complaint_desk import complaints_of  # noqa: PLC0415  (loads the store)
    from wideroll.acts.record_pages import record_state  # noqa: PLC0415

    kept: tuple[str, tuple[Complaint, ...]] | None = desk.parts.get("complaints")
    state = record_state(desk.root)
    if kept is None or kept[0] != state:
        kept = desk.parts["complaints"] = (state, complaints_of(desk.root))
    return kept[1]


def case_at(desk: Desk, name: str) -> "Complaint":
    """The case of a name.

    Raises:
        HTTPException: 404 when there is none.
    """
    from wideroll.errors import InputError  # noqa: PLC0415
    from wideroll.workflow.complaint_steps import case_number  # noqa: PLC0415
    from wideroll.workflow.complaints import case_of  # noqa: PLC0415

    try:
        return case_of(cases_of_plant(desk), case_number(name))
    except InputError as error:
        raise HTTPException(404, f"there is no complaint {name}") from error


def picked(desk: Desk, asked: CasesAsked) -> "tuple[Complaint, ...]":
    """The cases asked for, those that aren't closed first, and of these the newest first."""
    found = [one for one in cases_of_plant(desk) if _fits(one, asked)]
    return tuple(sorted(found, key=lambda one: (one.closed, -one.number)))


def _fits(case: "Complaint", asked: CasesAsked) -> bool:
    state = asked.state.strip()
    said = " ".join((case.name, case.finished, case.reference, *case.saw, case.why, case.outcome)).casefold()
    return (
        (not state or case.state.value == state or (state == STATES[0] and not case.closed))
        and (not asked.roll.strip() or asked.roll.strip() in case.rolls)
        and (not asked.batch.strip() or asked.batch.strip() in case.batches)
        and asked.words.strip().casefold() in said
    )


def cases_table(cases: "tuple[Complaint, ...]") -> dict[str, Any]:
    """The cases as a table, each leading to its page."""
    from wideroll.report.complaint_grids import complaints_grid  # noqa: PLC0415  (loads what draws)
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.server.tables import linked  # noqa: PLC0415

    table = linked(grid_json(complaints_grid(cases)), lambda name: f"/complaints/{name}")
    table["columns"][_OPENED]["head"] = "opened, UTC"
    for row, case in zip(table["rows"], cases, strict=True):
        row[_OPENED]["text"] = case.steps[0].when_utc[:16].replace("T", " ")
    return table


def photograph(root: Path, photo: "Photo", *, small: bool) -> tuple[bytes, str]:
    """A photograph of a case and what it is.

    Args:
        root: the plant's folder.
        photo: of the case.
        small: a reduced copy, turned upright; else just as it was sent.

    Raises:
        HTTPException: 404 when it isn't there, or isn't the one that was sent.
    """
    from wideroll.errors import InputError  # noqa: PLC0415
    from wideroll.readers.complaint_photographs import small_jpeg  # noqa: PLC0415
    from wideroll.record import digest  # noqa: PLC0415

    path = root / photo.file
    try:
        data = path.read_bytes()
        if digest(data) != photo.sha256:
            raise HTTPException(404, f"{photo.name}: what is kept isn't the photograph that was sent")
        return (small_jpeg(data), "image/jpeg") if small else (data, _KINDS.get(path.suffix, "image/tiff"))
    except (OSError, InputError) as error:
        raise HTTPException(404, f"{photo.name}: the photograph that was kept is missing, or no picture") from error
