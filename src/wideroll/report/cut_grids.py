"""The cut list: what the slitter does, in coated metres and in the metres it meets."""

import csv
import io
from typing import Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import decimals_for, show_number, show_share, show_span
from wideroll.slitting.model import CutPlan, Run

__all__ = ["cut_grid", "cut_list_csv", "losses_grid", "runs_grid", "slitter_m"]

_TOUCHING_MM: Final = 0.01
_CSV_HEAD: Final = (
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
    """One row a piece, in the order the slitter meets them."""
    decimals = decimals_for([piece.value for piece in plan.pieces], significant=4)
    widths = {width.name: width for width in plan.widths}
    rows = tuple(
        (
            Cell(text=piece.number, tone="strong"),
            Cell(
                text=f"{piece.width} ({widths[piece.width].width_mm:.3f} mm)" if piece.width in widths else piece.width
            ),
            Cell(
                text=show_span(
                    slitter_m(plan, piece.extent.along_to_m), slitter_m(plan, piece.extent.along_from_m), "", 2
                ).rstrip()
            ),
            Cell(text=show_span(piece.extent.along_from_m, piece.extent.along_to_m, "", 2).rstrip()),
            Cell(text=show_span(piece.extent.across_from_mm, piece.extent.across_to_mm, "", 1).rstrip()),
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
            Column(head="slitter, m"),
            Column(head="coated, m"),
            Column(head="across, mm"),
            Column(head="length, m", number=True),
            Column(head="value", number=True),
        ),
        rows=rows,
        empty="No piece can be cut from this roll.",
    )


def cut_list_csv(plan: CutPlan | None, length_m: float) -> str:
    """The cut list for a spreadsheet or a slitter: one line a piece, decimal points, CRLF as RFC 4180 has it.

    Args:
        plan: the cut; None gives the heading alone.
        length_m: of the wound roll: the slitter meets its tail first.
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
        writer.writerow((piece.number, piece.width, *(f"{number:.3f}" for number in numbers)))
    return out.getvalue()


def runs_grid(plan: CutPlan) -> Grid:
    """The knife layouts, in the order the slitter meets them."""
    runs = sorted(plan.runs, key=lambda run: -run.along_to_m)
    return Grid(
        caption="Knife settings, in the order the slitter meets them",
        columns=(
            Column(head="slitter, m"),
            Column(head="coated, m"),
            Column(head="lanes", number=True),
            Column(head="widths from the datum edge"),
        ),
        rows=tuple(
            (
                Cell(
                    text=show_span(slitter_m(plan, run.along_to_m), slitter_m(plan, run.along_from_m), "", 2).rstrip(),
                    tone="strong",
                ),
                Cell(text=show_span(run.along_from_m, run.along_to_m, "", 2).rstrip()),
                Cell(text=str(len(run.lanes))),
                Cell(text=_layout(run)),
            )
            for run in runs
        ),
        empty="No run: nothing is slit.",
    )


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


def _layout(run: Run) -> str:
    groups: list[tuple[str, int, float]] = []
    for name, start, end in run.lanes:
        if groups and groups[-1][0] == name and abs(groups[-1][2] - start) < _TOUCHING_MM:
            groups[-1] = (name, groups[-1][1] + 1, end)
        else:
            groups.append((name, 1, end))
    starts = iter(run.lanes)
    parts: list[str] = []
    for name, count, _ in groups:
        first = next(starts)[1]
        for _ in range(count - 1):
            next(starts)
        parts.append(f"{count} × {name} from {show_number(first, 1)} mm")
    return "; ".join(parts)
