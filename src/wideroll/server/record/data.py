"""Events of the record as they are asked for, and the proof of it, made beside the pages."""

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from pydantic import BaseModel, Field

from wideroll.errors import ArgumentError, InputError
from wideroll.server.desk import Desk
from wideroll.server.jobs import Job, jobs_of
from wideroll.server.times import start_of_day_utc, zone_of

if TYPE_CHECKING:
    from wideroll.record import Event

__all__ = [
    "EVERY_S",
    "EventsAsked",
    "EventsPage",
    "ask_proof",
    "events_table",
    "files_table",
    "proof_job",
    "read_events",
]

EVERY_S: Final = 60
"""So long after the last proof was begun another may be."""
_PAGE: Final = 50
_KEY: Final = "verify record"


class EventsAsked(BaseModel):
    """Which events are asked for; an empty text asks for all."""

    act: str = Field(default="", max_length=40)
    roll: str = Field(default="", max_length=200)
    who: str = Field(default="", max_length=200)
    first_day: str = Field(default="", alias="from", max_length=40)
    last_day: str = Field(default="", alias="to", max_length=40)
    before: int | None = Field(default=None, ge=1, le=2**53)
    format: str = Field(default="", max_length=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class EventsPage:
    """Events, the newest first; ``older`` is the number to go on below, 0 at the end."""

    events: "tuple[Event, ...]"
    older: int


def read_events(desk: Desk, asked: EventsAsked, *, most: int | None = _PAGE) -> EventsPage:
    """The events asked for.

    Args:
        desk: with the plant.
        asked: which.
        most: so many on a page; None for all.

    Raises:
        InputError: when a day can't be read.
        RecordError: at an event that can't be read.
    """
    from wideroll.acts.record_pages import newest_events  # noqa: PLC0415  (loads the store)
    from wideroll.store import Picked  # noqa: PLC0415

    wanted = Picked(
        act=asked.act,
        who=asked.who.strip(),
        name=asked.roll.strip(),
        from_utc=_begins(desk, asked.first_day, "from"),
        before_utc=_begins(desk, asked.last_day, "to", after=1),
        below=asked.before,
    )
    found = newest_events(desk.root, wanted, None if most is None else most + 1)
    if most is None or len(found) <= most:
        return EventsPage(events=found, older=0)
    return EventsPage(events=found[:most], older=found[most - 1].number)


def events_table(events: "tuple[Event, ...]", caption: str) -> dict[str, Any]:
    """Events as a table, each leading to its page and its roll's."""
    from wideroll.report.grid import Cell, Column, Grid  # noqa: PLC0415  (loads what draws)
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.report.history_words import act_words, time_words  # noqa: PLC0415

    rows = tuple(
        (
            Cell(text=str(event.number)),
            Cell(text=time_words(event.when_utc).removesuffix(" UTC")),
            Cell(text=event.who),
            Cell(text=str(event.body.get("roll", ""))),
            Cell(text=event.act),
            Cell(text=act_words(event.act, event.body)),
        )
        for event in events
    )
    columns = (
        Column(head="event", number=True),
        Column(head="when, UTC", keep=True),
        Column(head="who", keep=True),
        Column(head="roll", keep=True),
        Column(head="act", keep=True),
        Column(head="in words"),
    )
    table = grid_json(Grid(caption=caption, columns=columns, rows=rows, empty="No event is as chosen."))
    for row, event in zip(table["rows"], events, strict=True):
        row[0]["link"] = f"/record/{event.number}"
    return table


def files_table(event: "Event") -> dict[str, Any]:
    """The files that an event names, each with its digest: evidence by its place in the plant, results by name."""
    from wideroll.report.grid import Cell, Column, Grid  # noqa: PLC0415  (loads what draws)
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    named = [event.body.get(key) for key in ("files", "outputs")]
    files = [(str(name), str(digest)) for one in named if isinstance(one, dict) for name, digest in one.items()]
    grid = Grid(
        caption="Files that it names",
        columns=(Column(head="file"), Column(head="SHA-256; of a folder, that of all in it")),
        rows=tuple((Cell(text=name), Cell(text=digest)) for name, digest in files),
        empty="None.",
    )
    return grid_json(grid)


def proof_job(desk: Desk) -> Job | None:
    """The last proof of the record that was asked for."""
    return jobs_of(desk).get(_KEY)


def ask_proof(desk: Desk) -> int:
    """Let the record be proven beside the pages; one that is under way is as good.

    Returns:
        Seconds to wait until another may be begun; 0 when it is under way.
    """
    job, begun_s = proof_job(desk), desk.parts.get("proof begun", -float(EVERY_S))
    if job is not None and job.state in {"waiting", "running"}:
        return 0
    wait_s = EVERY_S - (time.monotonic() - begun_s)
    if wait_s > 0:
        return int(wait_s) + 1
    desk.parts["proof begun"] = time.monotonic()
    jobs_of(desk).begin(_KEY, "proving the record", lambda job: _prove(desk, job))
    return 0


def _prove(desk: Desk, job: Job) -> dict[str, Any]:
    from wideroll.acts.proving import proof_document, prove_record  # noqa: PLC0415
    from wideroll.acts.sealing import now_utc  # noqa: PLC0415

    proof = prove_record(desk.root, progress=job)
    return {**proof_document(proof), "mend": proof.mend, "when_utc": now_utc()}


def _begins(desk: Desk, text: str, where: str, *, after: int = 0) -> str:
    """When a day of the plant begins, or the day after it."""
    from wideroll.readers.days import iso_day  # noqa: PLC0415

    try:
        return start_of_day_utc(iso_day(text.strip()), zone_of(desk), after=after) if text.strip() else ""
    except ArgumentError as error:
        raise InputError(where=where, rule=error.rule, value=text, mend="Write it like 2026-11-20.") from error
