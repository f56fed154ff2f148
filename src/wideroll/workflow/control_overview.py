"""All that is charted in a line each: what broke a rule lately, the worst first."""

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Final

import polars as pl

from wideroll.control import ControlLimits, CusumChart, RuleBreak
from wideroll.errors import WiderollError
from wideroll.workflow.charting import ChartTerms, chart_series, history_quantities
from wideroll.workflow.control_model import (
    BaseLimits,
    ControlPanel,
    ControlView,
    OverviewLine,
    Quantity,
    Steadiness,
)

__all__ = ["LATELY", "control_overview", "expected_by_chance"]

LATELY: Final = 10
"""Rolls that the overview looks at, the newest."""
_EVERY: Final = 92.0
"""Points in which a steady process breaks one of the four run rules once (Champ and Woodall 1987)."""
_ORDER: Final = {state: place for place, state in enumerate(Steadiness)}


def control_overview(
    history: pl.LazyFrame, base_of: Callable[[str, str], BaseLimits | None], *, lately: int = LATELY
) -> tuple[OverviewLine, ...]:
    """Each chart of each product and line, what broke a rule lately before the rest, and the farthest off first.

    Args:
        history: as ``HISTORY_SCHEMA``.
        base_of: the base period for a product and line; None where the first rolls set the limits.
        lately: rolls that are looked at, the newest.
    """
    found: list[OverviewLine] = []
    for product, line in history.select("product", "line").unique().sort("product", "line").collect().rows():
        mine = history.filter(pl.col("product") == product, pl.col("line") == line).collect().lazy()
        terms = ChartTerms(base=base_of(product, line))
        for quantity in history_quantities(mine):
            found += _lines(mine, quantity, terms, (product, line), lately)
    return tuple(sorted(found, key=lambda one: (_ORDER[one.state], -one.sigmas, one.product, one.line, one.quantity)))


def expected_by_chance(lines: Sequence[OverviewLine]) -> float:
    """Breaks that the judged rolls would show by chance were all charts steady: one in 92 points."""
    return sum(one.judged for one in lines) / _EVERY


def _lines(
    history: pl.LazyFrame, quantity: Quantity, terms: ChartTerms, of: tuple[str, str], lately: int
) -> Iterator[OverviewLine]:
    try:
        holds = terms.base is not None and terms.base.holds(quantity)
        view = chart_series(history, quantity, terms if holds else ChartTerms())
    except WiderollError as error:
        why = f"{error.rule}{f', got {error.value}' if error.value not in {None, ''} else ''}"
        yield OverviewLine(
            product=of[0],
            line=of[1],
            quantity=quantity.name,
            panel=quantity.name,
            state=Steadiness.NO_CHART,
            why=why,
            rolls=0,
        )
        return
    for panel in view.panels:
        # Ranges are the values over again.
        if panel.start == 0:
            yield _line(view, panel, lately)


def _line(view: ControlView, panel: ControlPanel, lately: int) -> OverviewLine:
    chart = panel.chart
    if isinstance(chart, CusumChart):
        raise TypeError(panel.name)
    count = len(chart.points)
    each = chart.each or (chart.limits,) * count
    recent = [found for found in chart.breaks if found.index >= count - lately]

    def away(index: int) -> float:
        return abs(chart.points[index] - each[index].centre) / each[index].sigma if each[index].sigma else math.inf

    def rank(found: RuleBreak) -> tuple[bool, float, int]:
        return _beyond(found), away(found.index), found.index

    worst = max(recent, key=rank, default=None)
    index = count - 1 if worst is None else worst.index
    state = Steadiness.STEADY if worst is None else Steadiness.BEYOND if _beyond(worst) else Steadiness.RULE
    return OverviewLine(
        product=view.product,
        line=view.line,
        quantity=view.what,
        panel=panel.name,
        state=state,
        why="" if worst is None else worst.rule,
        rolls=count,
        roll=view.rolls[index],
        value=chart.points[index],
        low=each[index].low,
        high=each[index].high,
        unit=panel.unit,
        sigmas=min(away(index), 1e6),
        broken=len({found.index for found in recent}),
        judged=min(lately, count),
        limits_set_by=_set_by(chart.limits),
    )


def _set_by(limits: ControlLimits) -> str:
    base = limits.base
    if base is None or base.first == "point 1":
        return "the first rolls of each" if base is None else base.name.replace("points", "rolls")
    return f"base period {base.words.replace('points', 'rolls')}"


def _beyond(found: RuleBreak) -> bool:
    return found.rule.startswith("one point")
