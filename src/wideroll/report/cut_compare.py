"""A cut with wishes beside the one that stands: what it costs, yields and loses."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from wideroll.report.cut_head import CutUnits
from wideroll.report.cut_places import knife_sets
from wideroll.report.cut_words import value_words, wish_words
from wideroll.report.cut_yield import WidthYield, yield_by_width
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share
from wideroll.slitting.model import CutPlan, Wish
from wideroll.slitting.wishes import WishPrice

__all__ = ["beside_grid", "cost_sentence", "losses_beside_grid", "yields_beside_grid"]

_SIGNIFICANT: Final = 4
_PLANS: Final = ("standing cut", "with the wishes")


def cost_sentence(
    prices: Sequence[WishPrice], units: CutUnits, currency: str = "", asked: Mapping[Wish, str] | None = None
) -> str:
    """What the wishes cost together, in one sentence.

    Args:
        prices: of the wishes; the last one is that of all.
        units: of the shop.
        currency: of the values.
        asked: places as they were written, where that was in other units.
    """
    price = prices[-1]
    what = " and ".join(wish_words(wish, units, asked or {}) for wish in price.wishes)
    decimals = decimals_for([price.net_without], significant=_SIGNIFICANT + 1)
    cost = round(price.cost, decimals)
    share = abs(price.cost) / price.net_without if price.net_without > 0.0 else math.nan
    of_it = f", {show_share(share)} of the net value" if math.isfinite(share) and cost else ""
    if not cost:
        return f"{_upper(what)}: costs nothing."
    if cost < 0.0:
        gain = value_words(-cost, decimals, currency)
        return f"{_upper(what)}: gains {gain}{of_it}, by a place that the knife scale doesn't have."
    return f"{_upper(what)}: costs {value_words(cost, decimals, currency)}{of_it}."


def beside_grid(standing: CutPlan, wished: CutPlan, units: CutUnits, currency: str = "") -> Grid:
    """Value, area and work of both cuts, and the difference."""
    money = f", {currency}" if currency else ""
    return Grid(
        caption="The cut with the wishes beside the one that stands",
        columns=(
            Column(head="what"),
            *(Column(head=head, number=True) for head in _PLANS),
            Column(head="difference", number=True),
        ),
        rows=tuple(
            (Cell(text=what, tone="strong"), *_both(*pair, decimals))
            for what, pair, decimals in _figures(standing, wished, units, money)
        ),
    )


def _figures(
    standing: CutPlan, wished: CutPlan, units: CutUnits, money: str
) -> Iterator[tuple[str, tuple[float, float], int]]:
    both = (standing, wished)

    def pair(figures: Sequence[float]) -> tuple[float, float]:
        return figures[0], figures[1]

    worth = decimals_for([plan.value for plan in both], significant=_SIGNIFICANT + 1)
    area = [math.fsum(piece.extent.area_m2 for piece in plan.pieces) for plan in both]
    yield f"value{money}", pair([plan.value for plan in both]), worth
    if any(plan.cost for plan in both):
        yield f"cost of the slitter's time{money}", pair([plan.cost for plan in both]), worth
        yield f"net{money}", pair([plan.net for plan in both]), worth
    yield f"area in pieces, {units.area}", pair([one / units.area_m2 for one in area]), units.area_decimals
    shares = [100.0 * one / plan.whole.area_m2 for one, plan in zip(area, both, strict=True)]
    yield "area in pieces, % of the web", pair(shares), 2
    yield "finished rolls", pair([len(plan.rolls) for plan in both]), 0
    yield "pieces", pair([len(plan.pieces) for plan in both]), 0
    yield "knife sets", pair([len(knife_sets(plan)) for plan in both]), 0
    if any(plan.minutes for plan in both):
        yield "minutes for knives and stops", pair([plan.minutes for plan in both]), 0


def yields_beside_grid(standing: CutPlan, wished: CutPlan, units: CutUnits, currency: str = "") -> Grid:
    """The yield of both cuts by width and quality."""
    found = [{(one.width, str(one.quality)): one for one in yield_by_width(plan)} for plan in (standing, wished)]
    keys = list(dict.fromkeys([*found[0], *found[1]]))
    worth = decimals_for([standing.value, wished.value], significant=_SIGNIFICANT)
    money = f"value, {currency}" if currency else "value"
    names = [width.name for width in standing.widths]
    shown = (0, units.area_decimals, worth)
    heads = [f"{what}: {plan}" for what in ("rolls", f"area, {units.area}", money) for plan in ("stands", "wished")]
    return Grid(
        caption="Yield by width, as it stands and as wished",
        columns=(
            Column(head="width", keep=True),
            Column(head="quality"),
            *(Column(head=head, number=True) for head in heads),
        ),
        rows=tuple(
            (
                Cell(text=key[0], tone="strong"),
                Cell(text=key[1]),
                *(
                    Cell(text=show_number(_three(of_plan.get(key), units)[place], decimals))
                    for place, decimals in enumerate(shown)
                    for of_plan in found
                ),
            )
            for key in sorted(keys, key=lambda one: (names.index(one[0]), one[1]))
        ),
        empty="No piece can be cut from this roll.",
    )


def losses_beside_grid(standing: CutPlan, wished: CutPlan, units: CutUnits) -> Grid:
    """Web that becomes no piece in both cuts, by reason."""
    found = [{loss.reason: loss.area_m2 / units.area_m2 for loss in plan.losses} for plan in (standing, wished)]
    reasons = list(dict.fromkeys([*found[0], *found[1]]))
    return Grid(
        caption="Web that becomes no piece, as it stands and as wished",
        columns=(
            Column(head="reason"),
            *(Column(head=f"{head}, {units.area}", number=True) for head in (*_PLANS, "difference")),
        ),
        rows=tuple(
            (
                Cell(text=reason, tone="strong"),
                *_both(found[0].get(reason, 0.0), found[1].get(reason, 0.0), units.area_decimals),
            )
            for reason in reasons
        ),
        empty="None.",
    )


def _both(one: float, other: float, decimals: int) -> tuple[Cell, Cell, Cell]:
    off = round(other - one, decimals)
    return (
        Cell(text=show_number(one, decimals)),
        Cell(text=show_number(other, decimals)),
        Cell(text=show_number(off, decimals, signed=True) if off else show_number(0.0, decimals)),
    )


def _three(one: WidthYield | None, units: CutUnits) -> tuple[float, float, float]:
    return (0.0, 0.0, 0.0) if one is None else (one.rolls, one.area_m2 / units.area_m2, one.value)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
