"""The command that takes in what is new of a roll: the record names each file that decisions rest on."""

from collections.abc import Sequence
from typing import Any

from wideroll import __version__
from wideroll.cli.app import app
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, Who
from wideroll.cli.rolls import RollInHand, take_in_hand
from wideroll.cli.sealing import now_utc, open_record, record_held
from wideroll.cli.whoever import who_acts
from wideroll.record import Event
from wideroll.record import Json as Value
from wideroll.report.history_words import act_words
from wideroll.store import Lookup, evidence_bodies, evidence_named, folded

__all__ = ["take_in", "take_in_files"]


@app.command("take-in")
def take_in(plant: PlantArg, roll: RollArg, *, who: Who = None, as_json: Json = False) -> None:
    """Take in what is new, changed or gone of a roll's evidence, so that the record names it.

    \b
    Examples:
      wideroll take-in demo W-2042
      wideroll take-in demo W-2042 --who "L. Technician"

    One event for each act: the roll itself with its scan, strips and properties, sightings, calibrations. Where nothing
    is new nothing is recorded. `wideroll decide` does this first.
    """
    hand = take_in_hand(plant, roll)
    added = take_in_files(hand, who=who)
    files = len(folded(hand.digests))
    if as_json:
        print_json(_document(hand, files, added))
        return
    for event in added:
        say(f"event {event.number}: {act_words(event.act, event.body)}")
    if not added:
        say(f"Nothing is new: the record names all {files} files of {roll} as they are.")


def take_in_files(hand: RollInHand, *, who: str | None) -> tuple[Event, ...]:
    """Make the record name each file that a decision on the roll rests on, as it is; what it added, or nothing.

    Raises:
        InputError: when a file can't be read as what it is, nobody is there to name, or the database is held for too
            long; then nothing is recorded.
        RecordError: when the record doesn't hold.
    """
    files = folded(hand.digests)

    def needed(look: Lookup) -> Sequence[tuple[str, dict[str, Value]]]:
        roll = hand.desk.card.name
        return evidence_bodies(roll, files, evidence_named(look, roll, files), root=hand.root)

    store = open_record(hand.root)
    if store is not None:
        with store:
            if not needed(store.naming):
                return ()
    who = who_acts(who)
    hand.desk.read_all()
    with record_held(hand.root, [hand.results.path]) as held:
        # What is needed is asked again where nobody else can add anything: another may have taken in the same.
        added = held.append_made(needed, who, now_utc(), __version__)
    if added:
        tell(f"taken in as {_numbers(added)} of the record")
    return added


def _numbers(added: Sequence[Event]) -> str:
    first, last = added[0].number, added[-1].number
    return f"event {first}" if first == last else f"events {first} to {last}"


def _document(hand: RollInHand, files: int, added: Sequence[Event]) -> dict[str, Any]:
    return {
        "schema": "wideroll/take-in/1",
        "roll": hand.desk.card.name,
        "files": files,
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
