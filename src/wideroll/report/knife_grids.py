"""How the slitter is set: the knife sets, where each knife stands, and where the web is cut across."""

from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import Final

from wideroll.report.cut_grids import slitter_m
from wideroll.report.grid import Cell, Column, Grid, abreast
from wideroll.report.quantities import show_number, show_span
from wideroll.slitting.model import CutPlan, Piece, Run

__all__ = ["cross_cuts_grid", "datum_sentence", "knives_grid", "lane_of", "ordered_runs", "runs_grid", "usable_m"]

_ABREAST: Final = 4
_MM_DECIMALS: Final = 3
_SAME_M: Final = 1e-6


def datum_sentence(datum_edge: str) -> str:
    """From which edge the knives are measured, and that the edge stays while the web's direction turns round."""
    return (
        f"Across is measured from the datum edge ({datum_edge} at the coater). The slitter unwinds the tail first: "
        "this is still the same edge of the film, but with the same face up and looking the way the web now runs it "
        "lies on the other hand. Find the edge on the film, not by the side of the machine."
    )


def ordered_runs(plan: CutPlan) -> tuple[Run, ...]:
    """The runs in the order the slitter meets them; knife sets are numbered by it from 1."""
    return tuple(sorted(plan.runs, key=lambda run: -run.along_to_m))


def usable_m(plan: CutPlan, run: Run) -> tuple[tuple[float, float], ...]:
    """The stretches of a run, in coated metres from the head, from which at least one piece is cut."""
    spans = sorted((piece.extent.along_from_m, piece.extent.along_to_m) for piece in plan.pieces if _within(piece, run))
    joined: list[tuple[float, float]] = []
    for start, end in spans:
        if joined and start <= joined[-1][1] + _SAME_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def lane_of(piece: Piece) -> str:
    """The lane in a piece's number: what follows its dash.

    Example:
        >>> from wideroll.roll import Extent
        >>> web = Extent(along_from_m=0.0, along_to_m=9.0, across_from_mm=8.0, across_to_mm=43.0)
        >>> lane_of(Piece(number="003-07", width="35 mm", extent=web, value=9.0))
        '07'
    """
    return piece.number.rpartition("-")[2]


def runs_grid(plan: CutPlan) -> Grid:
    """The knife sets, in the order the slitter meets them, with the stretches that become pieces."""
    rows: list[tuple[Cell, ...]] = []
    for number, run in enumerate(ordered_runs(plan), start=1):
        stretches = usable_m(plan, run)
        by_slitter = [(slitter_m(plan, end), slitter_m(plan, start)) for start, end in reversed(stretches)]
        rows.append(
            (
                Cell(text=str(number), tone="strong"),
                Cell(text=_spans(by_slitter)),
                Cell(text=_spans(stretches)),
                Cell(text=str(len(run.lanes))),
                Cell(text=_layout(run)),
            )
        )
    return Grid(
        caption="Knife sets, in the order the slitter meets them, and the stretches that become pieces",
        columns=(
            Column(head="set", keep=True),
            Column(head="slitter, m", keep_on_page=True),
            Column(head="coated, m", keep_on_page=True),
            Column(head="lanes", number=True),
            Column(head="widths from the datum edge"),
        ),
        rows=tuple(rows),
        empty="No knives are set: nothing is slit.",
    )


def knives_grid(plan: CutPlan, run: Run, number: int) -> Grid:
    """Where each knife of a set stands from the datum edge, and the lane or trim from it to the next knife.

    The knives are read down the first three columns, then down the next three.
    """
    head = (
        Column(head="knife", keep=True),
        Column(head="at, mm", number=True),
        Column(head="to the next, mm", keep=True),
    )
    return abreast(f"Knife set {number}, from the datum edge", head, _knife_cells(plan, run), blocks=_ABREAST)


def cross_cuts_grid(plan: CutPlan) -> Grid:
    """Where the web or some of its lanes are cut across, in the order the slitter meets the places."""
    ends = [(place, piece) for piece in plan.pieces for place in (piece.extent.along_from_m, piece.extent.along_to_m)]
    ends.sort(key=lambda end: (-end[0], end[1].extent.across_from_mm))
    rows: list[tuple[Cell, ...]] = []
    for place, group in groupby(ends, key=lambda end: end[0]):
        if not plan.whole.along_from_m + _SAME_M < place < plan.whole.along_to_m - _SAME_M:
            continue
        rows.append(
            (
                Cell(text=show_number(slitter_m(plan, place), 2), tone="strong"),
                Cell(text=show_number(place, 2)),
                Cell(text=_cut_lanes(plan, place, [piece for _, piece in group])),
            )
        )
    return Grid(
        caption="Cross-cuts, in the order the slitter meets them",
        columns=(
            Column(head="slitter, m", number=True),
            Column(head="coated, m", number=True),
            Column(head="what is cut"),
        ),
        rows=tuple(rows),
        empty="None: all pieces are as long as the roll." if plan.pieces else "None: nothing is slit.",
    )


def _within(piece: Piece, run: Run) -> bool:
    return run.along_from_m - _SAME_M <= piece.extent.along_from_m and piece.extent.along_to_m <= (
        run.along_to_m + _SAME_M
    )


def _spans(stretches: Sequence[tuple[float, float]]) -> str:
    return "; ".join(show_span(start, end, "", 2).rstrip() for start, end in stretches) or "none"


def _knife_cells(plan: CutPlan, run: Run) -> list[tuple[Cell, Cell, Cell]]:
    lanes = {round(start, _MM_DECIMALS): rank for rank, (_, start, _) in enumerate(run.lanes, start=1)}
    places = sorted({round(edge, _MM_DECIMALS) for _, start, end in run.lanes for edge in (start, end)})
    edge = round(plan.whole.across_to_mm, _MM_DECIMALS)
    cells: list[tuple[Cell, Cell, Cell]] = []
    for rank, (place, after) in enumerate(pairwise([*places, edge]), start=1):
        gap = show_number(after - place, _MM_DECIMALS)
        if place in lanes:
            what = f"{gap}  lane {lanes[place]:02d}"
        else:
            what = f"{gap}  {'edge trim' if after == edge else 'trim'}"
        cells.append((Cell(text=str(rank)), Cell(text=show_number(place, _MM_DECIMALS)), Cell(text=what)))
    return cells


def _cut_lanes(plan: CutPlan, place: float, pieces: Sequence[Piece]) -> str:
    for run in plan.runs:
        if abs(place - run.along_from_m) < _SAME_M or abs(place - run.along_to_m) < _SAME_M:
            return "the whole web: the knives are set anew"
    extents = [piece.extent for piece in plan.pieces]
    if not any(extent.along_from_m + _SAME_M < place < extent.along_to_m - _SAME_M for extent in extents):
        return "all lanes"
    lanes = list(dict.fromkeys(lane_of(piece) for piece in pieces))
    return f"lane {lanes[0]}" if len(lanes) == 1 else f"lanes {', '.join(lanes)}"


def _layout(run: Run) -> str:
    """Neighbouring lanes of one width together, such as ``3 × 35 mm, 1 × 16 mm``."""
    return ", ".join(f"{len(list(group))} × {name}" for name, group in groupby(name for name, _, _ in run.lanes))
