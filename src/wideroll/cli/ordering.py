"""The command that plans several rolls for the order book."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.deciding import Decided, decide_roll
from wideroll.cli.options import Json, PlantArg, Who
from wideroll.cli.rolls import RollInHand, take_in_hand
from wideroll.cli.sampling import plant_files
from wideroll.errors import InputError
from wideroll.readers.toml_files import placed
from wideroll.release import Verdict
from wideroll.report import CutHead, CutStatus, cut_json, cut_list_csv, render_cut_sheet, rich_table, units_of
from wideroll.report.book_grids import book_json, book_sentence, fills_grid, rolls_grid
from wideroll.slitting import BookPlan, BookTerms, CutPlan, WideRoll, plan_book
from wideroll.store import write_json, write_whole

__all__ = ["orders"]

_WRITE = "Write a cut list for each roll to this folder; the recorded ones stay as they are."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Waiting:
    """A decided roll that waits for the slitter, with its recorded plan."""

    hand: RollInHand
    done: Decided
    plan: CutPlan

    @property
    def name(self) -> str:
        return self.hand.desk.card.name

    @property
    def held(self) -> bool:
        return self.done.decision.verdict is Verdict.HOLD


@dataclass(frozen=True, slots=True, kw_only=True)
class _Served:
    """The rolls of one product and the cut of all of them."""

    product: str
    rolls: tuple[_Waiting, ...]
    book: BookPlan

    @property
    def days(self) -> dict[str, str]:
        return {roll.name: roll.hand.desk.card.slit_on for roll in self.rolls}

    @property
    def held(self) -> list[str]:
        return [roll.name for roll in self.rolls if roll.held]


@app.command()
def orders(
    plant: PlantArg,
    rolls: Annotated[
        list[str] | None, typer.Argument(metavar="[ROLL]...", help="Names of rolls; all that were decided, if none.")
    ] = None,
    *,
    write: Annotated[Path | None, typer.Option(metavar="FOLDER", help=_WRITE)] = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Plan the cut of several rolls together, for all that finishing has ordered; decides first where that is stale.

    \b
    Examples:
      wideroll orders demo                             all rolls that were decided
      wideroll orders demo W-2041 W-2042 --write /tmp/lists

    A rejected roll is left out, and so are parts on hold. The recorded plan of a roll, made for it alone, stays.
    """
    files = plant_files(plant)
    names = tuple(dict.fromkeys(rolls or ())) or _decided_rolls(plant)
    waiting = [one for name in names if (one := _take(plant, name, who)) is not None]
    with placed(plant / "orders.toml"):
        served = [_serve(product, waiting, files.book_terms()) for product in _products(plant, waiting)]
    if as_json:
        print_json({"schema": "wideroll/orders/1", "products": [_document(one) for one in served]})
    else:
        for each in served:
            _show(each)
    if write is not None:
        for each in served:
            _write(write, each)


def _decided_rolls(plant: Path) -> tuple[str, ...]:
    found = tuple(sorted(path.parent.name for path in (plant / "results").glob("*/decision.json")))
    if not found:
        raise InputError(
            where=str(plant / "results"),
            rule="a roll must have been decided",
            mend="Run `wideroll decide`, or name the rolls.",
        )
    return found


def _take(plant: Path, name: str, who: str | None) -> _Waiting | None:
    hand = take_in_hand(plant, name)
    done = decide_roll(hand, who=who)
    if done.plan is None:
        tell(f"{name} is rejected: there is nothing to cut.")
        return None
    return _Waiting(hand=hand, done=done, plan=done.plan)


def _products(plant: Path, waiting: Sequence[_Waiting]) -> list[str]:
    """Products of the rolls that there are orders for.

    Raises:
        InputError: when there are none.
    """
    found = list(dict.fromkeys(one.hand.desk.product.name for one in waiting if one.hand.orders))
    if not found:
        products = sorted({one.hand.desk.product.name for one in waiting})
        raise InputError(
            where=str(plant / "orders.toml"),
            rule="there must be an order for a product of the rolls",
            value=", ".join(products) or "no roll that may be cut",
            mend="Add the orders, or name other rolls.",
        )
    return found


def _serve(product: str, waiting: Sequence[_Waiting], terms: BookTerms) -> _Served:
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
    return _Served(product=product, rolls=mine, book=book)


def _document(one: _Served) -> dict[str, Any]:
    return {"product": one.product, **book_json(one.book, one.days, one.held)}


def _show(one: _Served) -> None:
    units = units_of(one.rolls[0].hand.desk.plant.shop_units)
    say(one.product, style="bold")
    print_table(rich_table(fills_grid(one.book, units)))
    print_table(rich_table(rolls_grid(one.book, one.days, units)))
    say(book_sentence(one.book, units))
    if one.held:
        say(f"Provisional: on hold: {', '.join(one.held)}. Parts on hold are left out of the plan.")


def _write(folder: Path, one: _Served) -> None:
    """Under other names than a recorded list has, and marked as none."""
    folder.mkdir(parents=True, exist_ok=True)
    for roll, (name, plan) in zip(one.rolls, one.book.plans, strict=True):
        plant = roll.hand.desk.plant
        head = CutHead(
            roll=name,
            status=CutStatus.WHAT_IF,
            product=one.product,
            plant=plant.name,
            datum_edge=plant.datum_edge,
            units=units_of(plant.shop_units),
            facts=(("planned for", "the order book"),),
        )
        write_whole(folder / f"{name}-orders.csv", cut_list_csv(plan, head).encode())
        write_whole(folder / f"{name}-orders.html", render_cut_sheet(plan, head).encode())
        write_json(folder / f"{name}-orders.json", cut_json(plan, head))
        tell(f"{name}: {folder / f'{name}-orders.html'}, and .csv and .json beside it")
