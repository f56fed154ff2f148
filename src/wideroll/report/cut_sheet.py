"""The cut list as a page to print and carry to the slitter."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.report.caution import SLITTER_CAUTION
from wideroll.report.cut_grids import regions_grid, run_grid
from wideroll.report.cut_head import CutHead, CutStatus
from wideroll.report.cut_picture import cut_caption, detail_stretches, draw_cut
from wideroll.report.cut_places import KnifeSet, PlacedPiece, knife_sets, place_pieces, slitter_m
from wideroll.report.cut_rewinding import rewinding_grid, run_words, wound_lanes
from wideroll.report.cut_words import (
    SLITTER_ZERO,
    datum_sentence,
    label_words,
    rewinding_words,
    work_sentence,
    worth_sentence,
)
from wideroll.report.cut_yield import counts_grid, losses_grid, wishes_grid, yield_grid
from wideroll.report.grid import Grid
from wideroll.report.knife_grids import knives_grid, sets_grid
from wideroll.report.page import PageFigure, page_template
from wideroll.report.svg import slug
from wideroll.report.theme import VERDICTS
from wideroll.slitting.model import CutPlan
from wideroll.slitting.wishes import WishPrice

__all__ = ["STATUS_WORDS", "CutParts", "KnifeSetPart", "RewoundPart", "cut_parts", "render_cut_sheet"]

STATUS_WORDS: Final = {
    CutStatus.RELEASED: ("release", "●", "Released", "May be slit by this list."),
    CutStatus.PROVISIONAL: ("hold", "▲", "Provisional", "The roll is on hold. Don't slit it before it is released."),
    CutStatus.REJECTED: ("reject", "✖", "Rejected", "Don't slit: nothing of this roll may be sold."),
    CutStatus.WHAT_IF: ("hold", "▲", "What-if", "This is not the recorded plan. Don't slit by it."),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class KnifeSetPart:
    """What to do with one knife set, in the order it is done."""

    title: str
    begin: str
    runs: tuple[tuple[Grid, str], ...]
    """Of each run: its pieces, and what to do at its end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RewoundPart:
    """What the rewinder does with the lanes of a run."""

    title: str
    lanes: tuple[Grid, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutParts:
    """What a cut sheet says of a plan, in the order of the page."""

    work: str
    worth: str
    picture: PageFigure
    details: list[PageFigure]
    table: Grid
    knives: list[Grid]
    sets: list[KnifeSetPart]
    rewound: list[RewoundPart]
    rewinding: str
    yields: Grid
    losses: Grid
    counts: Grid | None


def render_cut_sheet(plan: CutPlan | None, head: CutHead, prices: Sequence[WishPrice] = ()) -> str:
    """One self-contained HTML text: no script, no outside address, the same bytes for the same plan.

    Args:
        plan: the cut; None where nothing may be cut.
        head: whose it is, whether it may be slit by, and its units.
        prices: what the wishes of a what-if cost.
    """
    css, sign, word, why = STATUS_WORDS[head.status]
    return page_template("cut.html.j2").render(
        head=head,
        css=css,
        sign=sign,
        word=word,
        why=why,
        styles=VERDICTS,
        page_foot=f"Roll {head.roll}: cut list, {head.status}",
        page_head=head.warning,
        caution=SLITTER_CAUTION,
        labels=label_words(head),
        zero=SLITTER_ZERO,
        datum=datum_sentence(head.datum_edge),
        prices=wishes_grid(prices, head.units, head.asked) if prices else None,
        cut=None if plan is None else cut_parts(plan, head),
    )


def cut_parts(plan: CutPlan, head: CutHead) -> CutParts:
    """What the sheet says of a plan, from the picture to the rewinder."""
    placed = place_pieces(plan)
    sets = knife_sets(plan)
    return CutParts(
        work=work_sentence(plan),
        worth=worth_sentence(plan, head.currency),
        picture=_picture(plan, head),
        details=_details(plan, head),
        table=sets_grid(plan, head.units),
        knives=[knives_grid(plan, knives, head.units) for knives in sets],
        sets=[_set(plan, head, placed, rank) for rank in range(len(sets))],
        rewound=[one for knives in sets for one in _rewound(plan, head, placed, knives)],
        rewinding=rewinding_words(spliced=any(roll.splices for roll in plan.rolls)),
        yields=yield_grid(plan, head.units, head.currency),
        losses=losses_grid(plan, head.units),
        counts=counts_grid(plan) if plan.counts and plan.pieces else None,
    )


def _rewound(plan: CutPlan, head: CutHead, placed: Sequence[PlacedPiece], knives: KnifeSet) -> list[RewoundPart]:
    """The runs of a set, the last one first: what is spliced across a stop then lies in hand."""
    units = head.units
    return [
        RewoundPart(
            title=(
                f"{run_words(knives, rank)}: wound from slitter {units.show_along(slitter_m(plan, run.along_to_m))} to "
                f"{units.show_along(slitter_m(plan, run.along_from_m))} {units.along}"
            ),
            lanes=tuple(rewinding_grid(one, units) for one in wound_lanes(plan, placed, knives, rank)),
        )
        for rank, run in reversed(list(enumerate(knives.runs, start=1)))
    ]


def _picture(plan: CutPlan, head: CutHead) -> PageFigure:
    return PageFigure(
        svg=draw_cut(plan, head, key=f"cut-{slug(head.roll)}"),
        caption=cut_caption(plan, head.currency),
        data=(regions_grid(plan, head.units),),
    )


def _details(plan: CutPlan, head: CutHead) -> list[PageFigure]:
    units = head.units
    return [
        PageFigure(
            svg=draw_cut(plan, head, stretch=stretch, key=f"cut-{slug(head.roll)}-{rank}"),
            caption=(
                f"Slitter {units.show_stretch(slitter_m(plan, stretch[1]), slitter_m(plan, stretch[0]))} {units.along}."
            ),
        )
        for rank, stretch in enumerate(detail_stretches(plan), start=1)
    ]


def _set(plan: CutPlan, head: CutHead, placed: Sequence[PlacedPiece], rank: int) -> KnifeSetPart:
    sets, units = knife_sets(plan), head.units
    knives = sets[rank]
    after = sets[rank + 1] if rank + 1 < len(sets) else None
    begin, end = (units.show_along(slitter_m(plan, at)) for at in (knives.along_to_m, knives.along_from_m))
    return KnifeSetPart(
        title=f"Knife set {knives.number} of {len(sets)}: slitter {begin} to {end} {units.along}",
        begin=_begin_words(plan, head, knives),
        runs=tuple(
            (
                run_grid(plan, placed, knives, number, units),
                _end_words(plan, head, knives, number, after),
            )
            for number in range(1, len(knives.runs) + 1)
        ),
    )


def _begin_words(plan: CutPlan, head: CutHead, knives: KnifeSet) -> str:
    units = head.units
    begin, coated = units.show_along(slitter_m(plan, knives.along_to_m)), units.show_along(knives.along_to_m)
    return (
        f"{len(knives.lanes)} lanes, with the knives of set {knives.number}. Begin at slitter {begin} {units.along} "
        f"(coated {coated} {units.along})."
    )


def _end_words(plan: CutPlan, head: CutHead, knives: KnifeSet, number: int, after: KnifeSet | None) -> str:
    units = head.units
    end_m = knives.runs[number - 1].along_from_m
    at = f"At slitter {units.show_along(slitter_m(plan, end_m))} {units.along}"
    if number < len(knives.runs):
        return f"{at}: stop, cut all lanes and take the wound rolls off. The knives stay."
    if after is None:
        return f"{at}: stop, cut all lanes and take the wound rolls off. This was the last knife set."
    lost = units.show_along(end_m - after.along_to_m)
    begins = units.show_along(slitter_m(plan, after.along_to_m))
    return (
        f"{at}: stop, cut all lanes, take the wound rolls off and set the knives anew (set {after.number}). "
        f"{lost} {units.along} of web is lost; go on at slitter {begins} {units.along}."
    )
