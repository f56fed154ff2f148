"""What an order book gets of several rolls: who gets what, what is late or short and why, and what each roll yields."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share
from wideroll.slitting import BookFill, BookPlan, ByMetre, CutPlan, FinishedRoll, OrderFill, Quality, ShortReason

__all__ = ["book_json", "book_sentence", "fill_words", "fills_grid", "rolls_grid", "short_words"]

_SHORT: Final = {
    ShortReason.NO_ROOM: "its width fits between the edge trims of no roll",
    ShortReason.NO_LENGTH: "no clean stretch is long enough for one",
    ShortReason.NO_FILM: "all rolls together hold no more",
    ShortReason.TOO_LATE: "the rolls slit in time hold too few, and later ones are worth more elsewhere",
    ShortReason.OTHERS_FIRST: "the film is worth more in other orders, or without one",
}
_SIGNIFICANT: Final = 4


def short_words(fill: BookFill) -> str:
    """Why an order stays short and the most that could be made for it alone; empty where it is filled.

    Example:
        >>> from wideroll.slitting import Order
        >>> order = Order(number="1", product="p", width="50", length_m=30.0, quantity=7)
        >>> short_words(BookFill(order=order, rolls=(), most=6, reason=ShortReason.NO_FILM))
        'all rolls together hold too few, and the film of 6 goes elsewhere; at most 6 for it alone'
    """
    if fill.reason is None:
        return ""
    why = _SHORT[fill.reason]
    elsewhere = 0 if fill.most is None else fill.most - len(fill.rolls)
    if fill.reason is ShortReason.NO_FILM and elsewhere > 0:
        why = f"all rolls together hold too few, and the film of {elsewhere} goes elsewhere"
    most = "" if fill.most is None else f"; at most {fill.most} for it alone"
    return f"{why}{most}"


def fill_words(fill: OrderFill, plan: CutPlan, units: CutUnits = METRIC) -> str:
    """What the cut of one roll gives of an order; bulk film could be cut to its length, but isn't."""
    order = fill.order
    what = (
        f"{fill.filled} of {order.quantity} rolls of {order.width} × {units.show_along(order.length_m)} {units.along}"
    )
    if plan.of_book:
        return f"order {order.number}: {what} from this roll"
    bulk = any(width.name == order.width and isinstance(width.finish, ByMetre) for width in plan.widths)
    given = "could be cut from the bulk film of this list" if bulk else "in this list"
    return f"order {order.number}: {what} {given}; {fill.short} still wanted"


def fills_grid(book: BookPlan, units: CutUnits = METRIC) -> Grid:
    """Each order with what fills it, in the sequence of the order book."""
    return Grid(
        caption="Orders",
        columns=(
            Column(head="order", keep=True),
            Column(head="width", keep=True),
            Column(head=f"length, {units.along}", number=True),
            Column(head="due", keep=True),
            Column(head="wanted", number=True),
            Column(head="in time", number=True),
            Column(head="late", number=True),
            Column(head="short", number=True),
            Column(head="from"),
        ),
        rows=tuple(
            (
                Cell(text=fill.order.number, tone="strong"),
                Cell(text=fill.order.width),
                Cell(text=units.show_along(fill.order.length_m)),
                Cell(text=fill.order.due or "any day"),
                Cell(text=show_number(fill.order.quantity)),
                Cell(text=show_number(fill.on_time)),
                Cell(text=show_number(fill.late)),
                Cell(text=show_number(fill.short)),
                Cell(text="; ".join(_from(fill)) or "nothing"),
            )
            for fill in book.fills
        ),
        empty="No orders.",
        foot=tuple(
            f"Order {fill.order.number}, {fill.short} of {fill.order.quantity} short: {short_words(fill)}."
            for fill in book.fills
            if fill.short
        ),
    )


def _from(fill: BookFill) -> Iterator[str]:
    """How many finished rolls of an order come from each wide roll."""
    for name, count in Counter(roll.wide_roll for roll in fill.rolls).items():
        yield f"{count} of {name}"


def rolls_grid(book: BookPlan, days: Mapping[str, str], units: CutUnits = METRIC) -> Grid:
    """Each wide roll with what its cut yields; ``days`` are those on which they are slit."""
    decimals = decimals_for([plan.net for _, plan in book.plans], significant=_SIGNIFICANT)
    return Grid(
        caption="Rolls",
        columns=(
            Column(head="roll", keep=True),
            Column(head="slit on", keep=True),
            Column(head="finished rolls", number=True),
            Column(head=f"area, {units.area}", number=True),
            Column(head="share of the web", number=True),
            Column(head="net value", number=True),
            Column(head="of each width and length"),
        ),
        rows=tuple(
            (
                Cell(text=name, tone="strong"),
                Cell(text=days.get(name) or "any day"),
                Cell(text=show_number(len(plan.rolls))),
                Cell(text=units.show_area(_area_m2(plan))),
                Cell(text=show_share(_area_m2(plan) / plan.whole.area_m2)),
                Cell(text=show_number(plan.net, decimals)),
                Cell(text="; ".join(_of_each_kind(plan, units)) or "nothing"),
            )
            for name, plan in book.plans
        ),
        empty="No rolls.",
    )


