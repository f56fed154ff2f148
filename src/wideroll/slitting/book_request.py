"""The order book in numbers: kinds of finished rolls, rolls alike, and what fills an order on which day."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.slitting.book_model import BookTerms, WideRoll
from wideroll.slitting.lane import Floats
from wideroll.slitting.model import ByLength, ByMetre, CutRules, FinishedLength, Order, SlitWidth, Spliced
from wideroll.slitting.orders import check_day, check_orders

__all__ = ["Book", "Good", "RollClass", "open_book"]

_SAME_M: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Good:
    """A kind of finished roll. ``floor`` is what one is worth that no order is left for; at least nothing."""

    width: str
    length_m: float
    floor: float
    bulk: bool = False
    """Its width is sold by the metre: one that no order is left for stays uncut."""
    spliced: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RollClass:
    """Rolls that are alike in everything that matters; ``members`` are their places in the sequence asked for."""

    roll: WideRoll
    members: tuple[int, ...]
    day: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Book:
    """The book in numbers.

    Days are put together where they are in time for the same orders: ``days`` of them. ``good_of`` (O,) is the kind of
    each order; ``worth`` (O, days) what a finished roll earns in it; ``quantity`` (O,); ``short_cost`` (O,).
    """

    rolls: tuple[WideRoll, ...]
    orders: tuple[Order, ...]
    widths: tuple[SlitWidth, ...]
    rules: CutRules
    terms: BookTerms
    goods: tuple[Good, ...]
    classes: tuple[RollClass, ...]
    days: int
    good_of: tuple[int, ...]
    worth: Floats
    quantity: Floats
    short_cost: Floats
    late: tuple[tuple[bool, ...], ...]

    @property
    def nothing(self) -> float:
        """The value of the book when no roll is slit: every order short."""
        return -float(np.sum(self.quantity * self.short_cost))

    @property
    def floors(self) -> Floats:
        """(G, days) the least that a finished roll of each kind is worth."""
        return np.repeat(np.array([good.floor for good in self.goods]).reshape(-1, 1), self.days, axis=1)


def open_book(
    rolls: Sequence[WideRoll],
    orders: Sequence[Order],
    *,
    widths: Sequence[SlitWidth],
    rules: CutRules,
    terms: BookTerms,
) -> Book:
    """Check the book and put it in numbers.

    Raises:
        ArgumentError: naming the roll, order or term, the rule and the mend.
    """
    _check(rolls, orders, widths, terms)
    orders = [_valued(order, widths) for order in orders]
    goods = _goods(orders, widths, terms)
    place = {(good.width, good.length_m): number for number, good in enumerate(goods)}
    dues = sorted({order.due for order in orders if order.due})
    late_for = [tuple(bool(roll.day) and due < roll.day for due in dues) for roll in rolls]
    kinds = list(dict.fromkeys(late_for)) or [()]
    late = [[bool(o.due) and kind[dues.index(o.due)] for kind in kinds] for o in orders]
    value = np.array([order.value for order in orders], dtype=np.float64)
    return Book(
        rolls=tuple(rolls),
        orders=tuple(orders),
        widths=tuple(widths),
        rules=rules,
        terms=terms,
        goods=goods,
        classes=_classes(rolls, [kinds.index(kind) for kind in late_for]),
        days=len(kinds),
        good_of=tuple(place[order.width, order.length_m] for order in orders),
        worth=value[:, None] * np.where(np.array(late).reshape(len(orders), len(kinds)), 1.0 - terms.late_share, 1.0),
        quantity=np.array([order.quantity for order in orders], dtype=np.float64),
        short_cost=value * terms.short_share,
        late=tuple(map(tuple, late)),
    )


def _classes(rolls: Sequence[WideRoll], days: Sequence[int]) -> tuple[RollClass, ...]:
    alike: dict[WideRoll, list[int]] = {}
    for number, (roll, day) in enumerate(zip(rolls, days, strict=True)):
        alike.setdefault(replace(roll, name="", day=str(day)), []).append(number)
    return tuple(
        RollClass(roll=rolls[members[0]], members=tuple(members), day=days[members[0]]) for members in alike.values()
    )


def _goods(orders: Sequence[Order], widths: Sequence[SlitWidth], terms: BookTerms) -> tuple[Good, ...]:
    """Every length of every width, the product's own and the orders'; those of widths nobody ordered left out."""
    ordered: dict[tuple[str, float], list[float]] = {}
    for order in orders:
        ordered.setdefault((order.width, order.length_m), []).append(order.value)
    goods = []
    for width in widths:
        wanted = {length for name, length in ordered if name == width.name}
        if not wanted:
            continue
        own = _own_lengths(width)
        for length_m in sorted({*own, *wanted}, reverse=True):
            values = ordered.get((width.name, length_m))
            ordinary, second = own.get(length_m, (min(values) if values else 0.0, 0.0))
            floor = max(ordinary * (1.0 - terms.over_share) if values else ordinary, second, 0.0)
            bulk = isinstance(width.finish, ByMetre)
            spliced = isinstance(width.finish, Spliced) and length_m == width.finish.length_m
            if isinstance(width.finish, ByMetre):
                floor = width.finish.value_per_m * length_m
            goods.append(Good(width=width.name, length_m=length_m, floor=floor, bulk=bulk, spliced=spliced))
    return tuple(goods)


def _own_lengths(width: SlitWidth) -> dict[float, tuple[float, float]]:
    """The finished lengths that the product names, each with its values of first and second quality."""
    finish = width.finish
    if isinstance(finish, ByMetre):
        return {}
    named = finish.lengths if isinstance(finish, ByLength) else (_whole(finish),)
    return {one.length_m: (one.value, one.second_value) for one in named}


def _whole(finish: Spliced) -> FinishedLength:
    return FinishedLength(length_m=finish.length_m, value=finish.value)


def _valued(order: Order, widths: Sequence[SlitWidth]) -> Order:
    """The order with the product's own length where it is meant, and the product's value where it names none."""
    width = next(width for width in widths if width.name == order.width)
    own = _own_lengths(width)
    length_m = next((length for length in own if abs(length - order.length_m) < _SAME_M), order.length_m)
    value = order.value
    if math.isnan(value) and isinstance(width.finish, ByMetre):
        value = width.finish.value_per_m * length_m
    elif math.isnan(value):
        value = own.get(length_m, (math.nan, 0.0))[0]
    if not (math.isfinite(value) and value >= 0.0):
        raise ArgumentError(
            where=f"order {order.number}: value",
            rule="must be finite and at least 0; the product names none for this length",
            value=order.value,
            mend="Give what one of its finished rolls is worth.",
        )
    return replace(order, length_m=length_m, value=value)


def _check(rolls: Sequence[WideRoll], orders: Sequence[Order], widths: Sequence[SlitWidth], terms: BookTerms) -> None:
    if not rolls:
        raise ArgumentError(where="rolls", rule="at least one", value=(), mend="Name a roll that waits to be slit.")
    _check_once("rolls", [roll.name for roll in rolls])
    _check_once("orders", [order.number for order in orders])
    for roll in rolls:
        check_day(f"roll {roll.name}: day", roll.day)
    products = sorted({order.product for order in orders})
    if len(products) > 1:
        raise ArgumentError(
            where="orders",
            rule="must be of one product",
            value=products,
            mend="Plan each product's orders by themselves.",
        )
    check_orders(orders, widths)
    for name in ("late_share", "short_share", "over_share", "gap"):
        share = getattr(terms, name)
        if not (math.isfinite(share) and share >= 0.0):
            raise ArgumentError(
                where=name, rule="must be finite and at least 0", value=share, mend="Give it as a share."
            )
    if not (terms.seconds > 0.0 and terms.rounds >= 1):
        raise ArgumentError(
            where="seconds, rounds",
            rule="must be greater than 0",
            value=(terms.seconds, terms.rounds),
            mend="Give the search some time.",
        )


def _check_once(where: str, names: Sequence[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ArgumentError(where=where, rule="each only once", value=twice, mend="Rename one of them, or take it out.")
