"""The history of rolls to charts: which limits hold, which rules were broken, where a level changed."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import polars as pl

from wideroll.control import (
    FrozenRate,
    FrozenValues,
    NotedEvent,
    RollGroups,
    RollSeries,
    RuleSet,
    c_chart,
    capability,
    cusum_chart,
    draw_in,
    ewma_chart,
    find_changes,
    group_series,
    individuals_chart,
    match_events,
    moving_range_chart,
    range_chart,
    records_chart,
    roll_series,
    series_by_record,
    u_chart,
    xbar_chart,
)
from wideroll.errors import InputError
from wideroll.release.model import Bound, Criterion, Measurand
from wideroll.sensitometry import Record
from wideroll.workflow.control_model import (
    AnyChart,
    BaseLimits,
    Capable,
    ChartKind,
    ControlPanel,
    ControlView,
    Quantity,
    RecordChanges,
)
from wideroll.workflow.line_events import LineEvent, events_between
from wideroll.workflow.measured import CUT_OUT_BY, STRIP_READINGS

__all__ = [
    "BASE_ROLLS",
    "LEAST_ROLLS",
    "TOGETHER",
    "ChartTerms",
    "chart_quantity",
    "chart_series",
    "find_quantity",
    "history_quantities",
    "ordered_records",
]

LEAST_ROLLS: Final = 10
"""Fewer rolls set no limits."""
BASE_ROLLS: Final = 20
"""Rolls that set the limits where no base period is named, and there are enough of them to be judged by it."""
TOGETHER: Final = "together"
_ENOUGH: Final = 25
_FEW: Final = 5.0
"""Flaws to be expected on a roll, below which three sigma are no more than a rule of thumb (common practice)."""
_FAR: Final = 2.0
"""Sigma by which a roll was drawn in that is worth naming."""
_SAME_AREA: Final = 1.02
"""Areas that differ by less are of one size."""
_ORDER: Final = {record.value: place for place, record in enumerate(Record)}


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


def history_quantities(history: pl.LazyFrame) -> tuple[Quantity, ...]:
    """What a history can be charted by, in the order of names."""
    rows = (
        history.filter(pl.col("part") == "", ~pl.col("quantity").str.starts_with(CUT_OUT_BY))
        .group_by("quantity")
        .agg(pl.col("record").unique(), pl.col("area_m2").is_not_null().any().alias("counted"))
        .sort("quantity")
        .collect()
    )
    return tuple(
        Quantity(name=name, records=ordered_records(records), counted=counted) for name, records, counted in rows.rows()
    )


def ordered_records(records: Sequence[str]) -> tuple[str, ...]:
    """Red, green and blue first, in this order; what begins with one of them (``red less green``) likewise.

    Example:
        >>> ordered_records(["blue", "red", "green"])
        ('red', 'green', 'blue')
    """
    return tuple(sorted(records, key=lambda one: (_ORDER.get(one.split(" ")[0], len(_ORDER)), one)))


def find_quantity(known: Sequence[Quantity], what: str) -> Quantity:
    """The quantity of that name, whatever its capitals.

    Raises:
        InputError: when there is none; names those that there are.
    """
    exact = [one for one in known if one.name == what] or [
        one for one in known if one.name.casefold() == what.casefold()
    ]
    if len(exact) != 1:
        raise InputError(
            where="WHAT",
            rule=f"must be one of: {', '.join(one.name for one in known) or 'nothing, as no roll was measured'}",
            value=what,
            mend="Write one of these, in quotes where it has a space.",
        )
    return exact[0]


def chart_quantity(
    history: pl.LazyFrame,
    quantity: Quantity,
    *,
    terms: ChartTerms,
    events: Sequence[LineEvent] = (),
    criteria: Sequence[Criterion] = (),
) -> ControlView:
    """The charts of a quantity, where its level changed and what was noted there, and how it fits the product.

    Args:
        history: rolls of one product and line, such as from ``select_rolls``.
        quantity: to be charted.
        terms: how.
        events: noted of the line, in any order.
        criteria: of the product; those on readings say between which limits the quantity may lie.

    Raises:
        InputError: when the rolls are too few, the kind doesn't suit the quantity, or the base period lacks it.
        ArgumentError: when it doesn't vary over the base period, or its unit isn't one.
    """
    view = chart_series(history, quantity, terms)
    series = _series(history, quantity)
    placed = events_between(view.coated, view.batches, events)
    changes = tuple(
        _changes(record, one, placed)
        for record, one in series.items()
        if len(set(one.values)) > 1 and one.rolls == view.rolls and not _rare(one)
    )
    return replace(view, changes=changes, capable=_capable(series, quantity, criteria))


def _changes(record: str, series: RollSeries, events: Sequence[NotedEvent]) -> RecordChanges:
    values = _rates(series)
    drawn, moved = draw_in(values)
    found = find_changes(drawn)
    far = [place for place in moved if abs(values[place] - drawn[place]) > _FAR * found.sigma]
    lone = tuple(series.rolls[place] for place in far)
    return RecordChanges(record=record, found=found, match=match_events(found, events), lone=lone)


def _rare(series: RollSeries) -> bool:
    """Whether so few are counted on a roll that their level can't be told from nothing."""
    return bool(series.areas_m2) and math.fsum(series.values) < _FEW * len(series.values)


