"""What a cut yields by width and quality, what becomes no piece, marks carried, and what wishes cost."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_places import finished_rolls
from wideroll.report.cut_words import wish_words
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share
from wideroll.slitting.model import CutPlan, Piece, Quality, Wish
from wideroll.slitting.wishes import WishPrice

__all__ = ["WidthYield", "counts_grid", "losses_grid", "wishes_grid", "yield_by_width", "yield_grid"]

_SIGNIFICANT: Final = 4
_SHARE_DECIMALS: Final = 3
_ALL: Final = "in all"
_AS_PLANNED: Final[Mapping[Wish, str]] = MappingProxyType({})


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


def yield_grid(plan: CutPlan, units: CutUnits = METRIC, currency: str = "") -> Grid:
    """The yield by width and quality, and in all; what is shown adds up as shown."""
    found = yield_by_width(plan)
    columns = (
        [one.width for one in found] + [_ALL],
        [str(one.quality) for one in found] + [""],
        _summed([float(one.rolls) for one in found], 0),
        _summed([float(one.pieces) for one in found], 0),
        _summed([one.length_m / units.along_m for one in found], units.along_decimals),
        _summed([one.area_m2 / units.area_m2 for one in found], units.area_decimals),
        _summed_shares([one.share for one in found]),
        _summed([one.value for one in found], decimals_for([plan.value], significant=_SIGNIFICANT)),
    )
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
            Column(head=f"value, {currency}" if currency else "value", number=True),
        ),
        rows=_rows(columns),
        empty="No piece can be cut from this roll.",
    )


def losses_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """Web that becomes no piece, by reason, and in all; what is shown adds up as shown."""
    whole_m2 = plan.whole.area_m2
    columns = (
        [loss.reason for loss in plan.losses] + [_ALL],
        _summed([loss.area_m2 / units.area_m2 for loss in plan.losses], units.area_decimals),
        _summed_shares([loss.area_m2 / whole_m2 if whole_m2 else 0.0 for loss in plan.losses]),
    )
    return Grid(
        caption="Web that becomes no piece",
        columns=(
            Column(head="reason"),
            Column(head=f"area, {units.area}", number=True),
            Column(head="share of the web", number=True),
        ),
        rows=_rows(columns),
        empty="None.",
    )


def _rows(columns: Sequence[Sequence[str]]) -> tuple[tuple[Cell, ...], ...]:
    """Rows of columns that end with the sum, which a single row doesn't need."""
    rows = [
        (Cell(text=first, tone="strong"), *(Cell(text=text) for text in others))
        for first, *others in zip(*columns, strict=True)
    ]
    return tuple(rows if len(rows) > 2 else rows[:-1])  # noqa: PLR2004  (one and the sum)


def _summed(values: Sequence[float], decimals: int) -> list[str]:
    """The values and their sum."""
    shown = _adding(values, decimals)
    return [show_number(value, decimals) for value in (*shown, math.fsum(shown))]


def _summed_shares(shares: Sequence[float]) -> list[str]:
    """The shares and their sum; of what there is, however little, a share is shown."""
    shown = _adding(shares, _SHARE_DECIMALS)
    pairs = zip((*shown, math.fsum(shown)), (*shares, math.fsum(shares)), strict=True)
    return [show_share(round(rounded, _SHARE_DECIMALS) or share) for rounded, share in pairs]


def _adding(values: Sequence[float], decimals: int) -> list[float]:
    """The values rounded to steps that add up to their rounded sum: those with the largest rests go up."""
    step = 10.0**-decimals
    down = [math.floor(value / step) for value in values]
    wanted = round(math.fsum(values) / step)
    most = sorted(range(len(values)), key=lambda rank: down[rank] - values[rank] / step)
    for rank in most[: wanted - sum(down)]:
        down[rank] += 1
    return [count * step for count in down]


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


def wishes_grid(prices: Sequence[WishPrice], units: CutUnits = METRIC, asked: Mapping[Wish, str] = _AS_PLANNED) -> Grid:
    """What each wish costs by itself, and all together where there are several.

    Args:
        prices: of the wishes.
        units: of the shop.
        asked: places as they were written, where that was in other units.
    """
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
                Cell(text=_asked(one, units, asked), tone="strong"),
                Cell(text=show_number(one.net_without, decimals)),
                Cell(text=show_number(one.net_with, decimals)),
                Cell(text=show_number(one.cost, decimals)),
            )
            for one in prices
        ),
        empty="No wish was given.",
    )


def _asked(price: WishPrice, units: CutUnits, asked: Mapping[Wish, str]) -> str:
    words = wish_words(price.wishes[0], units, asked) if len(price.wishes) == 1 else "all together"
    return f"{words}; not on the knife scale, so it adds a place and may gain" if price.off_scale else words
