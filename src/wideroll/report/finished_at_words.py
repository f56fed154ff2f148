"""The finished rolls that hold a coated place, as a table and for machines."""

from collections.abc import Sequence
from typing import Any

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.machine import plain
from wideroll.report.trace_words import TraceHead
from wideroll.workflow.finished_at import FinishedPlace

__all__ = ["finished_at_grid", "finished_at_json"]


def finished_at_grid(found: Sequence[FinishedPlace], what: str, head: TraceHead) -> Grid:
    """The finished rolls in the order of their lanes.

    Args:
        found: where the place lies on each.
        what: the coated place in words.
        head: the shop's units.
    """
    units = head.units
    across = any(one.edge_mm is not None for one in found)
    return Grid(
        caption=f"Finished rolls that hold {what}",
        columns=(
            Column(head="finished roll", keep=True),
            Column(head=f"from its outer end, {units.along}", number=True),
            *((Column(head=f"from its edge, {units.across}", number=True),) if across else ()),
            Column(head="width"),
            Column(head="order"),
        ),
        rows=tuple(
            (
                Cell(text=one.finished),
                Cell(text=units.show_along(one.from_outer_m)),
                *((_edge(one, head),) if across else ()),
                Cell(text=one.width),
                Cell(text=one.order),
            )
            for one in found
        ),
        empty="None: the place was cut out, trimmed off, or lies past the roll.",
    )


def finished_at_json(
    found: Sequence[FinishedPlace], roll: str, along_m: float, across_mm: float | None
) -> dict[str, Any]:
    """``wideroll/finished-at/1``: the coated place, and where it lies on each finished roll."""
    return {
        "schema": "wideroll/finished-at/1",
        "roll": roll,
        "along_m": along_m,
        "across_mm": across_mm,
        "finished": [plain(one) for one in found],
    }


def _edge(one: FinishedPlace, head: TraceHead) -> Cell:
    if one.edge_mm is None or one.other_edge_mm is None:
        return Cell(text="")
    return Cell(text=head.across(one.edge_mm), note=f"other edge {head.across(one.other_edge_mm)}")
