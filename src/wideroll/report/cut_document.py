"""A cut as one JSON document: ``wideroll/cut/2``, in metres and millimetres whatever the shop's units are."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

from wideroll.report.cut_head import CutHead, CutStatus
from wideroll.report.cut_places import KnifeSet, PlacedPiece, finished_rolls, knife_sets, place_pieces, slitter_m
from wideroll.report.cut_rewinding import rewinder_m
from wideroll.report.cut_waste import waste_of
from wideroll.report.cut_words import wish_words
from wideroll.report.cut_yield import yield_by_width
from wideroll.report.knife_grids import knife_places_mm
from wideroll.report.machine import plain
from wideroll.slitting.model import (
    ByLength,
    ByMetre,
    CrossCutAt,
    CutPlan,
    FinishedRoll,
    KnifeAt,
    Run,
    SlitWidth,
    Spliced,
    Wish,
    WithoutWidth,
)
from wideroll.slitting.wishes import WishPrice

__all__ = ["cut_json"]

_SOLD: Final = {ByMetre: "by the metre", ByLength: "by length", Spliced: "spliced"}


def cut_json(plan: CutPlan | None, head: CutHead, prices: Sequence[WishPrice] = ()) -> dict[str, Any]:
    """``wideroll/cut/2``; each place in coated metres (from the head) and in slitter metres (from the tail).

    Args:
        plan: the cut; None where nothing may be cut.
        head: whose it is and its status.
        prices: what the wishes of a what-if cost.
    """
    said: dict[str, Any] = {
        "schema": "wideroll/cut/2",
        "roll": head.roll,
        "status": head.status.value,
        "what_if": head.status is CutStatus.WHAT_IF,
        "of_book": plan is not None and plan.of_book,
        "datum_edge": head.datum_edge,
    }
    if plan is None:
        return said | {"pieces": [], "rolls": [], "knife_sets": [], "waste": []}
    return {
        **said,
        **_figures(plan),
        **_request(plan),
        "knife_sets": [_knife_set(plan, one) for one in knife_sets(plan)],
        "pieces": [_piece(plan, head, one) for one in place_pieces(plan)],
        "rolls": [_roll(plan, head, one) for one in _rolls(plan)],
        "waste": list(_waste(plan)),
        "yield": [plain(one) for one in yield_by_width(plan)],
        "losses": [{**plain(one), "share": plain(one.area_m2 / plan.whole.area_m2)} for one in plan.losses],
        "wishes": [_wish(one) for one in plan.wishes],
        "prices": [_price(one) for one in prices],
    }


def _figures(plan: CutPlan) -> dict[str, Any]:
    names = ("value", "minutes", "cost", "net", "bound", "optimal", "cross_cut_candidates", "left_out")
    return {name: plain(getattr(plan, name)) for name in names}


def _request(plan: CutPlan) -> dict[str, Any]:
    """What the plan was made from."""
    return {
        "whole": plain(plan.whole),
        "avoid": plain(plan.avoid),
        "rules": {**plain(plan.rules), "run_m": plain(plan.rules.run_m)},
        "widths": [_width(one) for one in plan.widths],
        "counts": [{"name": one.name, "most": one.most, "marks_on_web": len(one.marks)} for one in plan.counts],
    }


def _width(width: SlitWidth) -> dict[str, Any]:
    return {**plain(width), "finish": {"sold": _SOLD[type(width.finish)], **plain(width.finish)}}


def _stretch(plan: CutPlan, from_m: float, to_m: float) -> dict[str, Any]:
    return {
        "slitter_from_m": plain(slitter_m(plan, to_m)),
        "slitter_to_m": plain(slitter_m(plan, from_m)),
        "coated_from_m": plain(from_m),
        "coated_to_m": plain(to_m),
    }


def _knife_set(plan: CutPlan, knives: KnifeSet) -> dict[str, Any]:
    return {
        "set": knives.number,
        **_stretch(plan, knives.along_from_m, knives.along_to_m),
        "knives_mm": list(knife_places_mm(knives)),
        "lanes": [
            {"lane": lane, "width": name, "across_from_mm": low, "across_to_mm": high}
            for lane, (name, low, high) in enumerate(knives.lanes, start=1)
        ],
        "runs": [
            {"run": rank, **_stretch(plan, run.along_from_m, run.along_to_m)}
            for rank, run in enumerate(knives.runs, start=1)
        ],
        "stops": [{"slitter_m": plain(slitter_m(plan, at)), "coated_m": plain(at)} for at in knives.stops_m],
    }


def _piece(plan: CutPlan, head: CutHead, one: PlacedPiece) -> dict[str, Any]:
    piece = one.piece
    return {
        "number": piece.number,
        "label": head.label(one.roll.number),
        "roll": one.roll.number,
        "part": one.part,
        "parts": one.parts,
        "width": piece.width,
        "quality": piece.quality.value,
        "knife_set": one.knife_set,
        "run": one.run,
        "lane": one.lane,
        "extent": plain(piece.extent),
        **_stretch(plan, piece.extent.along_from_m, piece.extent.along_to_m),
        **_rewinder(one.wound, piece.extent.along_from_m, piece.extent.along_to_m),
        "length_m": plain(piece.extent.length_m),
        "value": plain(piece.value),
    }


def _rewinder(run: Run, from_m: float, to_m: float) -> dict[str, Any]:
    return {"rewinder_from_m": plain(rewinder_m(run, from_m)), "rewinder_to_m": plain(rewinder_m(run, to_m))}


def _waste(plan: CutPlan) -> Iterator[dict[str, Any]]:
    """What the rewinder throws out of the lanes of each run."""
    for knives in knife_sets(plan):
        for rank, run in enumerate(knives.runs, start=1):
            for one in waste_of(plan, run):
                yield {
                    "knife_set": knives.number,
                    "run": rank,
                    "lanes": list(one.lanes),
                    "reasons": list(one.reasons),
                    **_stretch(plan, one.along_from_m, one.along_to_m),
                    **_rewinder(run, one.along_from_m, one.along_to_m),
                }


def _rolls(plan: CutPlan) -> list[FinishedRoll]:
    return list({roll.number: roll for roll in finished_rolls(plan).values()}.values())


def _roll(plan: CutPlan, head: CutHead, roll: FinishedRoll) -> dict[str, Any]:
    return {
        "number": roll.number,
        "label": head.label(roll.number),
        "width": roll.width,
        "quality": roll.quality.value,
        "order": roll.order or None,
        "length_m": plain(roll.length_m),
        "value": plain(roll.value),
        "pieces": list(roll.pieces),
        "splices": roll.splices,
        "marks": {limit.name: number for limit, number in zip(plan.counts, roll.marks, strict=False)},
    }


def _wish(wish: Wish) -> dict[str, Any]:
    said: dict[str, Any] = {"words": wish_words(wish)}
    match wish:
        case KnifeAt():
            return said | {"kind": "knife at", "across_mm": plain(wish.across_mm)}
        case CrossCutAt():
            return said | {"kind": "cross-cut at", "along_m": plain(wish.along_m)}
        case WithoutWidth():
            return said | {"kind": "without width", "width": wish.name}


def _price(price: WishPrice) -> dict[str, Any]:
    return {
        "wishes": [_wish(one) for one in price.wishes],
        "net_without": plain(price.net_without),
        "net_with": plain(price.net_with),
        "cost": plain(price.cost),
        "off_scale": [_wish(one) for one in price.off_scale],
    }
