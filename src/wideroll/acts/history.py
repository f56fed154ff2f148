"""Who did what and when on a roll, from the record."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from wideroll.acts.plants import plant_files
from wideroll.acts.proving import hold, prove_record
from wideroll.acts.sealing import check_holds, open_record
from wideroll.errors import InputError
from wideroll.record import CHECKPOINT, Event
from wideroll.report.history_words import act_words
from wideroll.store import CALIBRATION, COMPLAINT, DECISION, RECALL, event_of, is_bundle, open_bundle

__all__ = ["event_document", "events_of", "names_roll", "of_roll"]

_OF_ROLLS: Final = frozenset({COMPLAINT, RECALL})


def of_roll(events: Iterable[Event], roll: str) -> Iterator[Event]:
    """Those of a plant's events that are about a roll, in order.

    What names it; calibrations between its first event and its last decision; and of signatures those under one of its
    events by number, and the first under each stretch of events that holds one of its own.

    Args:
        events: the plant's, from the first on.
        roll: its name.
    """
    every = list(events)
    own = {event.number for event in every if names_roll(event, roll)}
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


def names_roll(event: Event, roll: str) -> bool:
    """Whether an event says itself that it is about a roll.

    Args:
        event: of the record.
        roll: its name.
    """
    rolls = event.body.get("rolls")
    return event.body.get("roll") == roll or (event.act in _OF_ROLLS and isinstance(rolls, list) and roll in rolls)


def events_of(path: Path, roll: str | None) -> list[Event]:
    """Who did what and when, in the order it was recorded.

    Args:
        path: folder of a plant, or a bundle of its record.
        roll: one roll, which must be known where nothing is recorded of it; None for all.

    Raises:
        InputError: when it is neither, there is no record, or no such roll.
        RecordError: when the record or bundle doesn't hold.
    """
    return _of_bundle(path, roll) if is_bundle(path) else _of_plant(path, roll)


def _of_bundle(path: Path, roll: str | None) -> list[Event]:
    hold(prove_record(path).report, path, mend="Get the bundle again from where it came.")
    every = (event_of(row) for row in open_bundle(path).rows())
    events = list(every if roll is None else of_roll(every, roll))
    if roll is not None and not events:
        raise InputError(where=str(path), rule="must name the roll", value=roll, mend="Check the roll's name.")
    return events


def _of_plant(plant: Path, roll: str | None) -> list[Event]:
    files = plant_files(plant)
    store = open_record(plant)
    if store is None:
        raise InputError(
            where=str(plant / "wideroll.db"),
            rule="there must be a record",
            mend="Check the plant's folder; the first take-in or decision makes its record.",
        )
    with store:
        check_holds(store, plant)
        events = list(store.events() if roll is None else of_roll(store.events(), roll))
    if roll is not None and not events:
        files.card(roll)
    return events


def event_document(event: Event) -> dict[str, Any]:
    """An event for machines, with the words for it.

    Args:
        event: of the record.
    """
    return {
        "number": event.number,
        "act": event.act,
        "who": event.who,
        "when_utc": event.when_utc,
        "version": event.version,
        "words": act_words(event.act, event.body),
        "body": dict(event.body),
    }
