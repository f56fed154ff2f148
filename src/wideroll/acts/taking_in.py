"""Taking in what is new of a roll: the record names each file that decisions rest on."""

from collections.abc import Sequence
from functools import partial
from typing import Any

from wideroll import __version__
from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import now_utc, open_record, record_held, standing_on, what_stands
from wideroll.acts.telling import tell
from wideroll.acts.whoever import who_acts
from wideroll.record import Event, Json
from wideroll.store import Lookup, Standing, evidence_bodies, evidence_named, folded

__all__ = ["take_in_document", "take_in_files", "take_in_first"]


def take_in_first(hand: RollInHand, *, who: str | None) -> Standing:
    """Take in what is new of the roll, and say what then stands on it, for whoever begins to decide.

    Args:
        hand: the roll.
        who: takes it in; None takes the name logged in with.

    Raises:
        InputError: as ``take_in_files``.
        RecordError: when the record doesn't hold.
    """
    store = open_record(hand.root)
    if store is not None:
        with store:
            if not _needed(hand, store.naming):
                return standing_on(store, hand)
    take_in_files(hand, who=who)
    return what_stands(hand)


def take_in_files(hand: RollInHand, *, who: str | None) -> tuple[Event, ...]:
    """Make the record name each file that a decision on the roll rests on, as it is; what it added, or nothing.

    Args:
        hand: the roll.
        who: takes it in; None takes the name logged in with.

    Raises:
        InputError: when a file can't be read as what it is, nobody is there to name, or the database is held for too
            long; then nothing is recorded.
        RecordError: when the record doesn't hold.
    """
    who = who_acts(who)
    hand.desk.read_all()
    _tell_of_lost_record(hand)
    with record_held(hand.root, [hand.results.path]) as store:
        added = store.append_made(partial(_needed, hand), who, now_utc(), __version__)
    if added:
        tell(f"taken in as {_numbers(added)} of the record")
    return added


def _tell_of_lost_record(hand: RollInHand) -> None:
    store = open_record(hand.root)
    if store is not None:
        store.close()
    elif (hand.results.path / "decision.json").is_file():
        tell(f"{hand.root}: a decision stands, but there is no record; a new one begins.")


def _needed(hand: RollInHand, look: Lookup) -> Sequence[tuple[str, dict[str, Json]]]:
    roll, files = hand.desk.card.name, folded(hand.digests)
    return evidence_bodies(roll, files, evidence_named(look, roll, files), root=hand.root)


def _numbers(added: Sequence[Event]) -> str:
    first, last = added[0].number, added[-1].number
    return f"event {first}" if first == last else f"events {first} to {last}"


def take_in_document(hand: RollInHand, added: Sequence[Event]) -> dict[str, Any]:
    """What was taken in, for machines.

    Args:
        hand: the roll.
        added: the events, of ``take_in_files``.
    """
    return {
        "schema": "wideroll/take-in/1",
        "roll": hand.desk.card.name,
        "files": len(folded(hand.digests)),
        "events": [
            {
                "number": event.number,
                "act": event.act,
                "who": event.who,
                "when_utc": event.when_utc,
                "files": event.body.get("files", {}),
                "gone": event.body.get("gone", []),
            }
            for event in added
        ],
    }
