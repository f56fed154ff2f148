"""A quantity's series to the panels of its chart, one way for each kind of chart."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from wideroll.control import (
    FrozenRate,
    FrozenValues,
    RollGroups,
    RollSeries,
    RuleSet,
    c_chart,
    cusum_chart,
    ewma_chart,
    individuals_chart,
    moving_range_chart,
    range_chart,
    records_chart,
    u_chart,
    xbar_chart,
)
from wideroll.errors import InputError
from wideroll.workflow.control_model import AnyChart, BaseLimits, ChartKind, ControlPanel, Quantity

__all__ = ["BASE_ROLLS", "FEW", "PANELS", "TOGETHER", "ChartTerms", "baseline_of", "group_panels", "rates_of"]

BASE_ROLLS: Final = 20
"""Rolls that set the limits where no base period is named, and there are enough of them to be judged by it."""
TOGETHER: Final = "together"
_ENOUGH: Final = 25
FEW: Final = 5.0
"""Flaws to be expected on a roll, below which three sigma are no more than a rule of thumb (common practice)."""
_SAME_AREA: Final = 1.02
"""Areas that differ by less are of one size."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartTerms:
    """How to chart: kind (None for the usual one), limits of a base period (None for the first rolls), and rules."""

    kind: ChartKind | None = None
    base: BaseLimits | None = None
    rules: RuleSet = "western electric"


@dataclass(frozen=True, slots=True, kw_only=True)
class _SetBy:
    """What sets limits: what a base period says, or so many of the first rolls."""

    baseline: int | None = None
    frozen: FrozenValues | None = None


def rates_of(series: RollSeries) -> tuple[float, ...]:
    """Counts per m², other values as they are."""
    if not series.areas_m2:
        return series.values
    return tuple(count / area for count, area in zip(series.values, series.areas_m2, strict=True))


def baseline_of(count: int) -> int:
    """How many of so many rolls set the limits where no base period does."""
    return BASE_ROLLS if count >= _ENOUGH else count


def _set_by(terms: ChartTerms, kept: Mapping[str, FrozenValues], key: str, count: int) -> _SetBy:
    if terms.base is None:
        return _SetBy(baseline=baseline_of(count))
    if key not in kept:
        raise _not_in_base(terms.base, key)
    return _SetBy(frozen=kept[key])


def _not_in_base(base: BaseLimits, key: str) -> InputError:
    return InputError(
        where=f"base period {base.name}",
        rule=f"it must hold {key.replace('|', ' ').strip()}, which too few of its rolls have, or which didn't vary",
        mend="Leave --base out, or freeze another base period.",
    )


def _unit(series: RollSeries) -> str:
    return f"{series.unit} per m²" if series.areas_m2 else series.unit


def _individuals(quantity: Quantity, series: Mapping[str, RollSeries], terms: ChartTerms) -> tuple[ControlPanel, ...]:
    panels = []
    for record, one in series.items():
        values = rates_of(one)
        by = _set_by(terms, terms.base.values if terms.base else {}, f"{quantity.name}|{record}", len(values))
        chart = individuals_chart(values, baseline=by.baseline, frozen=by.frozen, rules=terms.rules)
        moves = moving_range_chart(values, baseline=by.baseline, frozen=by.frozen)
        moving = f"moving range, {record}" if record else "moving range"
        panels.append(ControlPanel(name=record or quantity.name, unit=_unit(one), chart=chart, record=record))
        panels.append(ControlPanel(name=moving, unit=_unit(one), chart=moves, start=1, record=record))
    return tuple(panels)


def _one_each(
    draw: Callable[..., AnyChart],
) -> Callable[[Quantity, Mapping[str, RollSeries], ChartTerms], tuple[ControlPanel, ...]]:
    def panels(quantity: Quantity, series: Mapping[str, RollSeries], terms: ChartTerms) -> tuple[ControlPanel, ...]:
        kept, made = terms.base.values if terms.base else {}, []
        for record, one in series.items():
            by = _set_by(terms, kept, f"{quantity.name}|{record}", len(one.rolls))
            chart = draw(rates_of(one), baseline=by.baseline, frozen=by.frozen)
            made.append(ControlPanel(name=record or quantity.name, unit=_unit(one), chart=chart, record=record))
        return tuple(made)

    return panels


