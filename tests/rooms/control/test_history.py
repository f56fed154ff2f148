"""Rolls are picked by product, line and day, and stand in the order of coating."""

from functools import partial

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.control import HISTORY_SCHEMA, RollValue, history_table, roll_series, select_rolls, series_by_record
from wideroll.errors import ArgumentError

_SPEED = partial(RollValue, product="N5", line="1", quantity="speed")
_ROWS = [
    _SPEED(roll="W-3", coated="2026-11-22 23:59", value=0.3),
    _SPEED(roll="W-1", coated="2026-11-20", value=0.1),
    _SPEED(roll="W-2", coated="2026-11-20T06:30:15", value=None),
    RollValue(roll="W-4", product="P2", line="1", coated="2026-11-21", quantity="speed", value=0.4),
    RollValue(roll="W-5", product="N5", line="2", coated="2026-11-21", quantity="speed", value=0.5),
    RollValue(roll="W-1", product="N5", line="1", coated="2026-11-20", quantity="spots", value=7.0, area_m2=2500.0),
]


def _rolls(**wanted):
    return select_rolls(history_table(_ROWS).lazy(), **wanted).collect()["roll"].unique().sort().to_list()


@pytest.mark.parametrize(
    ("wanted", "rolls"),
    [
        ({}, ["W-1", "W-2", "W-3", "W-4", "W-5"]),
        ({"product": "P2"}, ["W-4"]),
        ({"line": "2"}, ["W-5"]),
        ({"product": "N5", "line": "1", "first_day": "2026-11-21"}, ["W-3"]),
        ({"first_day": "2026-11-20", "last_day": "2026-11-20"}, ["W-1", "W-2"]),
        ({"last_day": "2026-11-22"}, ["W-1", "W-2", "W-3", "W-4", "W-5"]),
        ({"product": "none"}, []),
    ],
)
def test_rolls_are_those_asked_for(wanted, rolls):
    """Both days are included to their last minute."""
    assert _rolls(**wanted) == rolls


def test_a_series_stands_in_the_order_of_coating():
    """Rolls are in time order whatever the order of rows, and one that wasn't measured is counted."""
    found = roll_series(select_rolls(history_table(_ROWS).lazy(), product="N5", line="1"), "speed")
    assert (found.rolls, found.values, found.missing, found.areas_m2) == (("W-1", "W-3"), (0.1, 0.3), 1, ())
    assert found.coated == ("2026-11-20T00:00", "2026-11-22T23:59")
    assert roll_series(history_table(_ROWS).lazy(), "spots").areas_m2 == (2500.0,)
    assert roll_series(history_table(_ROWS).lazy(), "curl").rolls == ()


@given(order=st.permutations(_ROWS))
def test_the_order_of_rows_does_not_matter(order):
    """Any order of rows gives the same series."""
    one, other = (roll_series(history_table(rows).lazy(), "speed") for rows in (_ROWS, order))
    assert one == other


def test_a_parquet_file_is_read_lazily(tmp_path):
    """What was written to Parquet has the table's schema and gives the same series when it is scanned."""
    table = history_table(_ROWS)
    table.write_parquet(tmp_path / "history.parquet")
    scanned = pl.scan_parquet(tmp_path / "history.parquet")
    assert scanned.collect_schema() == HISTORY_SCHEMA
    assert roll_series(scanned, "speed") == roll_series(table.lazy(), "speed")


def test_records_are_those_of_rolls_that_have_them_all():
    """A roll that lacks a record is left out of all records and counted in each."""
    rows = [
        _SPEED(roll=roll, coated=day, record=record, value=value)
        for roll, day, record, value in (
            ("W-1", "2026-11-20", "red", 0.1),
            ("W-1", "2026-11-20", "green", 0.2),
            ("W-2", "2026-11-21", "red", 0.3),
            ("W-2", "2026-11-21", "green", None),
            ("W-3", "2026-11-22", "green", 0.4),
            ("W-3", "2026-11-22", "red", 0.5),
        )
    ]
    found = series_by_record(history_table(rows).lazy(), "speed")
    assert list(found) == ["red", "green"]
    assert {one.rolls for one in found.values()} == {("W-1", "W-3")}
    assert [one.values for one in found.values()] == [(0.1, 0.5), (0.2, 0.4)]
    assert {one.missing for one in found.values()} == {1}
    assert series_by_record(history_table(rows).lazy(), "curl") == {}


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda table: select_rolls(table, first_day="20.11.2026"), "first_day: a date such as"),
        (lambda table: select_rolls(table, last_day="2026-02-30"), "last_day: a date such as"),
        (lambda table: select_rolls(table, first_day="2026-11-21", last_day="2026-11-20"), "must not lie before"),
        (lambda table: select_rolls(table.drop("line")), r"history\[line\]: the table needs this column"),
        (lambda table: roll_series(table.cast({"value": pl.Int64}), "speed"), r"history\[value\]"),
        (lambda table: roll_series(pl.concat([table, table]), "speed"), "each roll has speed once, got 'W-"),
    ],
)
def test_what_is_no_history_is_refused(call, says):
    """The message names the column, the day or the roll."""
    rows = [one for one in _ROWS if one.quantity == "speed"]
    table = history_table(rows).lazy()
    with pytest.raises(ArgumentError, match=says):
        call(table)


def test_counts_without_their_area_are_refused():
    """Where one value of a quantity was counted on an area, all were; the roll that lacks it is named."""
    rows = [*_ROWS, RollValue(roll="W-9", product="N5", line="1", coated="2026-11-23", quantity="spots", value=1.0)]
    with pytest.raises(ArgumentError, match="or none, got 'W-9'"):
        roll_series(history_table(rows).lazy(), "spots")


def test_a_roll_without_a_time_is_refused():
    """A time of coating that is none names the roll."""
    with pytest.raises(ArgumentError, match="coated of roll W-9: a time such as"):
        history_table([_SPEED(roll="W-9", coated="soon", value=1.0)])