def chart_series(history: pl.LazyFrame, quantity: Quantity, terms: ChartTerms) -> ControlView:
    """As ``chart_quantity``, the charts alone.

    Raises:
        InputError: as ``chart_quantity``.
        ArgumentError: likewise.
    """
    kind = terms.kind or _usual(quantity)
    _check_suits(kind, quantity)
    one = history.select(pl.col("product", "line").first()).collect()
    product, line = one.row(0) if one.height else ("", "")
    if kind is ChartKind.XBAR:
        return _of_groups(history, quantity, terms, (product, line))
    series = _series(history, quantity)
    first = next(iter(series.values()))
    _check_enough(len(first.rolls), quantity.name, "rolls")
    make = _MAKERS[kind]
    panels = make(quantity, series, terms)
    return ControlView(
        what=quantity.name,
        product=product,
        line=line,
        kind=kind,
        rolls=first.rolls,
        coated=first.coated,
        batches=first.batches,
        missing=first.missing,
        panels=panels,
        base=_base_span(first.rolls, terms.base),
    )


def _usual(quantity: Quantity) -> ChartKind:
    if quantity.counted:
        return ChartKind.U
    return ChartKind.RECORDS if len(quantity.records) > 1 else ChartKind.INDIVIDUALS


def _check_suits(kind: ChartKind, quantity: Quantity) -> None:
    why = ""
    if kind in {ChartKind.U, ChartKind.C} and not quantity.counted:
        why = f"{quantity.name} isn't counted, and chart {kind} is for counts"
    if kind is ChartKind.RECORDS and len(quantity.records) < len(("one", "another")):
        why = f"{quantity.name} has no records to chart together"
    if kind is ChartKind.XBAR and quantity.counted:
        why = f"{quantity.name} is counted once a roll, and chart xbar is for several values of each"
    if why:
        raise InputError(
            where="--chart", rule=why, value=kind.value, mend=f"Leave it out for chart {_usual(quantity).value}."
        )


def _check_enough(count: int, what: str, of: str) -> None:
    if count < LEAST_ROLLS:
        raise InputError(
            where=what,
            rule=f"a chart needs {LEAST_ROLLS} {of} or more",
            value=count,
            mend="Choose more days, or wait until more rolls are decided.",
        )


def _series(history: pl.LazyFrame, quantity: Quantity) -> dict[str, RollSeries]:
    if quantity.records == ("",):
        return {"": roll_series(history, quantity.name)}
    found = series_by_record(history, quantity.name)
    return {record: found[record] for record in quantity.records}


def _rates(series: RollSeries) -> tuple[float, ...]:
    """Counts per m², other values as they are."""
    if not series.areas_m2:
        return series.values
    return tuple(count / area for count, area in zip(series.values, series.areas_m2, strict=True))


