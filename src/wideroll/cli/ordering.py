"""The command that plans several rolls for the order book."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll.cli.app import EXIT_HOLD, app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.deciding import decide_roll, who_acts
from wideroll.cli.options import Json, PlantArg, Who, misused
from wideroll.cli.order_lists import ServedProduct, WaitingRoll, record_lists, write_lists
from wideroll.cli.rolls import take_in_hand
from wideroll.cli.sampling import plant_files
from wideroll.errors import InputError
from wideroll.readers.order_files import read_orders
from wideroll.readers.toml_files import placed
from wideroll.report import rich_table, units_of
from wideroll.report.book_grids import book_json, book_sentence, fills_grid, rolls_grid
from wideroll.slitting import BookTerms, WideRoll, plan_book

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
    files = plant_files(plant)
    names = tuple(dict.fromkeys(rolls or ())) or _decided_rolls(plant)
    if record:
        who = who_acts(who)
    waiting = [one for name in names if (one := _take(plant, name, who, decided=record)) is not None]
    if record:
        _refuse_held(waiting)
    with placed(plant / "orders.toml"):
        served = [_serve(product, waiting, files.book_terms()) for product in _products(plant, waiting)]
    if as_json:
        print_json({"schema": "wideroll/orders/1", "products": [_document(one) for one in served]})
    else:
        for each in served:
            _show(each)
    if record:
        record_lists(served, who=who_acts(who))
    elif write is not None:
        write_lists(served, write)


def _decided_rolls(plant: Path) -> tuple[str, ...]:
    found = tuple(sorted(path.parent.name for path in (plant / "results").glob("*/decision.json")))
    if not found:
        raise InputError(
            where=str(plant / "results"),
            rule="a roll must have been decided",
            mend="Run `wideroll decide`, or name the rolls.",
        )
    return found


def _take(plant: Path, name: str, who: str | None, *, decided: bool) -> WaitingRoll | None:
    """A roll with its decision, which with ``decided`` must have been made before; None where it is rejected."""
    hand = take_in_hand(plant, name)
    if decided and not (hand.results.path / "decision.json").is_file():
        raise InputError(
            where=f"roll {name}",
            rule="a roll must have been decided before a cut is recorded for it",
            mend=f"Run `wideroll decide {plant} {name}` and look at what it says.",
        )
    done = decide_roll(hand, who=who)
    if done.plan is None:
        tell(f"{name} is rejected: there is nothing to cut.")
        return None
    return WaitingRoll(hand=hand, done=done, plan=done.plan)


def _refuse_held(waiting: Sequence[WaitingRoll]) -> None:
    held = [one.name for one in waiting if one.held]
    if held:
        tell(f"On hold: {', '.join(held)}. Nothing is recorded: leave out what is on hold, or have it decided first.")
        raise typer.Exit(EXIT_HOLD)


def _products(plant: Path, waiting: Sequence[WaitingRoll]) -> list[str]:
    """Products of the rolls that there are orders for.

    Raises:
        InputError: when there are none.
    """
    found = list(dict.fromkeys(one.hand.desk.product.name for one in waiting if one.hand.orders))
    if not found:
        raise _nothing_ordered(plant, waiting)
    for one in waiting:
        if not one.hand.orders:
            tell(f"{one.name} is of {one.hand.desk.product.name}, of which nothing is ordered: it is left out.")
    return found


def _nothing_ordered(plant: Path, waiting: Sequence[WaitingRoll]) -> InputError:
    path = plant / "orders.toml"
    products = ", ".join(sorted({one.hand.desk.product.name for one in waiting}))
    named = ", ".join(dict.fromkeys(order.product for order in read_orders(path)))
    return InputError(
        where=str(path),
        rule=f"there must be an order for a product of the rolls: {products}"
        if products
        else "there must be a roll that may be cut",
        value=f"orders for {named}" if named else "no orders",
        mend="Name the product as the rolls' cards do, add the orders, or name other rolls.",
    )


def _serve(product: str, waiting: Sequence[WaitingRoll], terms: BookTerms) -> ServedProduct:
    mine = tuple(one for one in waiting if one.hand.desk.product.name == product)
    desk = mine[0].hand.desk
    wide = [
        WideRoll(
            name=one.name,
            whole=one.plan.whole,
            avoid=one.plan.avoid,
            counts=one.plan.counts,
            day=one.hand.desk.card.slit_on,
        )
        for one in mine
    ]
    book = plan_book(wide, mine[0].hand.orders, widths=desk.product.widths, rules=desk.product.cut_rules, terms=terms)
    return ServedProduct(product=product, rolls=mine, book=book)


def _document(one: ServedProduct) -> dict[str, Any]:
    return {"product": one.product, **book_json(one.book, one.days, one.held)}


def _show(one: ServedProduct) -> None:
    units = units_of(one.rolls[0].hand.desk.plant.shop_units)
    say(one.product, style="bold")
    print_table(rich_table(fills_grid(one.book, units)))
    print_table(rich_table(rolls_grid(one.book, one.days, units)))
    say(book_sentence(one.book, units))
    if one.held:
        say(f"Provisional: on hold: {', '.join(one.held)}. Parts on hold are left out of the plan.")
