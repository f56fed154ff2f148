"""How the slitter is set: the knife sets in its order, and where each knife stands."""

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import Final

from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.cut_places import SAME_M, KnifeSet, knife_sets, lane_name, slitter_m
from wideroll.report.grid import Cell, Column, Grid, abreast
from wideroll.report.quantities import ABSENT
from wideroll.slitting.model import CutPlan

__all__ = ["all_knives_grid", "knife_places_mm", "knives_grid", "sets_grid", "usable_m"]

_ABREAST: Final = 4
_MANY: Final = 4
_MM_DECIMALS: Final = 6
_NO_BREAK: Final = "\u00a0"


def usable_m(plan: CutPlan, knives: KnifeSet) -> tuple[tuple[float, float], ...]:
    """The stretches of a knife set, in coated metres from the head, from which at least one piece is cut."""
    spans = sorted(
        (piece.extent.along_from_m, piece.extent.along_to_m)
        for piece in plan.pieces
        if piece.extent.along_from_m > knives.along_from_m - SAME_M
        and piece.extent.along_to_m < knives.along_to_m + SAME_M
    )
    joined: list[tuple[float, float]] = []
    for start, end in spans:
        if joined and start <= joined[-1][1] + SAME_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def knife_places_mm(knives: KnifeSet) -> tuple[float, ...]:
    """Where its knives stand, from the datum edge."""
    return tuple(sorted({round(edge, _MM_DECIMALS) for _, *edges in knives.lanes for edge in edges}))


def sets_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """The knife sets in the order the slitter meets them, and the web that is lost or taken off whole between them."""
    sets = knife_sets(plan)
    rows: list[tuple[Cell, ...]] = []
    ends = [plan.whole.along_to_m, *(one.along_from_m for one in sets)]
    begins = [*(one.along_to_m for one in sets), plan.whole.along_from_m]
    for rank, (above, below) in enumerate(zip(ends, begins, strict=True)):
        if above - below > SAME_M:
            why = "the knives are set anew: this web is lost" if 0 < rank < len(sets) else "no knives: taken off whole"
            rows.append((Cell(text=ABSENT), *_places(plan, units, above, below), *_blank(why)))
        if rank < len(sets):
            rows.append(_set_row(plan, units, sets[rank]))
    return Grid(
        caption="Knife sets, in the order the slitter meets them",
        columns=(
            Column(head="set", keep=True),
            Column(head=f"slitter, {units.along}", keep=True),
            Column(head=f"coated, {units.along}", keep=True),
            Column(head=f"stops at slitter, {units.along}"),
            Column(head=f"gives pieces at slitter, {units.along}"),
            Column(head="lanes", number=True),
            Column(head="widths from the datum edge"),
        ),
        rows=tuple(rows) if sets else (),
        empty="No knives are set: nothing is slit.",
    )


def knives_grid(plan: CutPlan, knives: KnifeSet, units: CutUnits = METRIC) -> Grid:
    """Where each knife of a set stands from the datum edge, and the lane or trim from it to the next knife.

    The knives are read down the first three columns, then down the next three.
    """
    head = (
        Column(head="knife", keep=True),
        Column(head=f"at, {units.across}", number=True),
        Column(head=f"to the next, {units.across}", keep=True),
    )
    caption = f"Set {knives.number}: knives from the datum edge"
    return abreast(caption, head, list(_knife_cells(plan, knives, units)), blocks=_ABREAST)


def all_knives_grid(plan: CutPlan, units: CutUnits = METRIC) -> Grid:
    """Where the knives of each set stand, a row for each set."""
    return Grid(
        caption=f"Where the knives stand, in {units.across} from the datum edge",
        columns=(
            Column(head="set", keep=True),
            Column(head=f"slitter, {units.along}", keep=True),
            Column(head="lanes", number=True),
            Column(head=f"knives at, {units.across}"),
        ),
        rows=tuple(
            (
                Cell(text=str(knives.number), tone="strong"),
                _places(plan, units, knives.along_to_m, knives.along_from_m)[0],
                Cell(text=str(len(knives.lanes))),
                Cell(text="  ".join(units.show_across(place) for place in knife_places_mm(knives))),
            )
            for knives in knife_sets(plan)
        ),
        empty="No knives are set: nothing is slit.",
    )


def _set_row(plan: CutPlan, units: CutUnits, knives: KnifeSet) -> tuple[Cell, ...]:
    stops = ", ".join(units.show_along(slitter_m(plan, place)) for place in knives.stops_m)
    return (
        Cell(text=str(knives.number), tone="strong"),
        *_places(plan, units, knives.along_to_m, knives.along_from_m),
        Cell(text=stops or "none"),
        Cell(text=_usable(plan, units, knives)),
        Cell(text=str(len(knives.lanes))),
        Cell(text=_layout(knives)),
    )


def _places(plan: CutPlan, units: CutUnits, above_m: float, below_m: float) -> tuple[Cell, Cell]:
    slitter = units.show_stretch(slitter_m(plan, above_m), slitter_m(plan, below_m))
    return Cell(text=slitter), Cell(text=units.show_stretch(below_m, above_m))


def _blank(why: str) -> Sequence[Cell]:
    return Cell(text=""), Cell(text=""), Cell(text=""), Cell(text=why)


def _usable(plan: CutPlan, units: CutUnits, knives: KnifeSet) -> str:
    stretches = [(slitter_m(plan, end), slitter_m(plan, start)) for start, end in reversed(usable_m(plan, knives))]
    if stretches == [(slitter_m(plan, knives.along_to_m), slitter_m(plan, knives.along_from_m))]:
        return "all of it"
    if len(stretches) > _MANY:
        return f"{len(stretches)} stretches: see the pieces"
    return "; ".join(units.show_stretch(start, end) for start, end in stretches) or "none"


def _knife_cells(plan: CutPlan, knives: KnifeSet, units: CutUnits) -> Iterator[tuple[Cell, Cell, Cell]]:
    lanes = {round(start, _MM_DECIMALS): rank for rank, (_, start, _) in enumerate(knives.lanes, start=1)}
    edge = round(plan.whole.across_to_mm, _MM_DECIMALS)
    for rank, (place, after) in enumerate(pairwise([*knife_places_mm(knives), edge]), start=1):
        what = f"lane {lane_name(lanes[place])}" if place in lanes else "edge trim" if after == edge else "trim"
        gap = units.show_across(after - place)
        yield Cell(text=str(rank)), Cell(text=units.show_across(place)), Cell(text=f"{gap}  {what}")


def _layout(knives: KnifeSet) -> str:
    """Neighbouring lanes of one width together, such as ``3 × 35 mm, 1 × 16 mm``."""
    counted = ((len(list(group)), name) for name, group in groupby(name for name, _, _ in knives.lanes))
    return ", ".join(f"{count} × {name}".replace(" ", _NO_BREAK) for count, name in counted)