def _counts(quantity: Quantity, series: Mapping[str, RollSeries], terms: ChartTerms) -> tuple[ControlPanel, ...]:
    (one,) = series.values()
    base = _frozen_rate(terms, quantity)
    chart = u_chart(
        one.values,
        one.areas_m2,
        baseline=None if base else baseline_of(len(one.rolls)),
        frozen=base,
        rules=terms.rules,
        few=FEW,
    )
    return (ControlPanel(name=quantity.name, unit=_unit(one), chart=chart),)


def _of_one_size(quantity: Quantity, series: Mapping[str, RollSeries], terms: ChartTerms) -> tuple[ControlPanel, ...]:
    (one,) = series.values()
    least, most = min(one.areas_m2), max(one.areas_m2)
    if most > least * _SAME_AREA:
        raise InputError(
            where="--chart",
            rule="chart c is for areas of one size",
            value=f"{least:.1f} to {most:.1f} m²",
            mend="Leave it out for chart u, which knows the area of each roll.",
        )
    base = _frozen_rate(terms, quantity)
    chart = c_chart(
        one.values,
        baseline=None if base else baseline_of(len(one.rolls)),
        frozen=replace(base, rate=base.rate * most) if base else None,
        rules=terms.rules,
    )
    return (ControlPanel(name=quantity.name, unit=f"{one.unit} on {most:.1f} m²", chart=chart),)


def _frozen_rate(terms: ChartTerms, quantity: Quantity) -> FrozenRate | None:
    if terms.base is None:
        return None
    if quantity.name not in terms.base.counts:
        raise _not_in_base(terms.base, quantity.name)
    return terms.base.counts[quantity.name]


def _records(quantity: Quantity, series: Mapping[str, RollSeries], terms: ChartTerms) -> tuple[ControlPanel, ...]:
    first = next(iter(series.values()))
    if terms.base is not None and quantity.name not in terms.base.records:
        raise _not_in_base(terms.base, quantity.name)
    chart = records_chart(
        quantity.name,
        {record: one.values for record, one in series.items()},
        baseline=None if terms.base else baseline_of(len(first.rolls)),
        frozen=terms.base.records[quantity.name] if terms.base else None,
        rules=terms.rules,
    )
    panels = [
        ControlPanel(name=name, unit=first.unit, chart=one, record=name)
        for name, one in zip(chart.names, chart.charts, strict=True)
    ]
    if chart.together is not None:
        panels.append(ControlPanel(name=f"{TOGETHER} (T²)", unit="", chart=chart.together))
    return tuple(panels)


def group_panels(
    quantity: Quantity, record: str, one: RollGroups, first: RollGroups, terms: ChartTerms
) -> tuple[ControlPanel, ...]:
    """Means and ranges of a record, whose rolls are those of the first record.

    Raises:
        InputError: when they aren't, or the base period lacks it.
    """
    if one.rolls != first.rolls:
        raise InputError(
            where=f"{quantity.name}, chart xbar",
            rule="each roll has several values of all its records",
            value=f"{len(one.rolls)} rolls of {record}, {len(first.rolls)} of another",
            mend="Leave --chart out.",
        )
    by = _set_by(terms, terms.base.groups if terms.base else {}, f"{quantity.name}|{record}", len(one.rolls))
    means = xbar_chart(one.groups, baseline=by.baseline, frozen=by.frozen, rules=terms.rules)
    ranges = range_chart(one.groups, baseline=by.baseline, frozen=by.frozen)
    tail = f", {record}" if record else ""
    return (
        ControlPanel(name=f"mean{tail}", unit=one.unit, chart=means, record=record),
        ControlPanel(name=f"range{tail}", unit=one.unit, chart=ranges, record=record),
    )


PANELS: Final[
    Mapping[ChartKind, Callable[[Quantity, Mapping[str, RollSeries], ChartTerms], tuple[ControlPanel, ...]]]
] = {
    ChartKind.INDIVIDUALS: _individuals,
    ChartKind.EWMA: _one_each(ewma_chart),
    ChartKind.CUSUM: _one_each(cusum_chart),
    ChartKind.U: _counts,
    ChartKind.C: _of_one_size,
    ChartKind.RECORDS: _records,
}
