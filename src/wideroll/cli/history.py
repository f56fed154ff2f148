"""The command that tells who did what and when on a roll."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from textwrap import shorten
from typing import Annotated, Any, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, say
from wideroll.cli.options import Json, PlantArg
from wideroll.cli.sampling import plant_files
from wideroll.cli.sealing import check_holds, open_record
from wideroll.errors import InputError
from wideroll.record import CHECKPOINT, Event
from wideroll.report.history_words import act_words, time_words
from wideroll.store import CALIBRATION, COMPLAINT, DECISION, RECALL

__all__ = ["history", "of_roll"]

_WIDEST: Final = 200
_OF_ROLLS: Final = frozenset({COMPLAINT, RECALL})
_Roll = Annotated[str | None, typer.Argument(metavar="ROLL", help="One roll; without it, the whole plant.")]


@app.command()
def history(plant: PlantArg, roll: _Roll = None, *, as_json: Json = False) -> None:
    """Tell who did what and when, in the order it was recorded, one line for each act.

    \b
    Examples:
      wideroll history demo W-2042        one roll, from its take-in on
      wideroll history demo               all of the plant

    Exit code: 0, or 4 where the record doesn't hold; nothing is told then.
    """
    files = plant_files(plant)
    events = _events(plant, roll)
    if roll is not None and not events:
        files.card(roll)
    if as_json:
        print_json({"schema": "wideroll/history/1", "roll": roll, "events": [_document(one) for one in events]})
        return
    for line in _lines(events, with_roll=roll is None):
        say(line)
    if not events:
        say("Nothing is recorded" + (" of this plant." if roll is None else f" of roll {roll}."))


def of_roll(events: Iterable[Event], roll: str) -> Iterator[Event]:
    """Those of a plant's events that are about a roll, in order.

    What names it; calibrations between its first event and its last decision; and of signatures those under one of its
    events by number, and the first under each stretch of events that holds one of its own.
    """
    every = list(events)
    own = {event.number for event in every if _names(event, roll)}
    decided = max((event.number for event in every if event.number in own and event.act == DECISION), default=0)
    unsigned = False
    for event in every:
        if event.number in own:
            unsigned = True
            yield event
        elif event.act == CALIBRATION and own and min(own) < event.number < decided:
            yield event
        elif event.act == CHECKPOINT:
            one = event.body.get("event")
            if one in own or (one is None and unsigned):
                unsigned = unsigned and one is not None
                yield event


def _names(event: Event, roll: str) -> bool:
    rolls = event.body.get("rolls")
    return event.body.get("roll") == roll or (event.act in _OF_ROLLS and isinstance(rolls, list) and roll in rolls)


def _events(plant: Path, roll: str | None) -> list[Event]:
    store = open_record(plant)
    if store is None:
        raise InputError(
            where=str(plant / "wideroll.db"),
            rule="there must be a record",
            mend="Check the plant's folder; the first take-in or decision makes its record.",
        )
    with store:
        check_holds(store, plant)
        return list(store.events() if roll is None else of_roll(store.events(), roll))


def _lines(events: Sequence[Event], *, with_roll: bool) -> Iterator[str]:
    digits = len(str(events[-1].number)) if events else 0
    who = max((len(event.who) for event in events), default=0)
    rolls = max((len(str(event.body.get("roll", "-"))) for event in events), default=0) if with_roll else 0
    for event in events:
        where = f"{event.body.get('roll', '-')!s:{rolls}}  " if with_roll else ""
        words = shorten(act_words(event.act, event.body), _WIDEST, placeholder=" …")
        yield f"{event.number:{digits}}  {time_words(event.when_utc)}  {event.who:{who}}  {where}{words}"


def _document(event: Event) -> dict[str, Any]:
    return {
        "number": event.number,
        "act": event.act,
        "who": event.who,
        "when_utc": event.when_utc,
        "version": event.version,
        "words": act_words(event.act, event.body),
        "body": dict(event.body),
    }