def _area_m2(plan: CutPlan) -> float:
    return sum(piece.extent.area_m2 for piece in plan.pieces)


def _of_each_kind(plan: CutPlan, units: CutUnits) -> Iterator[str]:
    """How many finished rolls of each width and length; bulk film that no order named a length for stands together."""
    bulk = {width.name for width in plan.widths if isinstance(width.finish, ByMetre)}
    rank = {width.name: number for number, width in enumerate(plan.widths)}
    kinds: dict[tuple[int, bool, str, str], list[FinishedRoll]] = {}
    for roll in plan.rolls:
        loose = roll.width in bulk and not roll.order
        length = "" if loose else units.show_along(roll.length_m)
        kinds.setdefault((rank[roll.width], loose, length, roll.quality), []).append(roll)
    for (_, loose, length, quality), rolls in sorted(kinds.items(), key=lambda one: (one[0][0], -one[1][0].length_m)):
        second = "" if quality == Quality.FIRST else " of second quality"
        said = f"{len(rolls)} of {rolls[0].width}"
        whole = units.show_along(math.fsum(roll.length_m for roll in rolls))
        yield f"{said} in bulk, {whole} {units.along}{second}" if loose else f"{said} × {length} {units.along}{second}"


def book_sentence(book: BookPlan, units: CutUnits = METRIC) -> str:
    """What the film earns and short orders cost, how far from the most it could be, and what is beyond the orders."""
    late = ", when the time was up" if book.timed_out else ""
    over = [f"{one.quantity} of {one.width} × {units.show_along(one.length_m)} {units.along}" for one in book.over]
    beyond = f" Beyond the orders: {', '.join(over)}." if over else ""
    return f"{_worth(book)}; with this knife step and the places tried for setting knives {_most(book)}{late}.{beyond}"


def _worth(book: BookPlan) -> str:
    decimals = decimals_for([book.film], significant=_SIGNIFICANT)
    film, cost, value = (show_number(one, decimals) for one in (book.film, book.short_cost, book.value))
    less = (
        f", short orders cost {cost}: the book is worth {value}"
        if any(fill.short for fill in book.fills)
        else ", no order is short"
    )
    return f"The film earns {film}{less}"


def _most(book: BookPlan) -> str:
    if book.gap == 0.0:
        return "no cut can earn more"
    most = f"the film could earn {show_share(book.gap)} more at most"
    asked = f", which is more than the {show_share(book.terms.gap)} asked for"
    return most + (asked if book.gap > book.terms.gap else "")


def book_json(book: BookPlan, days: Mapping[str, str], provisional: Sequence[str]) -> dict[str, Any]:
    """One product's part of ``wideroll/orders/1``; ``provisional`` are the rolls that are on hold."""
    return {
        "value": book.value,
        "film": book.film,
        "short_cost": book.short_cost,
        "bound": book.bound,
        "bound_anywhere": book.bound_anywhere,
        "gap": book.gap,
        "gap_asked": book.terms.gap,
        "timed_out": book.timed_out,
        "orders": [_fill_json(fill) for fill in book.fills],
        "over": [{"width": o.width, "length_m": o.length_m, "quantity": o.quantity} for o in book.over],
        "rolls": [
            {
                "roll": name,
                "slit_on": days.get(name) or None,
                "provisional": name in provisional,
                "finished_rolls": len(plan.rolls),
                "area_m2": _area_m2(plan),
                "value": plan.value,
                "minutes": plan.minutes,
                "cost": plan.cost,
                "net": plan.net,
            }
            for name, plan in book.plans
        ],
    }


def _fill_json(fill: BookFill) -> dict[str, Any]:
    return {
        "order": fill.order.number,
        "width": fill.order.width,
        "length_m": fill.order.length_m,
        "quantity": fill.order.quantity,
        "due": fill.order.due or None,
        "in_time": fill.on_time,
        "late": fill.late,
        "short": fill.short,
        "reason": fill.reason.value if fill.reason else None,
        "why": short_words(fill),
        "most": fill.most,
        "rolls": [{"roll": f"{one.wide_roll}/{one.number}", "late": one.late} for one in fill.rolls],
    }
