"""What was measured on many rolls, as a table: which of it to chart, and in which order."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import polars as pl

from wideroll.errors import ArgumentError

__all__ = [
    "HISTORY_SCHEMA",
    "RollGroups",
    "RollSeries",
    "RollValue",
    "group_series",
    "history_table",
    "roll_series",
    "select_rolls",
    "series_by_record",
]

HISTORY_SCHEMA: Final = pl.Schema(
    {
        "roll": pl.String(),
        "product": pl.String(),
        "line": pl.String(),
        "coated": pl.Datetime("us"),
        "batch": pl.String(),
        "quantity": pl.String(),
        "record": pl.String(),
        "part": pl.String(),
        "unit": pl.String(),
        "value": pl.Float64(),
        "area_m2": pl.Float64(),
    }
)
"""A row for each quantity of a roll: ``record`` is empty where the quantity has none, ``part`` where the value is the
whole roll's and not that of a strip or place of it, ``value`` a count where ``area_m2`` isn't null, and null where it
wasn't measured."""


_MINUTE: Final = "%Y-%m-%dT%H:%M"
_LEAST: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class RollValue:
    """A quantity of a roll: a row of the history."""

    roll: str
    product: str
    line: str
    coated: str
    """When its coating began: ISO 8601 to the day, the minute or the second, in the plant's time."""
    quantity: str
    value: float | None
    """None where it wasn't measured."""
    batch: str = ""
    record: str = ""
    part: str = ""
    """Strip or place of the roll that was measured; empty where the value is the whole roll's."""
    unit: str = ""
    area_m2: float | None = None
    """What a count was counted on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RollSeries:
    """A quantity of rolls in the order of coating; all columns have one length."""

    rolls: tuple[str, ...]
    coated: tuple[str, ...]
    """ISO 8601, to the minute."""
    values: tuple[float, ...]
    areas_m2: tuple[float, ...]
    """Empty where the values aren't counts."""
    missing: int
    """Rolls selected of which the quantity wasn't measured."""
    batches: tuple[str, ...] = ()
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RollGroups:
    """The values of a quantity within rolls, in the order of coating; all columns have one length."""

    rolls: tuple[str, ...]
    coated: tuple[str, ...]
    groups: tuple[tuple[float, ...], ...]
    missing: int
    """Rolls selected of which fewer than two values are known."""
    batches: tuple[str, ...] = ()
    unit: str = ""


def history_table(values: Iterable[RollValue]) -> pl.DataFrame:
    """The history's table, of values in any order.

    Raises:
        ArgumentError: naming the first roll whose time of coating is none.

    Example:
        >>> row = RollValue(roll="W-1", product="N5", line="1", coated="2026-11-20 08:30", quantity="speed", value=0.01)
        >>> history_table([row]).schema == HISTORY_SCHEMA
        True
    """
    rows = tuple(values)
    columns = {name: [getattr(one, name) for one in rows] for name in HISTORY_SCHEMA}
    text = pl.DataFrame(columns, schema={**HISTORY_SCHEMA, "coated": pl.String})
    at = pl.col("coated").str.replace(" ", "T")
    read = [at.str.to_datetime(form, time_unit="us", strict=False) for form in ("%Y-%m-%d", _MINUTE, f"{_MINUTE}:%S")]
    table = text.with_columns(pl.coalesce(read))
    wrong = text.filter(table["coated"].is_null())
    if wrong.height:
        raise ArgumentError(
            where=f"coated of roll {wrong['roll'][0]}",
            rule="a time such as 2026-11-20 08:30",
            value=wrong["coated"][0],
            mend="Write year-month-day and, if known, hours and minutes.",
        )
    return table


