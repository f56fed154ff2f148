"""What the pieces of a plan give of the orders that finishing has."""

from collections.abc import Sequence

from wideroll.errors import ArgumentError
from wideroll.slitting.model import ByMetre, CutPlan, Order, OrderFill, Quality

__all__ = ["fill_orders"]


def fill_orders(plan: CutPlan, orders: Sequence[Order]) -> tuple[OrderFill, ...]:
    """Finished rolls of each order, the orders served in their sequence.

    Only first quality counts. Film sold by the metre is cut into as many lengths of an order as fit and are still
    wanted; what is left of a piece serves the next order of the same width. A finished roll of a fixed length, spliced
    or not, fills an order of just that length. The plan itself is not made for the orders: it keeps most value
    (``plan_book`` makes plans for orders).

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


_SAME_M = 1e-6
_SLACK = 1e-9
"""A piece of just the wanted length must count in spite of rounding."""
