"""What is traced: the question as it stands in an address, and the answer as it is shown."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fastapi import HTTPException
from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.desk import Desk
from wideroll.server.soon import Answer, answers_of
from wideroll.server.times import plant_days
from wideroll.server.units import form_units, place_words, with_unit

if TYPE_CHECKING:
    from wideroll.acts.standing_acts import StandingActs
    from wideroll.acts.tracing import TraceDesk
    from wideroll.workflow.finished_at import FinishedPlace
    from wideroll.workflow.sisters_model import SisterList
    from wideroll.workflow.tracing_model import Trace

__all__ = [
    "CoatedQuestion",
    "Found",
    "FoundThere",
    "Picture",
    "Question",
    "coated_place",
    "recall_file",
    "standing_of_plant",
    "traced",
]

_LONGEST: Final = 200
_SISTERS: Final = 40
_LIST: Final = re.compile(r"recall-[A-Za-z0-9._-]+\.csv")


class Question(BaseModel):
    """What is asked about a finished roll."""

    finished: str = Field(default="", max_length=_LONGEST)
    place: str = Field(default="", max_length=_LONGEST)
    end: str = Field(default="", max_length=20)
    within: str = Field(default="", max_length=_LONGEST)

    def at(self, unit: str) -> str | None:
        """The place as it is traced; None for all of the roll.

        Args:
            unit: of a number that has none of its own.
        """
        return place_words(self.place, self.end, unit)

    def half(self, unit: str) -> str | None:
        """Half the interval along; None for the rule's."""
        return with_unit(self.within.strip(), unit) if self.within.strip() else None


