"""The record as people leaf through it: events by what they are, one event in full, its signatures."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, Final

from wideroll.acts.history import names_roll
from wideroll.acts.sealing import open_record
from wideroll.errors import RecordError
from wideroll.readers import PlantFolder
from wideroll.record import CHECKPOINT, GENESIS, Checkpoint, Event, Written, broken_rule, checkpoint_of, event_line
from wideroll.record import signature_holds as holds
from wideroll.report.history_words import act_words
from wideroll.store import CHECKPOINTS, Picked, RecordStore, event_of, kept_checkpoints

__all__ = [
    "EventInFull",
    "SignedUnder",
    "event_in_full",
    "event_in_full_document",
    "kept_signatures",
    "newest_events",
    "record_state",
]

_SQLITE: Final = "sqlite:///"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedUnder:
    """A checkpoint of the record that covers an event; ``number`` is the checkpoint's own event."""

    number: int
    checkpoint: Checkpoint
    holds: bool
    """Whether the signature is that key's under what the checkpoint says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EventInFull:
    """An event as it is kept, what is wrong with it, and who signed it."""

    event: Event
    line: str
    """Its canonical JSON with its digest, as in a bundle."""
    wrong: str
    """The first rule that it breaks, beside the event before it; empty when it holds."""
    signed: tuple[SignedUnder, ...]
    last: int
    """Number of the last event there is."""


def record_state(plant: Path) -> str:
    """Another text whenever the record is another: what pages keep may be kept while it is the same.

    Of an SQLite record the lengths and times of its files, so that a change past the desk is seen, too; of another the
    last event's number and digest.

    Args:
        plant: its folder.

    Raises:
        InputError: when plant.toml has a fault, or the database can't be reached.
        RecordError: when the database isn't sound.
    """
    url = PlantFolder(plant).record_url()
    if url.startswith(_SQLITE):
        path = url.removeprefix(_SQLITE)
        return " ".join(filter(None, (_stat(Path(path + end)) for end in ("", "-wal"))))
    with RecordStore(url) as store:
        last = next(store.newest(Picked()), None)
    return "" if last is None else f"{last.number} {last.digest}"


def _stat(path: Path) -> str:
    try:
        stat = path.stat()
    except OSError:
        return ""
    return f"{stat.st_size}.{stat.st_mtime_ns}" if stat.st_size else ""


def newest_events(plant: Path, wanted: Picked, most: int | None) -> tuple[Event, ...]:
    """Events of a plant's record, the newest first; nothing where there is no record. The chain isn't proven here.

    Args:
        plant: its folder.
        wanted: which; a name is a roll's, and an event that is about it must name it as one.
        most: so many at most; None for all.

    Raises:
        InputError: when the folder isn't a plant.
        RecordError: at an event that can't be read.
    """
    store = open_record(plant)
    if store is None:
        return ()
    with store:
        events = map(event_of, store.newest(wanted))
        about = (event for event in events if not wanted.name or names_roll(event, wanted.name))
        return tuple(islice(about, most))


def event_in_full(plant: Path, number: int) -> EventInFull | None:
    """An event with all that can be said of it; None where there is none of that number.

    Args:
        plant: its folder.
        number: of the event.

    Raises:
        InputError: when the folder isn't a plant.
        RecordError: when it, or a signature, can't be read.
    """
    store = open_record(plant)
    if store is None:
        return None
    with store:
        row = store.row(number)
        if row is None:
            return None
        before = store.row(number - 1)
        last = next(store.newest(Picked()))
        return EventInFull(
            event=event_of(row),
            line=event_line(row),
            wrong=_wrong(row, before),
            signed=tuple(one for one in _signatures(store) if _covers(one.checkpoint, number)),
            last=last.number,
        )


def kept_signatures(plant: Path) -> tuple[SignedUnder, ...]:
    """All checkpoints of a plant's record, and those kept beside it that it doesn't hold (numbered 0).

    Args:
        plant: its folder.

    Raises:
        InputError: when the folder isn't a plant, or a file beside the record holds no checkpoint.
        RecordError: when a checkpoint can't be read.
    """
    store = open_record(plant)
    if store is None:
        return ()
    with store:
        within = tuple(_signatures(store))
    known = {one.checkpoint.signature for one in within}
    beside = (one for one in kept_checkpoints(plant / CHECKPOINTS) if one.signature not in known)
    return (*within, *(SignedUnder(number=0, checkpoint=one, holds=holds(one)) for one in beside))


def event_in_full_document(found: EventInFull) -> dict[str, Any]:
    """An event in full for machines.

    Args:
        found: of ``event_in_full``.
    """
    event = found.event
    return {
        "schema": "wideroll/event/1",
        "number": event.number,
        "act": event.act,
        "who": event.who,
        "when_utc": event.when_utc,
        "version": event.version,
        "words": act_words(event.act, event.body),
        "body": dict(event.body),
        "previous": event.previous,
        "digest": event.digest,
        "line": found.line,
        "wrong": found.wrong or None,
        "signed": [
            {
                "event": one.number,
                "who": one.checkpoint.who,
                "when_utc": one.checkpoint.when_utc,
                "says": one.checkpoint.says,
                "key": one.checkpoint.key,
                "holds": one.holds,
            }
            for one in found.signed
        ],
    }


def _wrong(row: Written, before: Written | None) -> str:
    if before is None and row.number > 1:
        return "number: the event before it isn't there"
    return broken_rule(row, row.number, GENESIS if before is None else before.digest)


def _signatures(store: RecordStore) -> Iterator[SignedUnder]:
    for event in store.of_act(CHECKPOINT):
        found = checkpoint_of(event.body)
        if found is None:
            raise RecordError(
                where=f"event {event.number}",
                rule="must hold a checkpoint",
                mend="Keep the database as it is, and verify the record.",
            )
        yield SignedUnder(number=event.number, checkpoint=found, holds=holds(found))


def _covers(one: Checkpoint, number: int) -> bool:
    return one.event == number if one.event is not None else one.events >= number
