"""Cut lists become finished rolls whose every metre is known, also where the wide roll was handled before."""

from fractions import Fraction

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import Genealogy, WebPlace
from wideroll.workflow.finished_index import FinishedIndex, WideRoll
from wideroll.workflow.finished_rolls import FINISHED_SCHEMA, SlitPart, SlitRoll, finished_handling, finished_rows
from wideroll.workflow.handled import CutOut, HandledRoll, Joined, WoundOver, handle_roll

M = Fraction


def _part(low, high, left=8.0, right=42.975):
    return SlitPart(slitter_from_m=low, slitter_to_m=high, across_from_mm=left, across_to_mm=right)


def _slit(*parts, **said):
    return SlitRoll(number="W-1/001-01", width="35 mm", parts=parts, **said)


@pytest.mark.parametrize(("windings", "outer"), [(0, "first coated"), (1, "last coated"), (2, "first coated")])
def test_each_winding_turns_the_roll_about(windings, outer):
    """Off the slitter the end that was coated first is outside; each winding brings the other end out."""
    step = finished_handling(_slit(_part(2.0, 8.0), windings=windings), "W-1", M(14))
    outside = {"first coated": M(6), "last coated": M(12)}[outer]
    assert step.to_parent(M(0)) == ("W-1", outside)


@pytest.mark.parametrize("windings", [1, 2])
def test_a_spliced_roll_has_its_parts_in_the_order_they_are_wound(windings):
    """Wound once, the part slit first lies outside; wound twice, the part slit last."""
    step = finished_handling(_slit(_part(0.0, 3.0), _part(5.0, 9.0), windings=windings), "W-1", M(14))
    ends = [step.to_parent(M(at))[1] for at in (0, 7)]
    assert ends == ([M(14), M(5)] if windings == 1 else [M(5), M(14)])
    assert [stretch.length_m for stretch in step.stretches] == ([3, 4] if windings == 1 else [4, 3])


def test_rows_hold_coated_places_to_the_nanometre():
    """A lane of 34.975 mm and metres like 0.1 stand in the table without a binary tail."""
    rows = finished_rows([_slit(_part(0.1, 6.3))], roll="W-1", slit="W-1", length_m=M(14))
    row = rows.row(0, named=True)
    assert rows.schema == FINISHED_SCHEMA
    assert (row["along_from_nm"], row["along_to_nm"]) == (7_700_000_000, 13_900_000_000)
    assert (row["across_from_nm"], row["across_to_nm"]) == (8_000_000, 42_975_000)
    assert row["reversed"]
    assert not row["mirrored"]


def test_no_finished_rolls_are_an_empty_table():
    """A list without pieces is a table with no rows, of the same columns."""
    assert finished_rows([], roll="W-1", slit="W-1", length_m=M(14)).schema == FINISHED_SCHEMA


@given(st.integers(1, 130), st.integers(1, 130), st.booleans(), st.booleans())
def test_handling_before_the_slitter_is_followed(start, long, swapped, turned):
    """Wound over with its edges changed and a stretch cut out, a place by the table is that of the steps one by one."""
    done = [WoundOver(turned=turned, swapped=swapped), CutOut(from_m=M(start, 10), to_m=M(start + long, 20) + 13)]
    handled = handle_roll("W-1", M(40), M(100), done)
    slit = _slit(_part(0.0, float(handled.length_m)))
    family = Genealogy.of(handled.steps)
    rows = finished_rows([slit], roll="W-1", slit=handled.name, length_m=handled.length_m, family=family)
    step = finished_handling(slit, handled.name, handled.length_m)
    for row in rows.iter_rows(named=True):
        middle = M(row["from_nm"] + row["to_nm"], 2 * 10**9)
        coated = family.coated(step.place_on_parent(WebPlace(roll=slit.number, along_m=middle, across_mm=M(5))))
        assert coated.along_m == M(row["along_from_nm"] + row["along_to_nm"], 2 * 10**9)
        low, high = M(row["across_from_nm"], 10**6), M(row["across_to_nm"], 10**6)
        assert coated.across_mm == (high - 5 if row["mirrored"] else low + 5)
        assert coated.turned is row["turned"] is turned
    assert rows["to_nm"].max() == handled.length_m * 10**9


def test_a_joined_roll_leads_to_both():
    """Film slit over the join comes from two wide rolls, the other one as its own handling left it."""
    other = handle_roll("W-2", M(20), M(100), [CutOut(from_m=M(0), to_m=M(4))])
    handled = handle_roll("W-1", M(10), M(100), [Joined(roll="W-2")], lambda _: other)
    assert handled.length_m == 26
    rows = finished_rows(
        [_slit(_part(14.0, 18.0))],
        roll="W-1",
        slit=handled.name,
        length_m=handled.length_m,
        family=Genealogy.of(handled.steps),
    )
    assert rows["coated"].to_list() == ["W-2", "W-1"]
    assert [(low / 1e9, high / 1e9) for low, high in rows.select("along_from_nm", "along_to_nm").iter_rows()] == [
        (4.0, 6.0),
        (8.0, 10.0),
    ]


@pytest.mark.parametrize(("low", "high"), [(8, 12), (0, 10), (3, 3)])
def test_a_cut_that_can_not_be_is_refused(low, high):
    """Past the roll, all of it, or nothing can't have been cut out."""
    with pytest.raises(ArgumentError, match="cut out: must lie within the roll's 10 m"):
        handle_roll("W-1", M(10), M(100), [CutOut(from_m=M(low), to_m=M(high))])


def test_what_was_not_handled_is_as_it_was_coated():
    """Without steps the roll itself comes onto the slitter."""
    assert handle_roll("W-1", M(10), M(100), []) == HandledRoll(name="W-1", length_m=M(10))


def _index():
    rolls = [
        SlitRoll(number=f"W-{r}/00{n}-01", width="35 mm", parts=(_part(0.0, 3.0),)) for r in (1, 2) for n in (1, 2)
    ]
    rows = pl.concat(finished_rows([one], roll=one.number[:3], slit=one.number[:3], length_m=M(14)) for one in rolls)
    wide = {
        name: WideRoll(name=name, product="p", status="released", length_m=14.0, key="k") for name in ("W-1", "W-2")
    }
    return FinishedIndex(rows=rows, rolls=wide)


def test_a_finished_roll_is_found_by_its_number():
    """The whole number names one roll."""
    assert _index().find("W-2/001-01")["finished"].to_list() == ["W-2/001-01"]
    assert _index().count == 4


@pytest.mark.parametrize(
    ("number", "message"),
    [
        ("001-01", "several have this number.*W-1/001-01, W-2/001-01"),
        ("W-1/003-01", "number of one finished roll.*W-1/001-01"),
        ("W-9/002-01", "Perhaps one of: W-1/002-01, W-2/002-01"),
        ("nonsense", "wide roll must be one of: W-1, W-2"),
    ],
)
def test_a_number_that_names_none_gets_the_nearest(number, message):
    """The error gives numbers that there are."""
    with pytest.raises(InputError, match=message):
        _index().find(number)
