"""Looks that a program sends whole: sheets with all that was noted on them, all of them or none."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from wideroll.errors import ArgumentError, InputError
from wideroll.server.access import Person
from wideroll.server.desk import Desk
from wideroll.server.examining.data import basics_of, examination_of
from wideroll.server.examining.drafts import Draft, draft_of, photographs_of
from wideroll.server.examining.questions import read_length
from wideroll.server.examining.sheets import BegunSheet, cells_of, check_place, cut_of, is_listed
from wideroll.server.times import today_of

if TYPE_CHECKING:
    from wideroll.acts.examining_lines import LookedAt

__all__ = ["LooksBody", "send_body"]

_Column = Literal[
    "kind",
    "along",
    "across",
    "size",
    "red",
    "green",
    "blue",
    "embedded",
    "wipes_off",
    "metallic",
    "grade",
    "magnification",
    "high_density",
    "mid_density",
    "unexposed",
    "cyan_separation",
    "magenta_separation",
    "yellow_separation",
    "density_red",
    "density_green",
    "density_blue",
    "density_uncertainty",
    "side",
    "photograph",
    "photograph_scale",
    "note",
]
_LENGTHS: Final = ("along", "across", "size")
_PHOTOGRAPH: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,110}\.png")
_Cell = Annotated[str, Field(max_length=500)]


class SheetBody(BegunSheet):
    """A sheet that was looked at whole; numbers without a unit are metres along and millimetres across."""

    model_config = ConfigDict(extra="forbid")

    taken: Literal["drawn", "chosen"] = "drawn"
    blind: bool = Field(default=False, description="True where the examiner didn't know what others noted on it.")
    on: str = Field(default="", max_length=40, description="The day, like 2026-11-20; else today.")
    sightings: list[dict[_Column, _Cell]] = Field(
        default=[],
        max_length=1000,
        description="By the columns of sightings.csv; lengths without a unit are millimetres. None: nothing was seen.",
    )


class LooksBody(BaseModel):
    """The sheets, in the order they were looked at."""

    model_config = ConfigDict(extra="forbid")

    sheets: list[SheetBody] = Field(min_length=1, max_length=200)


def send_body(desk: Desk, roll: str, body: LooksBody, person: Person) -> dict[str, Any]:
    """Send what a program noted for an examiner.

    Args:
        desk: with the plant.
        roll: its name.
        body: the sheets.
        person: the examiner.

    Returns:
        ``wideroll/sent-looks/1``.

    Raises:
        FileNotFoundError: when there is no such roll.
        InputError: when anything can't be used; then nothing is written.
        RecordError: when the record doesn't hold.
    """
    from wideroll.acts.examining import send_looks  # noqa: PLC0415  (loads the rooms)
    from wideroll.acts.examining_lines import LookedAt  # noqa: PLC0415

    basics = basics_of(desk, roll)
    files, draft = examination_of(desk, basics), draft_of(desk.root, roll, person)
    looked = []
    for one in body.sheets:
        cells = cells_of(one)
        is_listed(files, cells)
        check_place(basics, files, cut_of(cells))
        blind, noted = one.blind and not draft.shown_utc, tuple(_cells(cells["sheet"], one.sightings))
        looked.append(LookedAt(**cells, blind=blind, on=_day(desk, one.on), noted=noted))
    folder = photographs_of(desk.root, roll, person)
    photographs = _photographs(folder, looked)
    try:
        sent = send_looks(desk.root, roll, looked, who=person.own_name, recorded=person.name, photographs=photographs)
    except InputError as error:
        where = error.where.removeprefix(f"{desk.root / 'rolls' / roll}/")
        raise InputError(where=where, rule=error.rule, value=error.value, mend=error.mend) from error
    for name in photographs.keys() - _named(draft):
        (folder / name).unlink(missing_ok=True)
    return {
        "schema": "wideroll/sent-looks/1",
        "roll": roll,
        "sheets": [{"sheet": one.sheet, "look": one.look or None, "sightings": one.sightings} for one in sent.sheets],
        "events": [event.number for event in sent.events],
        "trouble": sent.trouble or None,
    }


def _cells(sheet: str, sightings: Sequence[dict[_Column, str]]) -> list[dict[str, str]]:
    found = []
    for number, one in enumerate(sightings, 1):
        cells = {str(name): " ".join("".join(_printable(text)).split()) for name, text in one.items()}
        for name in _LENGTHS:
            where = f"{sheet}: sighting {number}: {name}"
            if not cells.get(name):
                raise InputError(where=where, rule="needs a length", mend="Give it, such as 12.5 mm.")
            cells[name] = read_length(cells[name], "mm", where=where)
        found.append({name: text for name, text in cells.items() if text})
    return found


def _photographs(folder: Path, looked: Sequence["LookedAt"]) -> dict[str, bytes]:
    """Those that the sightings name, as they were sent up."""
    found = {}
    for name in sorted({line["photograph"] for one in looked for line in one.noted if line.get("photograph")}):
        try:
            found[name] = (folder / name).read_bytes() if _PHOTOGRAPH.fullmatch(name) else None
        except OSError:
            found[name] = None
    lost = next((name for name, data in found.items() if data is None), None)
    if lost is not None:
        mend = "Send it up, and give the name that is answered."
        raise InputError(where="photograph", rule="must be one that was sent up", value=lost, mend=mend)
    return {name: data for name, data in found.items() if data is not None}


def _named(draft: Draft) -> set[str]:
    """The photographs that what is in hand at the desk names."""
    noted = {one.cells.get("photograph", "") for sheet in draft.sheets for one in sheet.noted}
    return noted | {sheet.open.answers.get("photograph", "") for sheet in draft.sheets if sheet.open is not None}


def _printable(text: str) -> list[str]:
    return [letter if letter.isprintable() else " " for letter in text]


def _day(desk: Desk, text: str) -> str:
    from wideroll.readers.days import iso_day  # noqa: PLC0415

    try:
        return iso_day(text.strip()) if text.strip() else today_of(desk).isoformat()
    except ArgumentError as error:
        raise InputError(where="on", rule=error.rule, value=text, mend="Write it like 2026-11-20.") from error
