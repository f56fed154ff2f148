"""A base period is named: what its rolls say of everything that was measured, frozen."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

import polars as pl

from wideroll.control import (
    FrozenRecords,
    FrozenValues,
    RollSeries,
    freeze_counts,
    freeze_groups,
    freeze_records,
    freeze_values,
    group_series,
    roll_series,
    series_by_record,
)
from wideroll.errors import ArgumentError, InputError
from wideroll.workflow.charting import LEAST_ROLLS, history_quantities
from wideroll.workflow.control_model import BaseLimits, Quantity

__all__ = ["BasePeriodSaid", "freeze_base"]

_FEW: Final = 20
"""Fewer rolls set limits that are themselves uncertain (common practice: 20 to 25)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BasePeriodSaid:
    """What a person says of a base period: its name and days, who froze it, when and why."""

    name: str
    first_day: str
    last_day: str
    who: str
    when_utc: str
    because: str


def freeze_base(history: pl.LazyFrame, said: BasePeriodSaid) -> BaseLimits:
    """The limits of everything that was measured on enough of the rolls, and varied.

    Args:
        history: the rolls of the period, of one product and line, such as from ``select_rolls``.
        said: of it.

    Raises:
        InputError: when it has too few rolls.
    """
    rolls = history.select("roll", "product", "line", "coated").unique().sort("coated", "roll").collect()
    if rolls.height < LEAST_ROLLS:
        raise InputError(
            where=f"base period {said.name}",
            rule=f"must have {LEAST_ROLLS} rolls or more, better {_FEW}",
            value=f"{rolls.height} from {said.first_day} to {said.last_day}",
            mend="Choose more days.",
        )
    known = history_quantities(history)
    values, groups = _values(history, known, said.name), _groups(history, known, said.name)
    counted = [one for one in known if one.counted]
    return BaseLimits(
        name=said.name,
        product=rolls["product"][0],
        line=rolls["line"][0],
        first_day=said.first_day,
        last_day=said.last_day,
        rolls=tuple(rolls["roll"]),
        who=said.who,
        when_utc=said.when_utc,
        because=said.because,
        values=values,
        groups=groups,
        counts={
            one.name: freeze_counts(of.values, of.areas_m2, labels=of.rolls, name=said.name)
            for one in counted
            if len((of := roll_series(history, one.name)).rolls) >= LEAST_ROLLS
        },
        records=_records(history, known, said.name),
    )


def _values(history: pl.LazyFrame, known: Sequence[Quantity], name: str) -> dict[str, FrozenValues]:
    found: dict[str, FrozenValues] = {}
    for one in known:
        for record in one.records:
            series = roll_series(history, one.name, record)
            values = _rates(series)
            if len(values) >= LEAST_ROLLS and len(set(values)) > 1:
                found[f"{one.name}|{record}"] = freeze_values(values, labels=series.rolls, name=name)
    return found


def _groups(history: pl.LazyFrame, known: Sequence[Quantity], name: str) -> dict[str, FrozenValues]:
    found: dict[str, FrozenValues] = {}
    for one in known:
        for record in one.records:
            series = group_series(history, one.name, record)
            if len(series.rolls) >= LEAST_ROLLS and any(len(set(group)) > 1 for group in series.groups):
                found[f"{one.name}|{record}"] = freeze_groups(series.groups, labels=series.rolls, name=name)
    return found


def _records(history: pl.LazyFrame, known: Sequence[Quantity], name: str) -> dict[str, FrozenRecords]:
    found: dict[str, FrozenRecords] = {}
    for one in known:
        if len(one.records) > 1:
            series = series_by_record(history, one.name)
            labels = series[one.records[0]].rolls
            rows = {record: series[record].values for record in one.records}
            # None can be set where a record is constant or follows from the others.
            with suppress(ArgumentError):
                found[one.name] = freeze_records(rows, labels=labels, name=name)
    return {what: frozen for what, frozen in found.items() if frozen.base.count >= LEAST_ROLLS}


def _rates(series: RollSeries) -> tuple[float, ...]:
    if not series.areas_m2:
        return series.values
    return tuple(count / area for count, area in zip(series.values, series.areas_m2, strict=True))
