"""The orders that finishing has: whether they make sense, and what the pieces of a plan give of them."""

import calendar
import math
import re
from collections import Counter
from collections.abc import Sequence
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.slitting.model import ByMetre, CutPlan, Order, OrderFill, Quality, SlitWidth

__all__ = ["check_day", "check_orders", "fill_orders"]

_SAME_M: Final = 1e-6
_SLACK: Final = 1e-9
"""A piece of just the wanted length must count in spite of rounding."""
_MONTHS: Final = 12
_DAY: Final = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


def check_orders(orders: Sequence[Order], widths: Sequence[SlitWidth]) -> None:
    """Refuse orders that no plan of the widths could serve, whatever the web is like.

    Raises:
        ArgumentError: naming the order, the rule and the mend.

    Example:
        >>> from wideroll.slitting import ByMetre
        >>> film = SlitWidth(name="35", width_mm=35, tolerance_mm=0.1, finish=ByMetre(value_per_m=1))
        >>> check_orders([Order(number="1", product="p", width="8", length_m=3.0, quantity=9)], [film])
        Traceback (most recent call last):
        ...
        wideroll.errors.ArgumentError: order 1: width: must be one of 35, got '8'. Name the width as the product does.
    """
    for order in orders:
        _check_order(order, [width.name for width in widths])


def fill_orders(plan: CutPlan, orders: Sequence[Order]) -> tuple[OrderFill, ...]:
    """Finished rolls of each order, the orders served in their sequence.

    Only first quality counts. Film sold by the metre is cut into as many lengths of an order as fit and are still
    wanted; what is left of a piece serves the next order of the same width. A finished roll of a fixed length, spliced
    or not, fills an order of just that length. The plan itself is not made for the orders: it keeps most value
    (``plan_book`` makes plans for orders). In a plan of an order book each finished roll fills the order it names.

    Args:
        plan: the cut of one roll.
        orders: of the plan's product.

    Raises:
        ArgumentError: when a length or a quantity isn't positive.

    Example:
        >>> from wideroll.roll import Extent
        >>> from wideroll.slitting import ByMetre, SlitWidth, plan_cut
        >>> web = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=51.0)
        >>> film = SlitWidth(name="35", width_mm=35, tolerance_mm=0.1, finish=ByMetre(value_per_m=1))
        >>> plan = plan_cut(web, avoid=[], widths=[film])
        >>> order = Order(number="1", product="p", width="35", length_m=3.0, quantity=9)
        >>> fill_orders(plan, [order])[0].filled
        3
    """
    if plan.of_book:
        named = Counter(roll.order for roll in plan.rolls)
        return tuple(OrderFill(order=order, filled=named[order.number]) for order in orders)
    bulk = {width.name for width in plan.widths if isinstance(width.finish, ByMetre)}
    first = [roll for roll in plan.rolls if roll.quality is Quality.FIRST]
    left_m = {roll.number: roll.length_m for roll in first}
    fills: list[OrderFill] = []
    for order in orders:
        if not (order.length_m > 0 and order.quantity > 0):
            raise ArgumentError(
                where=f"order {order.number}",
                rule="length and quantity must be greater than 0",
                value=(order.length_m, order.quantity),
                mend="Correct the order, or take it out.",
            )
        filled = 0
        for roll in (roll for roll in first if roll.width == order.width):
            fits = roll.width in bulk or abs(left_m[roll.number] - order.length_m) < _SAME_M
            fit = min(int(left_m[roll.number] / order.length_m + _SLACK), order.quantity - filled) if fits else 0
            left_m[roll.number] -= fit * order.length_m
            filled += fit
        fills.append(OrderFill(order=order, filled=filled))
    return tuple(fills)


def _check_order(order: Order, names: Sequence[str]) -> None:
    where = f"order {order.number}"
    if order.width not in names:
        raise ArgumentError(
            where=f"{where}: width",
            rule=f"must be one of {', '.join(names)}",
            value=order.width,
            mend="Name the width as the product does.",
        )
    if not (math.isfinite(order.length_m) and order.length_m > 0.0):
        raise ArgumentError(
            where=f"{where}: length_m",
            rule="must be finite and greater than 0",
            value=order.length_m,
            mend="Correct the order, or take it out.",
        )
    if not (order.quantity > 0 and order.quantity == int(order.quantity)):
        raise ArgumentError(
            where=f"{where}: quantity",
            rule="must be a whole number greater than 0",
            value=order.quantity,
            mend="Correct the order, or take it out.",
        )
    check_day(f"{where}: due", order.due)


def check_day(where: str, day: str) -> None:
    """Refuse what is no day; none at all may be.

    Raises:
        ArgumentError: naming where it stands.
    """
    found = _DAY.fullmatch(day)
    year, month, number = map(int, found.groups()) if found else (0, 0, 0)
    if day and not (year >= 1 and 1 <= month <= _MONTHS and 1 <= number <= calendar.monthrange(year, month)[1]):
        raise ArgumentError(
            where=where,
            rule="must be a day such as 2026-12-24",
            value=day,
            mend="Write year, month and day with hyphens.",
        )