class CoatedQuestion(BaseModel):
    """What is asked about a coated roll."""

    roll: str = Field(default="", max_length=_LONGEST)
    along: str = Field(default="", max_length=_LONGEST)
    across: str = Field(default="", max_length=_LONGEST)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing and what it shows."""

    svg: str
    caption: str
    width: int
    height: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """A trace as it is shown: ``tables`` and ``pictures`` by their keys, ``parts`` name them in order."""

    trace: "Trace"
    sisters: "SisterList"
    facts: tuple[tuple[str, str], ...]
    sentences: tuple[str, ...]
    parts: tuple[dict[str, Any], ...]
    tables: dict[str, dict[str, Any]]
    pictures: dict[str, Picture]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundThere:
    """The finished rolls that hold a coated place."""

    roll: str
    along_m: float
    across_mm: float | None
    words: str
    places: "tuple[FinishedPlace, ...]"
    table: dict[str, Any]


def standing_of_plant(desk: Desk) -> "dict[str, StandingActs]":
    """What stands on each roll, by a record that was proven once in the state it is in.

    Raises:
        RecordError: when it doesn't hold.
    """
    from wideroll.acts.record_pages import record_state  # noqa: PLC0415
    from wideroll.acts.standing_acts import standing_acts  # noqa: PLC0415

    kept: tuple[str, dict[str, StandingActs]] | None = desk.parts.get("standing")
    state = record_state(desk.root)
    if kept is None or kept[0] != state:
        kept = desk.parts["standing"] = (state, standing_acts(desk.root))
    return kept[1]


def traced(desk: Desk, question: Question) -> Answer:
    """The answer, when it is ready a ``Found``; what it was made from is told by when its files were written.

    Raises:
        InputError: when number, place or length can't be used.
        RecordError: when the record, or a file that it names, doesn't hold.
    """
    from wideroll.acts.record_pages import record_state  # noqa: PLC0415

    unit = form_units(desk).along
    asked = (question.finished.strip(), question.at(unit), question.half(unit))
    key = ("trace", *asked, record_state(desk.root), _written(desk.root, asked[0].rpartition("/")[0]))
    return answers_of(desk).ask(key, lambda: _find(desk, *asked))


def coated_place(desk: Desk, question: CoatedQuestion) -> FoundThere:
    """The finished rolls that hold a coated place.

    Raises:
        InputError: when the roll or a length can't be used.
        RecordError: when the record doesn't hold.
    """
    from wideroll.acts.tracing import open_trace_desk  # noqa: PLC0415
    from wideroll.report.finished_at_words import finished_at_grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.workflow.finished_at import finished_at  # noqa: PLC0415

    room, roll = open_trace_desk(desk.root, standing_of_plant(desk)), question.roll.strip()
    head = room.head
    if not question.along.strip():
        raise InputError(
            where="along", rule="a place along is a length from the roll's head", mend="Write it like 312.5 m."
        )
    along_m = _length_m(question.along, head.units.along, "along")
    across_mm = 1000.0 * _length_m(question.across, head.units.across, "across") if question.across.strip() else None
    places = finished_at(room.index, roll, along_m, across_mm)
    lane = "" if across_mm is None else f", {head.across(across_mm)} {head.units.across} from the {head.datum_edge}"
    words = f"roll {roll} at {head.along(along_m)} from its head{lane}"
    table = grid_json(finished_at_grid(places, words, head))
    return FoundThere(roll=roll, along_m=along_m, across_mm=across_mm, words=words, places=places, table=table)


def recall_file(desk: Desk, name: str) -> Path:
    """A recall list that was written from the desk.

    Raises:
        HTTPException: 404 when there is none of that name.
    """
    from wideroll.acts.recalling import RECALLS  # noqa: PLC0415

    path = desk.root / RECALLS / name
    if _LIST.fullmatch(name) is None or not path.is_file():
        raise HTTPException(404, f"there is no recall list {name}")
    return path


def _find(desk: Desk, finished: str, at: str | None, within: str | None) -> Found:
    from wideroll.acts.telling import Listener, listening  # noqa: PLC0415
    from wideroll.acts.tracing import open_trace_desk  # noqa: PLC0415

    told: list[str] = []
    with listening(Listener(tell=told.append)):
        room = open_trace_desk(desk.root, standing_of_plant(desk))
        trace = room.trace(finished, at, within)
        return _shown(room, trace, room.sisters(trace), told, plant_days(desk))


def _shown(
    room: "TraceDesk", trace: "Trace", sisters: "SisterList", told: list[str], day: "Callable[[str], str]"
) -> Found:
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.report.sister_words import sister_sentences, sisters_grid  # noqa: PLC0415
    from wideroll.report.trace_words import trace_facts  # noqa: PLC0415

    tables = {
        key: grid_json(sisters_grid(sisters, room.head, most=most))
        for key, most in (("sisters", _SISTERS), ("sisters-all", max(1, len(sisters.sisters))))
    }
    pictures: dict[str, Picture] = {}
    parts = tuple(_part(room, trace, number, tables, pictures) for number in range(len(trace.stretches)))
    return Found(
        trace=trace,
        sisters=sisters,
        facts=trace_facts(trace, room.head, day=day),
        sentences=tuple(sister_sentences(sisters)),
        parts=parts,
        tables=tables,
        pictures=pictures,
        notes=tuple(told),
    )


def _part(
    room: "TraceDesk", trace: "Trace", number: int, tables: dict[str, dict[str, Any]], pictures: dict[str, Picture]
) -> dict[str, Any]:
    from wideroll.report.grid_json import grid_json, svg_size  # noqa: PLC0415
    from wideroll.report.trace_page import trace_part  # noqa: PLC0415

    part = trace_part(trace, number, room.head, room.pictures(trace))
    named: Callable[[str, int], str] = lambda what, rank: f"{what}-{number + 1}-{rank + 1}"  # noqa: E731
    mine = {named("table", rank): grid_json(grid) for rank, grid in enumerate(part.grids)}
    drawn = {}
    for rank, figure in enumerate(part.figures):
        width, height = svg_size(figure.svg)
        drawn[named("picture", rank)] = Picture(svg=figure.svg, caption=figure.caption, width=width, height=height)
    tables |= mine
    pictures |= drawn
    return {"roll": part.roll, "tables": list(mine), "pictures": list(drawn), "crops": part.crops, "notes": part.notes}


def _written(root: Path, roll: str) -> int:
    """When the newest of the files was written that a trace rests on besides the record; scans aren't looked at."""
    named = [root / "plant.toml", *root.glob("rolls/*/roll.toml"), *root.glob("rolls/*/handling.toml")]
    if roll and "/" not in roll and ".." not in roll:
        folder = root / "rolls" / roll
        named += [path for part in ("examination", "strips") for path in folder.glob(f"{part}/*")]
    return max((path.stat().st_mtime_ns for path in named if path.exists()), default=0)


def _length_m(text: str, unit: str, where: str) -> float:
    from wideroll.roll import parse_length  # noqa: PLC0415

    return float(parse_length(with_unit(text, unit), where=where).m)
