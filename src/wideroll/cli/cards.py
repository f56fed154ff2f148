"""The command that shows the action cards kept of a roll."""

from pathlib import Path
from typing import Annotated

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.options import Json, PlantArg, RollArg
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.report.card_page import card_page
from wideroll.report.card_text import card_text
from wideroll.store import load_cards, write_whole
from wideroll.workflow import ActionCard
from wideroll.workflow.card_json import card_json

__all__ = ["card", "chosen_cards"]


@app.command()
def card(
    plant: PlantArg,
    roll: RollArg,
    number: Annotated[int | None, typer.Argument(metavar="N", min=0, help="Number of one card.")] = None,
    *,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Also write the cards here, to show or to print.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Show the action cards that were raised for a roll, the last one last.

    \b
    Examples:
      wideroll card demo W-2042                          all of them
      wideroll card demo W-2042 1 --page card-1.html     the first, and as a page to print
    """
    PlantFolder(plant).card(roll)
    folder = plant / "results" / roll
    cards = chosen_cards(load_cards(folder), number, folder)
    if page is not None and cards:
        write_whole(page, card_page(cards).encode())
        tell(f"page: {page}")
    elif page is not None:
        tell("No page is written: there is no card.")
    if as_json:
        print_json({"schema": "wideroll/action-cards/1", "cards": [card_json(one) for one in cards]})
        return
    for one in cards:
        say(card_text(one))
    if not cards:
        say(f"No action card was raised for roll {roll}.")


def chosen_cards(cards: tuple[ActionCard, ...], number: int | None, folder: Path) -> tuple[ActionCard, ...]:
    """The one with the number, or all.

    Raises:
        InputError: when none has it.
    """
    if number is None:
        return cards
    chosen = tuple(one for one in cards if one.number == number)
    if not chosen:
        raise InputError(
            where=str(folder / "cards"),
            rule=f"the card must be one of: {', '.join(str(one.number) for one in cards) or 'none'}",
            value=number,
            mend="Correct the number, or leave it out to see all.",
        )
    return chosen
