"""What the pieces of a plan give of the orders that finishing has."""

from collections.abc import Sequence

from wideroll.errors import ArgumentError
from wideroll.slitting.model import CutPlan, Order, OrderFill

__all__ = ["fill_orders"]


def fill_orders(plan: CutPlan, orders: Sequence[Order]) -> tuple[OrderFill, ...]:
    """Finished rolls of each order, the orders served in their sequence.

    Each piece is cut into as many lengths of an order as fit and are still wanted; what is left of it serves the next
    order of the same width. The plan itself is not made for the orders: it keeps most value.

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
    left_m = {piece.number: piece.extent.length_m for piece in plan.pieces}
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
        for piece in plan.pieces:
            if piece.width != order.width:
                continue
            fit = min(int(left_m[piece.number] / order.length_m + _SLACK), order.quantity - filled)
            left_m[piece.number] -= fit * order.length_m
            filled += fit
        fills.append(OrderFill(order=order, filled=filled))
    return tuple(fills)


_SLACK = 1e-9
"""A piece of just the wanted length must count in spite of rounding."""
