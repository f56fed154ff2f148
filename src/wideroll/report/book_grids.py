"""What an order book gets of several rolls: who gets what, what is late or short and why, and what each roll yields."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_yield import yield_by_width
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share
from wideroll.slitting import BookFill, BookPlan, CutPlan, Quality, ShortReason

__all__ = ["book_json", "book_sentence", "fills_grid", "rolls_grid", "short_words"]

_SHORT: Final = {
    ShortReason.NO_ROOM: "its width fits between the edge trims of no roll",
    ShortReason.NO_LENGTH: "no clean stretch is long enough for one",
    ShortReason.NO_FILM: "all rolls together hold no more",
    ShortReason.TOO_LATE: "the rolls slit in time hold no more",
    ShortReason.OTHERS_FIRST: "the film is worth more in other orders, or without one",
}
_SIGNIFICANT: Final = 4


def short_words(fill: BookFill) -> str:
    """Why an order stays short and the most that could be made for it alone; empty where it is filled.

    Example:
        >>> from wideroll.slitting import Order
        >>> order = Order(number="1", product="p", width="50", length_m=30.0, quantity=7)
        >>> short_words(BookFill(order=order, rolls=(), most=6, reason=ShortReason.NO_FILM))
        'all rolls together hold no more; at most 6 for it alone'
    """
    if fill.reason is None:
        return ""
    most = "" if fill.most is None else f"; at most {fill.most} for it alone"
    return f"{_SHORT[fill.reason]}{most}"


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
            Column(head="of each width"),
        ),
        rows=tuple(
            (
                Cell(text=name, tone="strong"),
                Cell(text=days.get(name) or "any day"),
                Cell(text=show_number(len(plan.rolls))),
                Cell(text=units.show_area(_area_m2(plan))),
                Cell(text=show_share(_area_m2(plan) / plan.whole.area_m2)),
                Cell(text=show_number(plan.net, decimals)),
                Cell(text="; ".join(_by_width(plan)) or "nothing"),
            )
            for name, plan in book.plans
        ),
        empty="No rolls.",
    )


def _area_m2(plan: CutPlan) -> float:
    return sum(piece.extent.area_m2 for piece in plan.pieces)


def _by_width(plan: CutPlan) -> Iterator[str]:
    for one in yield_by_width(plan):
        second = "" if one.quality is Quality.FIRST else " of second quality"
        yield f"{one.rolls} of {one.width}{second}"


def book_sentence(book: BookPlan, units: CutUnits = METRIC) -> str:
    """What the cut is worth, how far from the most that it could be, and what is made beyond the orders."""
    decimals = decimals_for([book.value], significant=_SIGNIFICANT)
    most = "no cut can earn more" if book.gap == 0.0 else f"the film could earn {show_share(book.gap)} more at most"
    proof = f"with this knife step and the places tried for setting knives {most}"
    late = ", when the time was up" if book.timed_out else ""
    over = [f"{one.quantity} of {one.width} × {units.show_along(one.length_m)} {units.along}" for one in book.over]
    beyond = f" Beyond the orders: {', '.join(over)}." if over else ""
    return f"Worth {show_number(book.value, decimals)}, short orders paid for; {proof}{late}.{beyond}"


def book_json(book: BookPlan, days: Mapping[str, str], provisional: Sequence[str]) -> dict[str, Any]:
    """One product's part of ``wideroll/orders/1``; ``provisional`` are the rolls that are on hold."""
    return {
        "value": book.value,
        "bound": book.bound,
        "bound_anywhere": book.bound_anywhere,
        "gap": book.gap,
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