def select_rolls(
    history: pl.LazyFrame,
    *,
    product: str | None = None,
    line: str | None = None,
    first_day: str | None = None,
    last_day: str | None = None,
) -> pl.LazyFrame:
    """Rows of the rolls of a product, coated on a line, between two days; lazily, so that only those are read.

    Args:
        history: as ``HISTORY_SCHEMA``.
        product: None for all.
        line: None for all.
        first_day: ISO 8601 date, itself included; None for no limit.
        last_day: likewise.

    Raises:
        ArgumentError: when a column is missing or of another type, a day is no date, or the last is before the first.

    Example:
        >>> roll = RollValue(roll="W-1", product="N5", line="1", coated="2026-11-20", quantity="speed", value=0.01)
        >>> later = RollValue(roll="W-2", product="N5", line="1", coated="2026-11-23", quantity="speed", value=0.02)
        >>> history = history_table([roll, later]).lazy()
        >>> select_rolls(history, product="N5", first_day="2026-11-21").collect()["roll"].to_list()
        ['W-2']
    """
    _check_schema(history)
    kept = history
    for column, wanted in (("product", product), ("line", line)):
        if wanted is not None:
            kept = kept.filter(pl.col(column) == wanted)
    first, last = _day("first_day", first_day), _day("last_day", last_day)
    if first_day is not None and last_day is not None and last_day < first_day:
        raise ArgumentError(
            where="last_day", rule=f"must not lie before {first_day}", value=last_day, mend="Give the later day last."
        )
    if first is not None:
        kept = kept.filter(pl.col("coated") >= first)
    return kept if last is None else kept.filter(pl.col("coated") < last + pl.duration(days=1))


def roll_series(history: pl.LazyFrame, quantity: str, record: str = "") -> RollSeries:
    """One quantity of the rolls of a table in the order of coating, ready for a chart.

    Rolls coated in the same moment stand in the order of their numbers. What wasn't measured is left out and counted.

    Args:
        history: as ``HISTORY_SCHEMA``, such as from ``select_rolls``.
        quantity: to be charted.
        record: of it; empty where it has none.

    Raises:
        ArgumentError: when a column is missing or of another type, a roll has the quantity more than once, values have
            different units, or some are counts on areas and others aren't.

    Example:
        >>> from functools import partial
        >>> spots = partial(RollValue, product="N5", line="1", quantity="spots")
        >>> late = spots(roll="W-2", coated="2026-11-23", value=4.0, area_m2=1200.0)
        >>> early = spots(roll="W-1", coated="2026-11-20", value=7.0, area_m2=2500.0)
        >>> found = roll_series(history_table([late, early]).lazy(), "spots")
        >>> found.rolls, found.values, found.areas_m2, found.coated[0]
        (('W-1', 'W-2'), (7.0, 4.0), (2500.0, 1200.0), '2026-11-20T00:00')
    """
    _check_schema(history)
    rows = _rows(history.filter(pl.col("part") == ""), quantity, record)
    if rows["roll"].n_unique() < rows.height:
        twice = rows.filter(pl.col("roll").is_duplicated())["roll"][0]
        raise ArgumentError(
            where="history", rule=f"each roll has {quantity} once", value=twice, mend="Keep the newest of its values."
        )
    known = rows.filter(pl.col("value").is_not_null())
    areas = known["area_m2"]
    if 0 < areas.null_count() < known.height:
        raise ArgumentError(
            where="history",
            rule=f"either all values of {quantity} have the area they were counted on, or none",
            value=known.filter(areas.is_null())["roll"][0],
            mend="Give the area of each roll.",
        )
    return RollSeries(
        rolls=tuple(known["roll"]),
        coated=tuple(known["coated"]),
        values=tuple(known["value"]),
        areas_m2=() if areas.null_count() else tuple(areas),
        missing=rows.height - known.height,
        batches=tuple(known["batch"]),
        unit=rows["unit"][0] if rows.height else "",
    )


def group_series(history: pl.LazyFrame, quantity: str, record: str = "") -> RollGroups:
    """The values of one quantity within each roll, as of its strips or places, ready for a chart of groups.

    Args:
        history: as ``HISTORY_SCHEMA``, such as from ``select_rolls``.
        quantity: to be charted.
        record: of it; empty where it has none.

    Raises:
        ArgumentError: when a column is missing or of another type, or values have different units.

    Example:
        >>> from functools import partial
        >>> strip = partial(RollValue, roll="W-1", product="N5", line="1", coated="2026-11-20", quantity="speed")
        >>> lone = RollValue(
        ...     roll="W-2", product="N5", line="1", coated="2026-11-21", quantity="speed", part="S-1", value=0.02
        ... )
        >>> table = history_table([strip(part="S-1", value=0.01), strip(part="S-2", value=0.03), lone])
        >>> found = group_series(table.lazy(), "speed")
        >>> found.rolls, found.groups, found.missing
        (('W-1',), ((0.01, 0.03),), 1)
    """
    _check_schema(history)
    rows = _rows(history.filter(pl.col("part") != "", pl.col("value").is_not_null()), quantity, record)
    by_roll = rows.group_by("roll", maintain_order=True).agg(pl.col("coated", "batch").first(), "value")
    whole = by_roll.filter(pl.col("value").list.len() >= _LEAST)
    return RollGroups(
        rolls=tuple(whole["roll"]),
        coated=tuple(whole["coated"]),
        groups=tuple(tuple(values) for values in whole["value"].to_list()),
        missing=by_roll.height - whole.height,
        batches=tuple(whole["batch"]),
        unit=rows["unit"][0] if rows.height else "",
    )


