"""What a cut yields by width and quality, what becomes no piece, marks carried, and what wishes cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_places import finished_rolls
from wideroll.report.cut_words import wish_words
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share
from wideroll.slitting.model import CutPlan, Piece, Quality
from wideroll.slitting.wishes import WishPrice

__all__ = ["WidthYield", "counts_grid", "losses_grid", "wishes_grid", "yield_by_width", "yield_grid"]

_SIGNIFICANT: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class WidthYield:
    """What the plan gives of one width in one quality; ``share`` is of the wound roll's area."""

    width: str
    quality: Quality
    rolls: int
    pieces: int
    length_m: float
    area_m2: float
    share: float
    value: float


def yield_by_width(plan: CutPlan) -> tuple[WidthYield, ...]:
    """One for each width and quality of which there is any, in the order of the plan's widths."""
    groups: dict[tuple[str, Quality], list[Piece]] = {}
    for piece in plan.pieces:
        groups.setdefault((piece.width, piece.quality), []).append(piece)
    rolls = finished_rolls(plan)
    found: list[WidthYield] = []
    for width in plan.widths:
        for quality in Quality:
            pieces = groups.get((width.name, quality))
            if pieces:
                area_m2 = sum(piece.extent.area_m2 for piece in pieces)
                found.append(
                    WidthYield(
                        width=width.name,
                        quality=quality,
                        rolls=len({rolls[piece.number].number for piece in pieces}),
                        pieces=len(pieces),
                        length_m=sum(piece.extent.length_m for piece in pieces),
                        area_m2=area_m2,
                        share=area_m2 / plan.whole.area_m2,
                        value=sum(piece.value for piece in pieces),
                    )
                )
    return tuple(found)


def yield_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """The yield by width and quality."""
    found = yield_by_width(plan)
    decimals = decimals_for([one.value for one in found], significant=_SIGNIFICANT)
    return Grid(
        caption="Yield by width",
        columns=(
            Column(head="width", keep=True),
            Column(head="quality"),
            Column(head="finished rolls", number=True),
            Column(head="pieces", number=True),
            Column(head=f"length, {units.along}", number=True),
            Column(head=f"area, {units.area}", number=True),
            Column(head="share of the web", number=True),
            Column(head="value", number=True),
        ),
        rows=tuple(
            (
                Cell(text=one.width, tone="strong"),
                Cell(text=one.quality),
                Cell(text=show_number(one.rolls)),
                Cell(text=show_number(one.pieces)),
                Cell(text=units.show_along(one.length_m)),
                Cell(text=units.show_area(one.area_m2)),
                Cell(text=show_share(one.share)),
                Cell(text=show_number(one.value, decimals)),
            )
            for one in found
        ),
        empty="No piece can be cut from this roll.",
    )


def losses_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """Web that becomes no piece, by reason."""
    return Grid(
        caption="Web that becomes no piece",
        columns=(
            Column(head="reason"),
            Column(head=f"area, {units.area}", number=True),
            Column(head="share of the web", number=True),
        ),
        rows=tuple(
            (
                Cell(text=loss.reason),
                Cell(text=units.show_area(loss.area_m2)),
                Cell(text=show_share(loss.area_m2 / plan.whole.area_m2 if plan.whole.area_m2 else 0.0)),
            )
            for loss in plan.losses
        ),
        empty="None.",
    )


def counts_grid(plan: CutPlan) -> Grid:
    """For each count limit, what a finished roll may carry and what the fullest one carries."""
    rows = [
        (
            Cell(text=limit.name, tone="strong"),
            Cell(text=show_number(limit.most)),
            Cell(text=show_number(max((roll.marks[rank] for roll in plan.rolls if roll.marks), default=0))),
            Cell(text=show_number(sum(roll.marks[rank] for roll in plan.rolls if roll.marks))),
        )
        for rank, limit in enumerate(plan.counts)
    ]
    return Grid(
        caption="Marks that finished rolls carry",
        columns=(
            Column(head="criterion"),
            Column(head="most in a roll allowed", number=True),
            Column(head="most in a roll", number=True),
            Column(head="in all rolls", number=True),
        ),
        rows=tuple(rows),
        empty="No criterion counts marks for each finished roll.",
    )


def wishes_grid(prices: Sequence[WishPrice], units: CutUnits = METRIC) -> Grid:
    """What each wish costs by itself, and all together where there are several."""
    nets = [net for one in prices for net in (one.net_without, one.net_with)]
    decimals = decimals_for(nets, significant=_SIGNIFICANT + 1)
    return Grid(
        caption="What the wishes cost",
        columns=(
            Column(head="wish"),
            Column(head="net without", number=True),
            Column(head="net with", number=True),
            Column(head="cost", number=True),
        ),
        rows=tuple(
            (
                Cell(text=_asked(one, units), tone="strong"),
                Cell(text=show_number(one.net_without, decimals)),
                Cell(text=show_number(one.net_with, decimals)),
                Cell(text=show_number(one.cost, decimals)),
            )
            for one in prices
        ),
        empty="No wish was given.",
    )


def _asked(price: WishPrice, units: CutUnits) -> str:
    return wish_words(price.wishes[0], units) if len(price.wishes) == 1 else "all together"