def _baseline(count: int) -> int:
    return BASE_ROLLS if count >= _ENOUGH else count


def _base_span(rolls: Sequence[str], base: BaseLimits | None) -> tuple[int, int] | None:
    if base is None:
        return 0, _baseline(len(rolls)) - 1
    inside = set(base.rolls)
    places = [place for place, roll in enumerate(rolls) if roll in inside]
    return (places[0], places[-1]) if places else None


def _set_by(terms: ChartTerms, kept: Mapping[str, FrozenValues], key: str, count: int) -> _SetBy:
    if terms.base is None:
        return _SetBy(baseline=_baseline(count))
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
        values = _rates(one)
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
            chart = draw(_rates(one), baseline=by.baseline, frozen=by.frozen)
            made.append(ControlPanel(name=record or quantity.name, unit=_unit(one), chart=chart, record=record))
        return tuple(made)

    return panels


def _counts(quantity: Quantity, series: Mapping[str, RollSeries], terms: ChartTerms) -> tuple[ControlPanel, ...]:
    (one,) = series.values()
    base = _frozen_rate(terms, quantity)
    chart = u_chart(
        one.values,
        one.areas_m2,
        baseline=None if base else _baseline(len(one.rolls)),
        frozen=base,
        rules=terms.rules,
        few=_FEW,
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
        baseline=None if base else _baseline(len(one.rolls)),
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
        baseline=None if terms.base else _baseline(len(first.rolls)),
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


def _of_groups(history: pl.LazyFrame, quantity: Quantity, terms: ChartTerms, of: tuple[str, str]) -> ControlView:
    """Means and ranges; the rolls are those of the first record."""
    groups = {record: group_series(history, quantity.name, record) for record in quantity.records}
    first = next(iter(groups.values()))
    for one in groups.values():
        _check_enough(len(one.rolls), f"{quantity.name}, chart xbar", "rolls with two strips or places each")
    panels = tuple(
        panel for record, one in groups.items() for panel in _group_panels(quantity, record, one, first, terms)
    )
    return ControlView(
        what=quantity.name,
        product=of[0],
        line=of[1],
        kind=ChartKind.XBAR,
        rolls=first.rolls,
        coated=first.coated,
        batches=first.batches,
        missing=first.missing,
        panels=panels,
        base=_base_span(first.rolls, terms.base),
    )


def _group_panels(
    quantity: Quantity, record: str, one: RollGroups, first: RollGroups, terms: ChartTerms
) -> tuple[ControlPanel, ...]:
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


def _capable(
    series: Mapping[str, RollSeries], quantity: Quantity, criteria: Sequence[Criterion]
) -> tuple[Capable, ...]:
    subject = STRIP_READINGS.get(quantity.name, quantity.name)
    return tuple(
        Capable(
            record=record,
            criterion=criterion.name,
            capability=capability(one.values, low=_low(criterion), high=_high(criterion)),
        )
        for criterion in criteria
        if criterion.measurand is Measurand.READING and criterion.subject == subject
        for record, one in series.items()
        if len(set(one.values)) > 1 and one.unit == criterion.unit
    )


def _low(criterion: Criterion) -> float | None:
    if criterion.bound is Bound.BOTH:
        return criterion.aim - criterion.limit
    return criterion.limit if criterion.bound is Bound.LEAST else None


def _high(criterion: Criterion) -> float | None:
    if criterion.bound is Bound.BOTH:
        return criterion.aim + criterion.limit
    return criterion.limit if criterion.bound is Bound.MOST else None


_MAKERS: Final[
    Mapping[ChartKind, Callable[[Quantity, Mapping[str, RollSeries], ChartTerms], tuple[ControlPanel, ...]]]
] = {
    ChartKind.INDIVIDUALS: _individuals,
    ChartKind.EWMA: _one_each(ewma_chart),
    ChartKind.CUSUM: _one_each(cusum_chart),
    ChartKind.U: _counts,
    ChartKind.C: _of_one_size,
    ChartKind.RECORDS: _records,
}
