"""The decision that stands on a roll, for commands that show it and change nothing."""

import json
from pathlib import Path
from typing import Final

from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import check_holds, open_record
from wideroll.errors import InputError, RecordError
from wideroll.readers import PlantFolder
from wideroll.record import Event, digest
from wideroll.report.pdf import Sealed
from wideroll.store import (
    CARD,
    CARD_CLOSED,
    CUT,
    DECISION,
    RecordStore,
    read_bytes,
    sealed_bytes,
)

__all__ = ["events_of_cards", "sealed_decision"]

_OF_CARDS: Final = (CARD, CARD_CLOSED)
_DOCUMENT: Final = "decision.json"


def sealed_decision(hand: RollInHand) -> Sealed:
    """The record's last decision on the roll, where its inputs and its files are still what the record names.

    Args:
        hand: the roll.

    Raises:
        InputError: when there is none, or the roll's evidence has changed since.
        RecordError: when the record doesn't hold, or a file isn't the one that was sealed.
    """
    with _record(hand) as store:
        report = check_holds(store, hand.root)
        roll = hand.desk.card.name
        decision, cut = store.last(DECISION, roll), store.last(CUT, roll)
    if decision is None:
        raise _undecided(hand, "no decision on this roll")
    if decision.body.get("inputs") != hand.fingerprint:
        raise _undecided(hand, f"event {decision.number}, decided on other evidence or by another version")
    cut = cut if cut is not None and cut.number > decision.number else None
    _check_files(hand, [decision] if cut is None else [decision, cut])
    return Sealed(
        decision=decision,
        document=read_bytes(hand.results.path / _DOCUMENT),
        cut=cut,
        signatures=tuple(one for one in report.checkpoints if one.events >= decision.number),
    )


def events_of_cards(root: Path, roll: str) -> tuple[Event, ...]:
    """The events in which cards of a roll were raised and closed, in order; none where there is no record yet.

    Args:
        root: the plant's folder.
        roll: its name.

    Raises:
        RecordError: when the record doesn't hold.
    """
    store = open_record(root)
    if store is None:
        return ()
    with store:
        check_holds(store, root)
        bodies = ((row, json.loads(row.body)) for row in store.naming(_OF_CARDS, (roll,)))
        return tuple(Event(**row._asdict() | {"body": body}) for row, body in bodies if body.get("roll") == roll)


def _record(hand: RollInHand) -> RecordStore:
    store = open_record(hand.root)
    if store is None:
        where = PlantFolder(hand.root).record_url().removeprefix("sqlite:///")
        raise _undecided(hand, f"no record at {where}")
    return store


def _undecided(hand: RollInHand, value: str) -> InputError:
    roll = hand.desk.card.name
    return InputError(
        where=f"roll {roll}",
        rule="what is printed is the decision that the record holds on the roll's evidence as it is now",
        value=value,
        mend=f"Decide it first: wideroll decide {hand.root} {roll}.",
    )


def _check_files(hand: RollInHand, acts: list[Event]) -> None:
    """Each file is the one that the newest act naming it names."""
    named: dict[str, tuple[object, int]] = {}
    for act in acts:
        outputs = act.body.get("outputs")
        named |= {name: (sealed, act.number) for name, sealed in (outputs if isinstance(outputs, dict) else {}).items()}
    for name, (sealed, number) in named.items():
        path = hand.results.path / name
        if not path.exists() or digest(sealed_bytes(path)) != sealed:
            raise RecordError(
                where=str(path),
                rule=f"must be the file that event {number} of the record names",
                value="another file" if path.exists() else "no file",
                mend=f"Find out who changed it; wideroll decide {hand.root} {hand.desk.card.name} makes it anew.",
            )
