"""Regions to avoid and widths to the cut that keeps most value.

Nothing here decides what is good film: regions come in, knives come out. No roll is marked as cut, no list is printed,
and nothing is left to chance: the same request gives the same plan.
"""

from wideroll.slitting.greedy import greedy_cut
from wideroll.slitting.model import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CrossCutAt,
    CutPlan,
    CutRules,
    Finish,
    FinishedLength,
    FinishedRoll,
    KnifeAt,
    Loss,
    Order,
    OrderFill,
    Piece,
    Quality,
    Run,
    SlitWidth,
    Spliced,
    Wish,
    WithoutWidth,
)
from wideroll.slitting.orders import fill_orders
from wideroll.slitting.plan import plan_cut

__all__ = [
    "Avoid",
    "ByLength",
    "ByMetre",
    "CountLimit",
    "CrossCutAt",
    "CutPlan",
    "CutRules",
    "Finish",
    "FinishedLength",
    "FinishedRoll",
    "KnifeAt",
    "Loss",
    "Order",
    "OrderFill",
    "Piece",
    "Quality",
    "Run",
    "SlitWidth",
    "Spliced",
    "Wish",
    "WithoutWidth",
    "fill_orders",
    "greedy_cut",
    "plan_cut",
]
