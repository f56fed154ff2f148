"""The order book over several wide rolls: the cut of each that earns most together, and proof of how good it is."""

import math
from collections.abc import Sequence
from typing import Final

from wideroll.slitting.book_finish import Filled, finish_book
from wideroll.slitting.book_model import BookFill, BookPlan, BookTerms, OverMade, WideRoll
from wideroll.slitting.book_request import Book, open_book
from wideroll.slitting.book_rolls import empty_plan, plan_of
from wideroll.slitting.book_search import search_book
from wideroll.slitting.book_short import most_of, reason_of
from wideroll.slitting.desk import CutDesk
from wideroll.slitting.model import CutPlan, CutRules, Order, SlitWidth

__all__ = ["plan_book"]

_USUAL_RULES: Final = CutRules()
_USUAL_TERMS: Final = BookTerms()
_ROUNDING: Final = 1e-6


def plan_book(
    rolls: Sequence[WideRoll],
    orders: Sequence[Order],
    *,
    widths: Sequence[SlitWidth],
    rules: CutRules = _USUAL_RULES,
    terms: BookTerms = _USUAL_TERMS,
) -> BookPlan:
    """The cut of several rolls that earns most of an order book.

    Orders may want lengths that the product doesn't name. A finished roll of an ordered kind that no order is left for
    is worth the ordinary value less ``over_share``; where its width is sold by the metre it stays uncut. Film that no
    order wants keeps its ordinary value.

    Args:
        rolls: with unlike names; rolls alike in all but their names cost no more to plan than one.
        orders: of one product, with unlike numbers.
        widths: what may be slit, with unlike names, and how it is sold without an order.
        rules: how the slitter may cut.
        terms: what failing an order costs, and how long to search.

    Raises:
        ArgumentError: when the book or the request for one of its rolls makes no sense. An order that can't be filled
            is a result, with its reason.

    Example:
        >>> from wideroll.roll import Extent
        >>> from wideroll.slitting import ByMetre, Order, SlitWidth, WideRoll
        >>> web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=116.0)
        >>> film = SlitWidth(name="50", width_mm=50.0, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
        >>> order = Order(number="1", product="p", width="50", length_m=30.0, quantity=7, value=40.0)
        >>> book = plan_book([WideRoll(name="W-1", whole=web)], [order], widths=[film])
        >>> fill = book.fills[0]
        >>> fill.on_time, fill.short, fill.most, fill.reason.value
        (6, 1, 6, 'no-film')
        >>> book.value, book.gap
        (240.0, 0.0)
    """
    book = open_book(rolls, orders, widths=widths, rules=rules, terms=terms)
    found = search_book(book)
    filled = finish_book(found.pool, found.chosen)
    fills = tuple(_fill(book, found.desks, order, filled) for order in range(len(book.orders)))
    plans = tuple((roll.name, _plan(book, found.desks, number, filled)) for number, roll in enumerate(book.rolls))
    cost = math.fsum(float(book.short_cost[at]) * fill.short for at, fill in enumerate(fills))
    value = math.fsum(plan.net for _, plan in plans) - cost
    scale = abs(value) + cost + float(book.quantity @ book.worth.max(axis=1))
    return BookPlan(
        plans=plans,
        fills=fills,
        over=_over(book, filled),
        value=value,
        bound=_at_least(found.bound, value, scale=scale),
        bound_anywhere=_at_least(found.bound_anywhere, value, scale=scale),
        rounds=found.rounds,
        timed_out=found.timed_out,
        terms=terms,
    )


def _at_least(bound: float, value: float, *, scale: float) -> float:
    """The bound, raised to the value where only rounding put it below."""
    if value - bound > _ROUNDING * scale:
        # it would prove nothing, and must not pass for a gap of 0
        wrong = f"the bound {bound!r} of the order book lies below the value {value!r} of its own plan"
        raise ArithmeticError(wrong)
    return max(bound, value)


def _plan(book: Book, desks: Sequence[CutDesk], roll: int, filled: Filled) -> CutPlan:
    if roll in filled.slit:
        return plan_of(book, filled.slit[roll])
    return empty_plan(book, next(desk for kind, desk in zip(book.classes, desks, strict=True) if roll in kind.members))


def _fill(book: Book, desks: Sequence[CutDesk], order: int, filled: Filled) -> BookFill:
    rolls = filled.rolls[order]
    if len(rolls) == book.orders[order].quantity:
        return BookFill(order=book.orders[order], rolls=rolls)
    most = most_of(book, desks, order, in_time=False)
    return BookFill(order=book.orders[order], rolls=rolls, most=most, reason=reason_of(book, desks, order, most))


def _over(book: Book, filled: Filled) -> tuple[OverMade, ...]:
    ordered = set(book.good_of)
    return tuple(
        OverMade(width=good.width, length_m=good.length_m, quantity=int(filled.surplus[number]))
        for number, good in enumerate(book.goods)
        if number in ordered and filled.surplus[number] > 0
    )