def series_by_record(history: pl.LazyFrame, quantity: str) -> dict[str, RollSeries]:
    """A quantity by record, over the rolls of which all records were measured, ready for a chart of records.

    Args:
        history: as ``HISTORY_SCHEMA``, such as from ``select_rolls``.
        quantity: to be charted.

    Raises:
        ArgumentError: as ``roll_series``.

    Example:
        >>> from functools import partial
        >>> speed = partial(RollValue, product="N5", line="1", coated="2026-11-20", quantity="speed")
        >>> red, green = speed(roll="W-1", record="red", value=0.01), speed(roll="W-1", record="green", value=0.02)
        >>> alone = speed(roll="W-2", record="red", value=0.03)
        >>> found = series_by_record(history_table([red, green, alone]).lazy(), "speed")
        >>> {record: (one.rolls, one.values, one.missing) for record, one in found.items()}
        {'red': (('W-1',), (0.01,), 1), 'green': (('W-1',), (0.02,), 1)}
    """
    _check_schema(history)
    rows = history.filter(pl.col("quantity") == quantity, pl.col("part") == "")
    names = rows.select(pl.col("record").unique(maintain_order=True)).collect()["record"].to_list()
    whole = (
        rows.filter(pl.col("value").is_not_null())
        .group_by("roll")
        .agg(pl.col("record").n_unique().alias("records"))
        .filter(pl.col("records") == len(names))
    )
    selected = int(rows.select(pl.col("roll").n_unique()).collect().item())
    kept = rows.join(whole, on="roll", how="semi")
    series = {name: roll_series(kept, quantity, name) for name in names}
    return {name: replace(one, missing=selected - len(one.rolls)) for name, one in series.items()}


def _rows(history: pl.LazyFrame, quantity: str, record: str) -> pl.DataFrame:
    """A quantity in the order of coating, in one unit."""
    rows = (
        history.filter(pl.col("quantity") == quantity, pl.col("record") == record)
        .sort("coated", "roll", "part")
        .select("roll", pl.col("coated").dt.strftime(_MINUTE), "batch", "unit", "value", "area_m2")
        .collect()
    )
    units = rows["unit"].unique(maintain_order=True).to_list()
    if len(units) > 1:
        other = rows.filter(pl.col("unit") == units[1])["roll"][0]
        raise ArgumentError(
            where=f"history, {quantity}",
            rule=f"all values in one unit; roll {rows['roll'][0]} has it in {units[0] or 'no unit'}",
            value=f"{units[1] or 'no unit'} (roll {other})",
            mend="Give all in one unit, or chart the rolls apart, by product or by days.",
        )
    return rows


def _day(where: str, text: str | None) -> pl.Expr | None:
    """The start of a day."""
    if text is None:
        return None
    day = pl.Series([text], dtype=pl.String).str.to_date("%Y-%m-%d", strict=False)
    if day.null_count() or len(text) != len("2026-11-20"):
        raise ArgumentError(where=where, rule="a date such as 2026-11-20", value=text, mend="Write year-month-day.")
    return pl.lit(day[0]).cast(pl.Datetime("us"))


def _check_schema(history: pl.LazyFrame) -> None:
    found = history.collect_schema()
    wrong = {name: found.get(name) for name, kind in HISTORY_SCHEMA.items() if found.get(name) != kind}
    if wrong:
        name = next(iter(wrong))
        raise ArgumentError(
            where=f"history[{name}]",
            rule=f"the table needs this column, of type {HISTORY_SCHEMA[name]}",
            value=str(wrong[name]),
            mend="Write it as HISTORY_SCHEMA says.",
        )
