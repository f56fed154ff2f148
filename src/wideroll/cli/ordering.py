"""The command that plans several rolls for the order book."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.acts.order_lists import ServedProduct, WaitingRoll, record_lists, write_lists
from wideroll.acts.ordering import decided_rolls, orders_document, serve_orders, take_waiting
from wideroll.acts.plants import plant_files
from wideroll.acts.whoever import who_acts
from wideroll.cli.app import EXIT_HOLD, app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.options import Json, PlantArg, Who, misused
from wideroll.report import rich_table, units_of
from wideroll.report.book_grids import book_sentence, fills_grid, rolls_grid

__all__ = ["orders"]

_WRITE: Final = "Write a cut list for each roll to this folder to look at; the recorded ones stay as they are."
_RECORD: Final = "Make these the recorded cut lists of the rolls, by which they are slit."
_NOT_BOTH: Final = "goes without --record; recorded lists lie in the rolls' results"


@app.command()
def orders(
    plant: PlantArg,
    rolls: Annotated[
        list[str] | None, typer.Argument(metavar="[ROLL]...", help="Names of rolls; all that were decided, if none.")
    ] = None,
    *,
    write: Annotated[Path | None, typer.Option(metavar="FOLDER", help=_WRITE)] = None,
    record: Annotated[bool, typer.Option("--record", help=_RECORD)] = False,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Plan the cut of several rolls together, for all that finishing has ordered; decides first where that is stale.

    \b
    Examples:
      wideroll orders demo                             all rolls that were decided
      wideroll orders demo W-2041 W-2042 --write /tmp/lists
      wideroll orders demo W-2042 --record --who "R. Engineer"

    A rejected roll is left out, and so are parts on hold. The recorded plan of a roll, made for it alone, stays, but
    for --record: then each roll's list is the one planned here, and names the order of each finished roll.

    Exit code: 0; with --record 10 where a roll is on hold: then nothing is recorded.
    """
    if record and write is not None:
        raise misused(_NOT_BOTH, "--write")
    plant_files(plant)
    names = tuple(dict.fromkeys(rolls or ())) or decided_rolls(plant)
    if record:
        who = who_acts(who)
    waiting = [one for name in names if (one := take_waiting(plant, name, who, decided=record)) is not None]
    if record:
        _refuse_held(waiting)
    served = serve_orders(plant, waiting)
    if as_json:
        print_json(orders_document(served))
    else:
        for each in served:
            _show(each)
    if record:
        record_lists(served, who=who_acts(who))
    elif write is not None:
        write_lists(served, write)


def _refuse_held(waiting: Sequence[WaitingRoll]) -> None:
    held = [one.name for one in waiting if one.held]
    if held:
        tell(f"On hold: {', '.join(held)}. Nothing is recorded: leave out what is on hold, or have it decided first.")
        raise typer.Exit(EXIT_HOLD)


def _show(one: ServedProduct) -> None:
    units = units_of(one.rolls[0].hand.desk.plant.shop_units)
    say(one.product, style="bold")
    print_table(rich_table(fills_grid(one.book, units)))
    print_table(rich_table(rolls_grid(one.book, one.days, units)))
    say(book_sentence(one.book, units))
    if one.held:
        say(f"Provisional: on hold: {', '.join(one.held)}. Parts on hold are left out of the plan.")
