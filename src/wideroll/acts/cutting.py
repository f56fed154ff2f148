"""What it costs to want a roll cut otherwise, and the list for it."""

from dataclasses import dataclass
from pathlib import Path

from wideroll.acts.rolls import RollInHand
from wideroll.acts.what_if import AskedWishes, plan_with
from wideroll.readers.toml_files import placed
from wideroll.report import CutHead, CutStatus, cut_json, cut_list_csv, render_cut_sheet, units_of
from wideroll.slitting import CutPlan, check_orders
from wideroll.slitting.wishes import WishPrice
from wideroll.store import write_json, write_whole

__all__ = ["WhatIf", "check_cut_orders", "currency_of", "plan_what_if", "write_what_if"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """A plan with wishes, what each costs, and the head of its list."""

    plan: CutPlan
    prices: tuple[WishPrice, ...]
    head: CutHead


def check_cut_orders(hand: RollInHand) -> None:
    """Refuse orders that don't fit the product's widths, before any work is done.

    Args:
        hand: the roll.

    Raises:
        InputError: naming orders.toml.
    """
    with placed(hand.root / "orders.toml"):
        check_orders(hand.orders, hand.desk.product.widths)


def currency_of(hand: RollInHand) -> str:
    """The currency of the product's values; empty where it gives no costs.

    Args:
        hand: the roll.
    """
    costs = hand.desk.product.costs
    return "" if costs is None else costs.currency


def plan_what_if(hand: RollInHand, recorded: CutPlan, asked: AskedWishes) -> WhatIf:
    """Plan again from what the recorded plan was made from; nothing that is recorded changes.

    Args:
        hand: the roll, decided.
        recorded: its plan.
        asked: of ``read_wishes``.

    Raises:
        ArgumentError: naming the wish that can't be met.
    """
    units = units_of(hand.desk.plant.shop_units)
    plan, prices = plan_with(recorded, asked, units)
    head = CutHead(
        roll=hand.desk.card.name,
        status=CutStatus.WHAT_IF,
        product=hand.desk.product.name,
        plant=hand.desk.plant.name,
        datum_edge=hand.desk.plant.datum_edge,
        units=units,
        currency=currency_of(hand),
        asked=asked.in_other_units(units),
    )
    return WhatIf(plan=plan, prices=prices, head=head)


def write_what_if(folder: Path, found: WhatIf) -> None:
    """Write its list, under other names than the recorded one has, so that it is never taken for that.

    Args:
        folder: made where it isn't there.
        found: of ``plan_what_if``.

    Raises:
        InputError: when the disk refuses.
    """
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / "what-if.csv", cut_list_csv(found.plan, found.head).encode())
    write_whole(folder / "what-if.html", render_cut_sheet(found.plan, found.head, found.prices).encode())
    write_json(folder / "what-if.json", cut_json(found.plan, found.head, found.prices))
