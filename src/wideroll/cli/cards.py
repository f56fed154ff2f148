"""The command that shows the action cards kept of a roll."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll.acts.card_acts import chosen_cards, close_card, give_back_card, take_card
from wideroll.acts.card_states import CardState, states_of
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
from wideroll.workflow import ActionCard
from wideroll.workflow.card_json import card_json

__all__ = ["card"]

_SAY_IT: Final = "must say something; --close goes with --cause and --done"
_ONLY_CLOSING: Final = "goes with --close"
_WHICH: Final = "needs the number of a card before it"
_ONE_ACT: Final = "goes alone: a card is taken, given back or closed"


@app.command()
def card(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    roll: RollArg,
    number: Annotated[int | None, typer.Argument(metavar="N", min=0, help="Number of one card.")] = None,
    *,
    page: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Also write the cards here, to show or to print.")
    ] = None,
    take: Annotated[bool, typer.Option("--take", help="See to card N from now on, whoever did before.")] = False,
    give_back: Annotated[bool, typer.Option("--give-back", help="See to card N no longer.")] = False,
    close: Annotated[bool, typer.Option("--close", help="Close card N: say what was found and done.")] = False,
    cause: Annotated[str | None, typer.Option(metavar="TEXT", help="With --close: what made the marks.")] = None,
    done: Annotated[str | None, typer.Option(metavar="TEXT", help="With --close: what was done about it.")] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Show the action cards that were raised for a roll, the last one last; take one, or close it.

    \b
    Examples:
      wideroll card demo W-2042                          all of them
      wideroll card demo W-2042 1 --page card-1.html     the first, and as a page to print
      wideroll card demo W-2042 1 --take --who "C. Operator"
      wideroll card demo W-2042 1 --close --cause "dirt on R3" --done "wiped at standstill" --who "C. Operator"

    A card is closed once, in the record; it stays as it was raised, and so does its caution.
    """
    acts = {"--take": take, "--give-back": give_back, "--close": close}
    asked = [name for name, wanted in acts.items() if wanted]
    _check_act(number, acts=asked, said={"--cause": cause, "--done": done})
    PlantFolder(plant).card(roll)
    folder = plant / "results" / roll
    cards = chosen_cards(load_cards(folder), number, folder)
    for act in asked:
        tell(_done(act, plant, roll, cards[0], who=who_acts(who), said=(cause or "", done or "")))
    if page is not None and cards:
        write_whole(page, card_page(cards).encode())
        tell(f"page: {page}")
    elif page is not None:
        tell("No page is written: there is no card.")
    states = {one.card.number: one for one in states_of(plant, [roll])[0]}
    shown = [states[one.number] for one in cards]
    if as_json:
        print_json(_document(shown))
        return
    for one in shown:
        say(card_text(one.card))
        if words := _state_words(one):
            say(words)
    if not cards:
        say(f"No action card was raised for roll {roll}.")


def _done(act: str, plant: Path, roll: str, card: ActionCard, *, who: str, said: tuple[str, str]) -> str:
    """Do it, and say so."""
    if act == "--take":
        return f"taken in event {take_card(plant, roll, card, who=who).number} of the record"
    if act == "--give-back":
        return f"given back in event {give_back_card(plant, roll, card, who=who).number} of the record"
    cause, done = (text.strip() for text in said)
    return f"closed in event {close_card(plant, roll, card, cause=cause, done=done, who=who).number} of the record"


def _document(cards: Sequence[CardState]) -> dict[str, Any]:
    return {
        "schema": "wideroll/action-cards/1",
        "cards": [card_json(one.card) for one in cards],
        "taken": [plain(one.recorded.taken) for one in cards if one.state == "taken"],
        "closed": [plain(one.recorded.closing) for one in cards if one.state == "closed"],
    }


def _check_act(number: int | None, *, acts: Sequence[str], said: Mapping[str, str | None]) -> None:
    if len(acts) > 1:
        raise misused(_ONE_ACT, acts[0])
    for option, text in said.items():
        if "--close" in acts and not (text or "").strip():
            raise misused(_SAY_IT, option)
        if "--close" not in acts and text is not None:
            raise misused(_ONLY_CLOSING, option)
    if acts and number is None:
        raise misused(_WHICH, acts[0])


def _state_words(one: CardState) -> str:
    closing, taken = one.recorded.closing, one.recorded.taken
    if closing is not None:
        when = time_words(closing.when_utc)
        said = f"CAUSE     {closing.cause}\nDONE      {closing.done}\n"
        return f"CLOSED    by {closing.who}, {when}, event {closing.event}\n{said}"
    if taken is not None:
        return f"TAKEN     by {taken.who}, {time_words(taken.when_utc)}, event {taken.event}\n"
    return ""
