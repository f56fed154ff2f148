"""Regions to avoid and widths to the cut that keeps most value.

Nothing here decides what is good film: regions come in, knives come out. No roll is marked as cut, no list is printed,
and nothing is left to chance: the same request gives the same plan.
"""

from typing import TYPE_CHECKING

from wideroll.on_demand import on_demand

if TYPE_CHECKING:
    from wideroll.slitting.book import plan_book
    from wideroll.slitting.book_model import (
        BookFill,
        BookPlan,
        BookTerms,
        OverMade,
        RollOfOrder,
        ShortReason,
        WideRoll,
    )
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
    from wideroll.slitting.orders import check_orders, fill_orders
    from wideroll.slitting.plan import plan_cut
    from wideroll.slitting.wishes import WishPrice, price_wishes, wish_words
    from wideroll.slitting.yields import WidthYield, yields_of

__all__ = [
    "Avoid",
    "BookFill",
    "BookPlan",
    "BookTerms",
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
    "OverMade",
    "Piece",
    "Quality",
    "RollOfOrder",
    "Run",
    "ShortReason",
    "SlitWidth",
    "Spliced",
    "WideRoll",
    "WidthYield",
    "Wish",
    "WishPrice",
    "WithoutWidth",
    "check_orders",
    "fill_orders",
    "greedy_cut",
    "plan_book",
    "plan_cut",
    "price_wishes",
    "wish_words",
    "yields_of",
]

on_demand(__name__)
