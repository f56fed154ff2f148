"""The history of rolls to charts: which limits hold, which rules were broken, where a level changed."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import polars as pl

from wideroll.control import (
    NotedEvent,
    RollSeries,
    capability,
    draw_in,
    find_changes,
    group_series,
    match_events,
    roll_series,
    series_by_record,
)
from wideroll.errors import InputError
from wideroll.release.model import Bound, Criterion, Measurand
from wideroll.sensitometry import Record
from wideroll.workflow.control_model import (
    BaseLimits,
    Capable,
    ChartKind,
    ControlView,
    Quantity,
    RecordChanges,
)
from wideroll.workflow.control_panels import FEW, PANELS, ChartTerms, baseline_of, group_panels, rates_of
from wideroll.workflow.line_events import LineEvent, events_between
from wideroll.workflow.measured import CUT_OUT_BY, STRIP_READINGS

__all__ = [
    "LEAST_ROLLS",
    "ChartTerms",
    "TooFewRollsError",
    "chart_quantity",
    "chart_series",
    "find_quantity",
    "history_quantities",
    "ordered_records",
]

LEAST_ROLLS: Final = 10
"""Fewer rolls set no limits."""


class TooFewRollsError(InputError):
    """Nothing is wrong with what was asked, but so few rolls set no limits; choose more days, or wait."""


_FAR: Final = 2.0
"""Sigma by which a roll was drawn in that is worth naming."""
_ORDER: Final = {record.value: place for place, record in enumerate(Record)}


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
    values = rates_of(series)
    drawn, moved = draw_in(values)
    found = find_changes(drawn)
    far = [place for place in moved if abs(values[place] - drawn[place]) > _FAR * found.sigma]
    lone = tuple(series.rolls[place] for place in far)
    return RecordChanges(record=record, found=found, match=match_events(found, events), lone=lone)


def _rare(series: RollSeries) -> bool:
    """Whether so few are counted on a roll that their level can't be told from nothing."""
    return bool(series.areas_m2) and math.fsum(series.values) < FEW * len(series.values)


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
    make = PANELS[kind]
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
        raise TooFewRollsError(
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


def _base_span(rolls: Sequence[str], base: BaseLimits | None) -> tuple[int, int] | None:
    if base is None:
        return 0, baseline_of(len(rolls)) - 1
    inside = set(base.rolls)
    places = [place for place, roll in enumerate(rolls) if roll in inside]
    return (places[0], places[-1]) if places else None


def _of_groups(history: pl.LazyFrame, quantity: Quantity, terms: ChartTerms, of: tuple[str, str]) -> ControlView:
    """Means and ranges; the rolls are those of the first record."""
    groups = {record: group_series(history, quantity.name, record) for record in quantity.records}
    first = next(iter(groups.values()))
    for one in groups.values():
        _check_enough(len(one.rolls), f"{quantity.name}, chart xbar", "rolls with two strips or places each")
    panels = tuple(
        panel for record, one in groups.items() for panel in group_panels(quantity, record, one, first, terms)
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
