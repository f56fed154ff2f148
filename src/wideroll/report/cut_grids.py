"""The cut list: the pieces, in coated metres and in the metres the slitter meets."""

import csv
import io
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import Final

from wideroll.report.grid import Cell, Column, Grid, abreast
from wideroll.report.quantities import decimals_for, show_number, show_share, show_span
from wideroll.slitting.model import CutPlan, Piece

__all__ = ["cut_grid", "cut_list_csv", "losses_grid", "pieces_grids", "slitter_m"]

_ABREAST: Final = 3
_MANY: Final = 6
"""From so many pieces of one length on, their metres are said once."""

_CSV_HEAD: Final = (
    "roll",
    "status",
    "piece",
    "width",
    "slitter_from_m",
    "slitter_to_m",
    "coated_from_m",
    "coated_to_m",
    "across_from_mm",
    "across_to_mm",
    "length_m",
    "value",
)


def slitter_m(plan: CutPlan, coated_m: float) -> float:
    """The metre at which the slitter meets a coated place: winding reverses, the tail comes off first.

    Args:
        plan: the cut, whose ``whole`` is the wound roll.
        coated_m: metres from the roll's head, as coated.
    """
    return plan.whole.along_to_m - coated_m


def cut_grid(plan: CutPlan) -> Grid:
    """One row a piece, in the order the slitter meets them; across to the micrometre, as knives are set finely."""
    decimals = decimals_for([piece.value for piece in plan.pieces], significant=4)
    rows = tuple(
        (
            Cell(text=piece.number, tone="strong"),
            Cell(text=piece.width),
            Cell(
                text=show_span(
                    slitter_m(plan, piece.extent.along_to_m), slitter_m(plan, piece.extent.along_from_m), "", 2
                ).rstrip()
            ),
            Cell(text=show_span(piece.extent.along_from_m, piece.extent.along_to_m, "", 2).rstrip()),
            Cell(text=show_span(piece.extent.across_from_mm, piece.extent.across_to_mm, "", 3).rstrip()),
            Cell(text=show_number(piece.extent.length_m, 2)),
            Cell(text=show_number(piece.value, decimals)),
        )
        for piece in plan.pieces
    )
    return Grid(
        caption="Cut list, in the order the slitter meets the web",
        columns=(
            Column(head="piece", keep=True),
            Column(head="width"),
            Column(head="slitter, m", keep=True),
            Column(head="coated, m", keep=True),
            Column(head="across, mm", keep=True),
            Column(head="length, m", number=True),
            Column(head="value", number=True),
        ),
        rows=rows,
        empty="No piece can be cut from this roll.",
    )


def pieces_grids(plan: CutPlan) -> tuple[Grid, ...]:
    """The cut list in little room: pieces that share their metres together, then all others one by one.

    In the order the slitter meets the web.
    """
    together: list[Grid] = []
    alone: list[Piece] = []
    ordered = sorted(plan.pieces, key=lambda one: (-one.extent.along_to_m, one.extent.along_from_m))
    for _, group in groupby(ordered, key=lambda one: (one.extent.along_to_m, one.extent.along_from_m)):
        pieces = list(group)
        if len(pieces) < _MANY:
            alone += pieces
        else:
            together.append(_group_grid(plan, pieces))
    if not alone and together:
        return tuple(together)
    rest = cut_grid(replace(plan, pieces=tuple(alone)))
    return (*together, replace(rest, caption="Pieces with metres of their own") if together else rest)


def cut_list_csv(plan: CutPlan | None, length_m: float, *, roll: str, status: str) -> str:
    """The cut list for a spreadsheet or a slitter: one line a piece, decimal points, CRLF as RFC 4180 has it.

    Args:
        plan: the cut; None gives the heading alone.
        length_m: of the wound roll: the slitter meets its tail first.
        roll: name of the wound roll; stands on each line, so that no line is taken for another roll's.
        status: whether the list may be slit by, such as ``release`` or ``provisional: on hold``; stands on each line.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(_CSV_HEAD)
    for piece in plan.pieces if plan else ():
        place = piece.extent
        numbers = (
            length_m - place.along_to_m,
            length_m - place.along_from_m,
            place.along_from_m,
            place.along_to_m,
            place.across_from_mm,
            place.across_to_mm,
            place.length_m,
            piece.value,
        )
        writer.writerow((roll, status, piece.number, piece.width, *(f"{number:.3f}" for number in numbers)))
    return out.getvalue()


def losses_grid(plan: CutPlan) -> Grid:
    """Web that becomes no piece, by reason."""
    return Grid(
        caption="Web that becomes no piece",
        columns=(Column(head="reason"), Column(head="area, m²", number=True), Column(head="share of the roll")),
        rows=tuple(
            (
                Cell(text=loss.reason),
                Cell(text=show_number(loss.area_m2, 2)),
                Cell(text=show_share(loss.area_m2 / plan.whole.area_m2 if plan.whole.area_m2 else 0.0)),
            )
            for loss in plan.losses
        ),
        empty="None.",
    )


def _group_grid(plan: CutPlan, pieces: Sequence[Piece]) -> Grid:
    place = pieces[0].extent
    met = show_span(slitter_m(plan, place.along_to_m), slitter_m(plan, place.along_from_m), "m", 2)
    coated = show_span(place.along_from_m, place.along_to_m, "m", 2)
    length = show_number(place.length_m, 2)
    value = sum(piece.value for piece in pieces)
    worth = show_number(value, decimals_for([value], significant=4))
    return abreast(
        f"Slitter {met}, coated {coated}: {len(pieces)} pieces of {length} m, worth {worth} together",
        (Column(head="piece", keep=True), Column(head="width", keep=True), Column(head="across, mm", keep=True)),
        [
            (
                Cell(text=piece.number, tone="strong"),
                Cell(text=piece.width),
                Cell(text=show_span(piece.extent.across_from_mm, piece.extent.across_to_mm, "", 3).rstrip()),
            )
            for piece in pieces
        ],
        blocks=_ABREAST,
    )
