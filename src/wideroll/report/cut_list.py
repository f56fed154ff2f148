"""The cut list for a spreadsheet or a slitter: a line for each piece."""

import csv
import io
from collections.abc import Iterator
from typing import Final

from wideroll.report.cut_head import CutHead, CutUnits
from wideroll.report.cut_places import PlacedPiece, place_pieces, slitter_m
from wideroll.report.cut_rewinding import rewinder_m
from wideroll.slitting.model import CutPlan

__all__ = ["cut_list_csv"]

_MORE_ALONG: Final = 1
"""Decimals along beyond those on the sheet, so that what adds up still does when rounded."""


def cut_list_csv(plan: CutPlan | None, head: CutHead) -> str:
    """A line for each piece in the order the slitter meets them: decimal points, CRLF as RFC 4180 has it.

    Each line says whose it is and whether it may be slit by, so that none is taken for another roll's. Units stand in
    the heads of the columns. The rewinder's places count from the loose end of the piece's wound lane.

    Args:
        plan: the cut; None gives the heads alone.
        head: whose it is, its status and its units.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(_columns(plan, head.units))
    if plan is not None:
        writer.writerows(_line(plan, head, one) for one in place_pieces(plan))
    return out.getvalue()


def _columns(plan: CutPlan | None, units: CutUnits) -> Iterator[str]:
    yield from ("roll", "status", "label", "piece", "finished_roll", "part", "parts", "width", "quality", "order")
    yield from ("knife_set", "run", "lane")
    for place in ("slitter_from", "slitter_to", "coated_from", "coated_to", "rewinder_from", "rewinder_to"):
        yield f"{place}_{units.along}"
    yield from (f"across_from_{units.across}", f"across_to_{units.across}", f"length_{units.along}", "value")
    yield from (f"marks: {limit.name}" for limit in (plan.counts if plan else ()))


def _line(plan: CutPlan, head: CutHead, one: PlacedPiece) -> Iterator[str]:
    piece, roll = one.piece, one.roll
    yield from (head.roll, head.status, head.label(roll.number), piece.number, roll.number, str(one.part))
    yield from (str(one.parts), piece.width, piece.quality, roll.order)
    yield from (str(one.knife_set), str(one.run), str(one.lane))
    place = piece.extent
    yield from (_along(head.units, slitter_m(plan, metres)) for metres in (place.along_to_m, place.along_from_m))
    coated = (place.along_from_m, place.along_to_m)
    yield from (_along(head.units, metres) for metres in coated)
    yield from (_along(head.units, rewinder_m(one.wound, metres)) for metres in coated)
    for across_mm in (place.across_from_mm, place.across_to_mm):
        yield f"{across_mm / head.units.across_mm:.{head.units.across_decimals}f}"
    yield _along(head.units, place.length_m)
    yield f"{piece.value:.3f}"
    marks = roll.marks or ("",) * len(plan.counts)
    yield from (str(number) for number in marks)


def _along(units: CutUnits, metres: float) -> str:
    return f"{metres / units.along_m:.{units.along_decimals + _MORE_ALONG}f}"
