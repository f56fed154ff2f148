"""The cut in tables: like pieces side by side together, in the order the slitter meets them."""

from collections.abc import Sequence
from itertools import groupby

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_places import (
    KnifeSet,
    PlacedPiece,
    knife_sets,
    lane_name,
    number_head,
    place_pieces,
    reason_numbers,
    slitter_m,
    words_of_numbers,
)
from wideroll.report.cut_rewinding import run_words
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_number
from wideroll.roll import Extent
from wideroll.slitting.model import CutPlan, Quality, Run

__all__ = ["cut_grid", "regions_grid", "run_grid"]


def cut_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """One row for pieces that lie side by side and are alike, in the order the slitter meets them."""
    lanes = {knives.number: len(knives.lanes) for knives in knife_sets(plan)}
    return Grid(
        caption="Cut list, in the order the slitter meets the web; like pieces side by side together",
        columns=(
            Column(head="label", keep=True),
            Column(head=f"slitter, {units.along}", keep=True),
            Column(head=f"coated, {units.along}", keep=True),
            Column(head="set", number=True),
            Column(head="lanes"),
            Column(head="width", keep_on_page=True),
            Column(head=f"length, {units.along}", number=True),
            Column(head="quality", keep_on_page=True),
        ),
        rows=tuple(
            (
                _label(like),
                *_metres(plan, units, like[0]),
                Cell(text=str(like[0].knife_set)),
                Cell(text=_lanes([one.lane for one in like], lanes[like[0].knife_set])),
                Cell(text=like[0].piece.width),
                Cell(text=units.show_along(like[0].piece.extent.length_m)),
                _quality(like[0].piece.quality),
            )
            for like in _alike(place_pieces(plan))
        ),
        empty="No piece can be cut from this roll.",
    )


def run_grid(
    plan: CutPlan, placed: Sequence[PlacedPiece], knives: KnifeSet, rank: int, units: CutUnits = METRIC
) -> Grid:
    """The pieces of one run; like pieces in one row.

    Args:
        plan: the cut.
        placed: all its pieces (``place_pieces``).
        knives: the knife set.
        rank: of the run in the set, from 1.
        units: of the slitter's counter.
    """
    mine = [one for one in placed if (one.knife_set, one.run) == (knives.number, rank)]
    rows = tuple(
        (
            _label(like),
            *_metres(plan, units, like[0]),
            Cell(text=_lanes([one.lane for one in like], len(knives.lanes))),
            Cell(text=like[0].piece.width),
            Cell(text=units.show_along(like[0].piece.extent.length_m)),
            _quality(like[0].piece.quality),
        )
        for like in _alike(mine)
    )
    run = knives.runs[rank - 1]
    return Grid(
        caption=f"{run_words(knives, rank)}: slitter {_stretch(plan, units, run)} {units.along}, pieces",
        columns=(
            Column(head="label", keep=True),
            Column(head=f"slitter, {units.along}", keep=True),
            Column(head=f"coated, {units.along}", keep=True),
            Column(head="lanes"),
            Column(head="width", keep_on_page=True),
            Column(head=f"length, {units.along}", number=True),
            Column(head="quality", keep_on_page=True),
        ),
        rows=rows,
        empty="None: the web of this run becomes no piece.",
    )


def regions_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """The regions to avoid and those downgraded, in the slitter's order, with the numbers they have on the picture."""
    numbers = reason_numbers(plan)
    return Grid(
        caption="Film that is avoided or downgraded, as numbered on the picture",
        columns=(
            Column(head="number", number=True),
            Column(head=f"slitter, {units.along}", keep=True),
            Column(head=f"coated, {units.along}", keep=True),
            Column(head=f"across, {units.across}", keep=True),
            Column(head="what"),
            Column(head="why"),
        ),
        rows=tuple(
            (
                Cell(text=str(numbers[one.reason])),
                Cell(text=_stretch(plan, units, one.extent)),
                Cell(text=units.show_stretch(one.extent.along_from_m, one.extent.along_to_m)),
                Cell(text=_across(one.extent, units)),
                Cell(text="second quality" if one.downgrade else "avoided"),
                Cell(text=one.reason),
            )
            for one in sorted(plan.avoid, key=lambda one: (-one.extent.along_to_m, one.extent.across_from_mm))
        ),
        empty="None.",
    )


def _across(extent: Extent, units: CutUnits) -> str:
    return f"{units.show_across(extent.across_from_mm)} to {units.show_across(extent.across_to_mm)}"


def _alike(placed: Sequence[PlacedPiece]) -> list[list[PlacedPiece]]:
    """Pieces with the same ends, width, quality, part of their rolls and order, together."""

    def key(one: PlacedPiece) -> tuple[float, float, str, str, int, int, str]:
        piece = one.piece
        return (
            -piece.extent.along_to_m,
            piece.extent.along_from_m,
            piece.width,
            piece.quality,
            one.part,
            one.parts,
            one.roll.order,
        )

    groups = [list(like) for _, like in groupby(sorted(placed, key=lambda one: (*key(one), one.lane)), key=key)]
    return sorted(groups, key=lambda like: (-like[0].piece.extent.along_to_m, like[0].lane))


def _label(like: Sequence[PlacedPiece]) -> Cell:
    """The numbers of the finished rolls; of several that end with their lanes the lanes stand in their own column."""
    heads = {number_head(one.roll.number, one.lane) for one in like}
    short = len(like) > 1 and len(heads) == 1 and all(one.roll.number not in heads for one in like)
    numbers = f"{heads.pop()}-lane" if short else words_of_numbers(one.roll.number for one in like)
    return Cell(text=numbers, note=_part_words(like[0]), tone="strong")


def _part_words(one: PlacedPiece) -> str:
    part = f"part {one.part} of {one.parts}" if one.parts > 1 else ""
    order = f"order {one.roll.order}" if one.roll.order else ""
    return "; ".join(filter(None, (part, order)))


def _metres(plan: CutPlan, units: CutUnits, one: PlacedPiece) -> tuple[Cell, Cell]:
    extent = one.piece.extent
    return (
        Cell(
            text=units.show_stretch(slitter_m(plan, extent.along_to_m), slitter_m(plan, extent.along_from_m)),
            tone="strong",
        ),
        Cell(text=units.show_stretch(extent.along_from_m, extent.along_to_m)),
    )


def _stretch(plan: CutPlan, units: CutUnits, part: Run | Extent) -> str:
    return units.show_stretch(slitter_m(plan, part.along_to_m), slitter_m(plan, part.along_from_m))


def _lanes(lanes: Sequence[int], of: int) -> str:
    if len(lanes) == of and of > 1:
        return f"all {show_number(of)}"
    return words_of_numbers(lane_name(lane) for lane in lanes)


def _quality(quality: Quality) -> Cell:
    return Cell(text="◇ second", tone="second") if quality is Quality.SECOND else Cell(text="first")
