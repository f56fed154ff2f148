"""The command that shows the action cards kept of a roll."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.card_acts import chosen_cards, close_card, closings_of
from wideroll.acts.whoever import who_acts
from wideroll.cli.app import app
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg, Who, misused
from wideroll.readers import PlantFolder
from wideroll.report.card_page import card_page
from wideroll.report.card_text import card_text
from wideroll.report.history_words import time_words
from wideroll.report.machine import plain
from wideroll.store import load_cards, write_whole
from wideroll.workflow import CardClosing
from wideroll.workflow.card_json import card_json

__all__ = ["card"]

_SAY_IT: Final = "must say something; --close goes with --cause and --done"
_ONLY_CLOSING: Final = "goes with --close"
_WHICH: Final = "needs the number of a card before it"


@app.command()
def card(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    roll: RollArg,
    number: Annotated[int | None, typer.Argument(metavar="N", min=0, help="Number of one card.")] = None,
    *,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Also write the cards here, to show or to print.")
    ] = None,
    close: Annotated[bool, typer.Option("--close", help="Close card N: say what was found and done.")] = False,
    cause: Annotated[str | None, typer.Option(metavar="TEXT", help="With --close: what made the marks.")] = None,
    done: Annotated[str | None, typer.Option(metavar="TEXT", help="With --close: what was done about it.")] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Show the action cards that were raised for a roll, the last one last, or close one.

    \b
    Examples:
      wideroll card demo W-2042                          all of them
      wideroll card demo W-2042 1 --page card-1.html     the first, and as a page to print
      wideroll card demo W-2042 1 --close --cause "dirt on R3" --done "wiped at standstill" --who "C. Operator"

    A card is closed once, in the record; it stays as it was raised, and so does its caution.
    """
    _check_closing(number, close=close, said={"--cause": cause, "--done": done})
    PlantFolder(plant).card(roll)
    folder = plant / "results" / roll
    cards = chosen_cards(load_cards(folder), number, folder)
    if close:
        added = close_card(
            plant, roll, cards[0], cause=(cause or "").strip(), done=(done or "").strip(), who=who_acts(who)
        )
        tell(f"closed in event {added.number} of the record")
    closed = closings_of(plant, roll)
    if page is not None and cards:
        write_whole(page, card_page(cards).encode())
        tell(f"page: {page}")
    elif page is not None:
        tell("No page is written: there is no card.")
    if as_json:
        shown = [plain(closed[one.number]) for one in cards if one.number in closed]
        print_json({"schema": "wideroll/action-cards/1", "cards": [card_json(one) for one in cards], "closed": shown})
        return
    for one in cards:
        say(card_text(one))
        if one.number in closed:
            say(_closed_words(closed[one.number]))
    if not cards:
        say(f"No action card was raised for roll {roll}.")


def _check_closing(number: int | None, *, close: bool, said: Mapping[str, str | None]) -> None:
    for option, text in said.items():
        if close and not (text or "").strip():
            raise misused(_SAY_IT, option)
        if not close and text is not None:
            raise misused(_ONLY_CLOSING, option)
    if close and number is None:
        raise misused(_WHICH, "--close")


def _closed_words(one: CardClosing) -> str:
    when = time_words(one.when_utc)
    return f"CLOSED    by {one.who}, {when}, event {one.event}\nCAUSE     {one.cause}\nDONE      {one.done}\n"
