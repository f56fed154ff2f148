"""A strip's records against one another, as a table."""

from typing import Final

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_interval, show_number
from wideroll.sensitometry import Measure, StripResult

__all__ = ["PAIR_MEASURES", "pairs_grid"]

PAIR_MEASURES: Final = ("spacing", "spacing_off", "slope_ratio", "shift", "spread", "crossover")
"""Fields of a pair of records, in the order in which they are shown."""


def pairs_grid(result: StripResult) -> Grid:
    """Spacing, slope ratio, aligning shift, spread and crossover of each pair of records, with their intervals."""
    rows: list[tuple[Cell, ...]] = []
    for pair in result.pairs:
        shown = [name for name in PAIR_MEASURES if name != "spacing_off" or result.deviations]
        rows += [_row(f"{pair.first.value} − {pair.second.value}", getattr(pair, name)) for name in shown]
    return Grid(
        caption=f"Records of strip {result.strip.name} against one another",
        columns=(
            Column(head="records"),
            Column(head="measure"),
            Column(head="value", number=True),
            Column(head="interval"),
            Column(head="unit"),
            Column(head="extrapolated"),
        ),
        rows=tuple(rows),
        empty="Fewer than two colour records.",
    )


def _row(records: str, measure: Measure) -> tuple[Cell, ...]:
    return (
        Cell(text=records),
        Cell(text=measure.name, note=measure.note if "none shown" in measure.note else ""),
        Cell(text=show_number(measure.value, 3)),
        Cell(text=show_interval(measure.low, measure.high, 3)),
        Cell(text=measure.unit),
        Cell(text="yes" if measure.extrapolated else "no"),
    )
