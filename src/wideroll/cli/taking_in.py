"""The command that takes in what is new of a roll: the record names each file that decisions rest on."""

from wideroll.acts.rolls import take_in_hand
from wideroll.acts.taking_in import take_in_document, take_in_files
from wideroll.cli.app import app
from wideroll.cli.console import print_json, say
from wideroll.cli.options import Json, PlantArg, RollArg, Who
from wideroll.report.history_words import act_words
from wideroll.store import folded

__all__ = ["take_in"]


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
        print_json(take_in_document(hand, added))
        return
    for event in added:
        say(f"event {event.number}: {act_words(event.act, event.body)}")
    if not added:
        say(f"Nothing is new: the record names all {files} files of {roll} as they are.")
