"""A chart's points as a table: each roll with its value, limits and the rule it broke."""

from collections.abc import Iterator

from wideroll.control.model import CusumChart
from wideroll.report.control_grids import panel_decimals
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_number
from wideroll.workflow.control_model import ControlPanel, ControlView

__all__ = ["points_grid"]


def points_grid(view: ControlView, panel: ControlPanel, *, most: int | None = None) -> Grid:
    """The points of one of a view's charts, the newest first.

    Args:
        view: of one quantity.
        panel: of the view.
        most: so many are shown; None for all.
    """
    sums = isinstance(panel.chart, CusumChart)
    values = ("sum above", "sum below", "decision") if sums else ("value", "lower limit", "centre", "upper limit")
    unit = "" if sums or not panel.unit else f", {panel.unit}"
    rows = tuple(_rows(view, panel))[::-1]
    return Grid(
        caption=f"Points of the chart of {_name(view, panel)}",
        columns=(
            Column(head="roll", keep=True),
            Column(head="coated", keep=True),
            Column(head="batch"),
            *(Column(head=f"{name}{unit}", number=True) for name in values),
            Column(head="rule broken"),
        ),
        rows=rows if most is None else rows[:most],
        left_out=0 if most is None else max(0, len(rows) - most),
    )


def _name(view: ControlView, panel: ControlPanel) -> str:
    return view.what if panel.name in {"", view.what} else f"{view.what}, {panel.name}"


def _rows(view: ControlView, panel: ControlPanel) -> Iterator[tuple[Cell, ...]]:
    decimals = panel_decimals(panel) + 1
    broken: dict[int, list[str]] = {}
    for one in panel.chart.breaks:
        broken.setdefault(one.index, []).append(one.rule)
    for place, values in enumerate(_values(panel)):
        at = panel.start + place
        yield (
            Cell(text=view.rolls[at]),
            Cell(text=view.coated[at].removesuffix("T00:00").replace("T", " ")),
            Cell(text=view.batches[at]),
            *(Cell(text=show_number(value, decimals)) for value in values),
            Cell(text="; ".join(broken.get(place, ()))),
        )


def _values(panel: ControlPanel) -> Iterator[tuple[float, ...]]:
    chart = panel.chart
    if isinstance(chart, CusumChart):
        yield from ((above, below, chart.decision) for above, below in zip(chart.above, chart.below, strict=True))
        return
    each = chart.each or (chart.limits,) * len(chart.points)
    yield from ((point, one.low, one.centre, one.high) for point, one in zip(chart.points, each, strict=True))
