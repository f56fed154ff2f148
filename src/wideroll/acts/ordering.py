"""The cut of several rolls, planned together for the order book."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wideroll.acts.deciding import decide_roll
from wideroll.acts.order_lists import ServedProduct, WaitingRoll
from wideroll.acts.rolls import take_in_hand
from wideroll.acts.telling import tell
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.readers.order_files import read_orders
from wideroll.readers.toml_files import placed
from wideroll.report.book_grids import book_json
from wideroll.slitting import BookTerms, WideRoll, plan_book

__all__ = ["decided_rolls", "orders_document", "serve_orders", "take_waiting"]


def decided_rolls(plant: Path) -> tuple[str, ...]:
    """Names of the rolls that were decided.

    Args:
        plant: its folder.

    Raises:
        InputError: when there are none.
    """
    found = tuple(sorted(path.parent.name for path in (plant / "results").glob("*/decision.json")))
    if not found:
        raise InputError(
            where=str(plant / "results"),
            rule="a roll must have been decided",
            mend="Run `wideroll decide`, or name the rolls.",
        )
    return found


def take_waiting(plant: Path, name: str, who: str | None, *, decided: bool) -> WaitingRoll | None:
    """A roll with its decision, made anew where that is stale; None where it is rejected.

    Args:
        plant: its folder.
        name: of the roll.
        who: decides where that is stale; None takes the name logged in with.
        decided: it must have been decided before.

    Raises:
        InputError: when it wasn't, or a file has a fault.
        RecordError: when the record doesn't hold.
    """
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


def serve_orders(plant: Path, waiting: Sequence[WaitingRoll]) -> list[ServedProduct]:
    """Plan the cut of decided rolls together, product by product, for all that is ordered of it.

    Args:
        plant: its folder.
        waiting: of ``take_waiting``.

    Raises:
        InputError: when nothing of the rolls' products is ordered.
    """
    files = PlantFolder(plant)
    with placed(plant / "orders.toml"):
        return [_serve(product, waiting, files.book_terms()) for product in _products(plant, waiting)]


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


def orders_document(served: Sequence[ServedProduct]) -> dict[str, Any]:
    """The plans for machines.

    Args:
        served: of ``serve_orders``.
    """
    products = [{"product": one.product, **book_json(one.book, one.days, one.held)} for one in served]
    return {"schema": "wideroll/orders/1", "products": products}
