"""The marks table: its columns, names of marks, and choosing by place."""

import math

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import (
    MARK_KINDS,
    MARKS_SCHEMA,
    POLARITIES,
    Extent,
    MarkKind,
    Place,
    Polarity,
    check_marks,
    empty_marks,
    mark_id,
    marks_within,
)

_FLOATS = [name for name, dtype in MARKS_SCHEMA.items() if dtype == pl.Float64]


def _table(places, **changes):
    columns = {
        "id": [f"m{n}" for n in range(len(places))],
        "along_m": [float(p[0]) for p in places],
        "across_mm": [float(p[1]) for p in places],
        "polarity": ["dark"] * len(places),
        "kind": ["spot"] * len(places),
        "rule": ["as seen"] * len(places),
        "source": ["line-1"] * len(places),
    }
    columns |= {name: [1.0] * len(places) for name in _FLOATS if name not in columns}
    return pl.DataFrame(columns | changes)


def test_the_columns_are_those_agreed():
    """The table has the columns that files and later rooms rely on, in their order."""
    assert list(MARKS_SCHEMA) == [
        *("id", "along_m", "across_mm", "length_mm", "width_mm", "area_mm2"),
        *("contrast", "snr", "peak", "elongation", "angle_deg", "ring", "polarity", "kind", "rule", "source"),
    ]
    assert set(MARK_KINDS) == set(MarkKind)
    assert set(POLARITIES) == set(Polarity)


def test_no_marks_is_a_table_too():
    """Nothing found has the same columns and types as anything found."""
    assert empty_marks().schema == MARKS_SCHEMA
    assert empty_marks().is_empty()
    assert check_marks(empty_marks()).equals(empty_marks())


def test_a_checked_table_has_the_schema_exactly():
    """Columns in another order, of a type that fits, or beyond the schema become exactly the schema."""
    loose = _table([(1, 2), (3, 4)]).with_columns(pl.col("along_m").cast(pl.Int32), chip=pl.lit("7.png"))
    checked = check_marks(loose.select(reversed(loose.columns)))
    assert checked.schema == MARKS_SCHEMA
    assert checked["along_m"].to_list() == [1.0, 3.0]
    assert check_marks(checked).equals(checked)


@pytest.mark.parametrize("name", list(MARKS_SCHEMA))
def test_a_missing_column_is_named(name):
    """The error says which column is missing and in which file."""
    with pytest.raises(InputError, match=f"^marks.parquet: .*no {name}"):
        check_marks(_table([(1, 2)]).drop(name), where="marks.parquet")


@pytest.mark.parametrize(
    ("name", "value"), [("kind", "blob"), ("polarity", "grey"), ("along_m", "4,1x"), ("snr", "high")]
)
def test_a_value_of_another_kind_is_refused(name, value):
    """Words that the schema doesn't know, and numbers that aren't, are an input error."""
    with pytest.raises(InputError, match="each column has its type"):
        check_marks(_table([(1, 2)], **{name: [value]}))


@pytest.mark.parametrize("name", list(MARKS_SCHEMA))
def test_an_empty_value_is_refused(name):
    """Every mark has every measure."""
    with pytest.raises(InputError, match=f"column {name}: .*1 of 2"):
        check_marks(_table([(1, 2), (3, 4)]).with_columns(pl.when(pl.col("id") == "m0").then(pl.col(name)).alias(name)))


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("name", _FLOATS)
def test_numbers_are_finite(name, value):
    """A mark without a finite place or size is refused; only snr may be infinite, where there is no noise."""
    table = _table([(1, 2)], **{name: [value]})
    if name == "snr" and not math.isnan(value):
        assert check_marks(table)["snr"].to_list() == [value]
    else:
        with pytest.raises(InputError, match=f"column {name}: "):
            check_marks(table)


@pytest.mark.parametrize(
    ("name", "right", "wrong"),
    [
        ("elongation", [1.0, 250.0], [0.999, 0.0, -2.0]),
        ("angle_deg", [-89.9, 0.0, 90.0], [-90.0, 90.1, 180.0]),
        ("ring", [-0.2, 0.0, 0.2], []),
    ],
)
def test_shapes_are_possible_shapes(name, right, wrong):
    """A mark is at least as long as wide, lies some way in a half turn, and may have a dark or a bright ring."""
    for value in right:
        assert check_marks(_table([(1, 2)], **{name: [value]}))[name].to_list() == [value]
    for value in wrong:
        with pytest.raises(InputError, match=f"column {name}: .*{value:g}"):
            check_marks(_table([(1, 2)], **{name: [value]}))


@settings(deadline=None)
@given(st.floats(0, 4000), st.floats(0, 1500), st.floats(-4e-6, 4e-6), st.floats(-4e-3, 4e-3))
def test_a_marks_name_survives_a_second_run(along_m, across_mm, wander_m, wander_mm):
    """Differences far under 0.01 mm don't change the name, once the place is a hundredth of a millimetre."""
    along_m, across_mm = round(along_m, 5), round(across_mm, 2)
    name = mark_id(source="line-1", along_m=along_m, across_mm=across_mm, polarity="dark")
    again = mark_id(source="line-1", along_m=along_m + wander_m, across_mm=across_mm + wander_mm, polarity="dark")
    assert again == name


def test_marks_that_differ_have_different_names():
    """Another place, polarity or scanner is another mark, and the name is a fixed short word."""
    names = {
        mark_id(source=source, along_m=along, across_mm=across, polarity=polarity)
        for source in ("line-1", "line-2")
        for polarity in Polarity
        for along in (1.0, 1.00001)
        for across in (3.0, 3.01)
    }
    assert len(names) == 16
    assert {len(name) for name in names} == {12}
    assert mark_id(source="line-1", along_m=12.5, across_mm=300, polarity=Polarity.DARK) == "28282b663903"


@pytest.mark.parametrize("place", [(math.nan, 0), (0, math.inf)])
def test_a_mark_needs_a_place_to_be_named(place):
    """A mark that isn't anywhere has no name."""
    with pytest.raises(ArgumentError, match="must be finite"):
        mark_id(source="line-1", along_m=place[0], across_mm=place[1], polarity="dark")


_small = st.integers(0, 6)
_extents = st.tuples(_small, _small, _small, _small).map(
    lambda v: Extent(along_from_m=min(v[:2]), along_to_m=max(v[:2]), across_from_mm=min(v[2:]), across_to_mm=max(v[2:]))
)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(_small, _small), max_size=20), st.lists(_extents, max_size=4))
def test_marks_within_are_those_whose_centre_is_inside(places, extents):
    """Choosing by table agrees with asking each rectangle about each mark, and keeps the order."""
    inside = [
        f"m{n}"
        for n, (along, across) in enumerate(places)
        if any(box.contains(Place(along_m=along, across_mm=across)) for box in extents)
    ]
    assert marks_within(check_marks(_table(places)), extents)["id"].to_list() == inside


def test_many_rectangles_are_no_trouble():
    """A thousand rectangles choose as one does."""
    lanes = [Extent(along_from_m=n, along_to_m=n + 1, across_from_mm=0, across_to_mm=5) for n in range(1000)]
    table = check_marks(_table([(n, n % 10) for n in range(1000)]))
    assert marks_within(table, lanes).height == 500
