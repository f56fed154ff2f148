"""A plan of sheets: strata along and across, borders, and where to take more."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.sampling import Border, SheetReason, SheetSize, further_sheets, plan_sheets, rate_limits, sheets_needed

WEB = Extent(along_from_m=0.0, along_to_m=400.0, across_from_mm=0.0, across_to_mm=1380.0)
SIZE = SheetSize(length_m=0.3, width_mm=400.0)
SPLICE = Border(along_m=150.0, what="splice")


@settings(deadline=None, max_examples=50)
@given(count=st.integers(4, 40), seed=st.integers(0, 2**32), place=st.floats(1.0, 399.0))
def test_a_plan_holds_what_it_promises(count, seed, place):
    """Sheets lie on the web, none overlaps along, none crosses a border, and so many were drawn as asked."""
    plan = plan_sheets(WEB, count, SIZE, seed, [Border(along_m=place, what="splice")])
    assert sum(sheet.reason is SheetReason.RANDOM for sheet in plan.sheets) == count
    for one, other in itertools.pairwise(plan.sheets):
        assert one.extent.along_to_m <= other.extent.along_from_m + 1e-9
    for sheet in plan.sheets:
        assert sheet.extent.meet(WEB) == sheet.extent
        assert not sheet.extent.along_from_m < place < sheet.extent.along_to_m
    assert sum(place in {s.extent.along_from_m, s.extent.along_to_m} for s in plan.sheets) == 2


def test_columns_are_looked_at_equally_often():
    """Across, each column is used as often as any other, or once more."""
    plan = plan_sheets(WEB, 20, SIZE, 3)
    assert plan.columns == 3
    used = [0, 0, 0]
    for sheet in plan.sheets:
        used[int((sheet.extent.across_from_mm + 200.0) // 460.0)] += 1
    assert max(used) - min(used) <= 1


def test_every_place_is_equally_likely():
    """Over many seeds the drawn sheets cover the web evenly along and across."""
    along, across = [0] * 10, [0] * 3
    for seed in range(600):
        for sheet in plan_sheets(WEB, 5, SIZE, seed).sheets:
            along[int((sheet.extent.along_from_m + 0.15) // 40)] += 1
            across[int((sheet.extent.across_from_mm + 200.0) // 460.0)] += 1
    assert max(abs(n - 300) for n in along) < 75
    assert max(abs(n - 1000) for n in across) < 110


def test_the_seed_is_the_choice():
    """The same seed gives the same plan, another seed another."""
    assert plan_sheets(WEB, 6, SIZE, 7, [SPLICE]) == plan_sheets(WEB, 6, SIZE, 7, [SPLICE])
    assert plan_sheets(WEB, 6, SIZE, 7).sheets != plan_sheets(WEB, 6, SIZE, 8).sheets


def test_a_short_stretch_is_taken_whole():
    """Between two borders with no room to draw, all is looked at."""
    plan = plan_sheets(WEB, 4, SIZE, 1, [SPLICE, Border(along_m=150.5, what="batch E-1 to E-2")])
    (short,) = [sheet for sheet in plan.sheets if sheet.reason is SheetReason.SHORT]
    assert (short.extent.along_from_m, short.extent.along_to_m) == (150.0, 150.5)
    assert short.beside == "splice and batch E-1 to E-2"


@given(limit=st.floats(0.05, 20), sheet=st.floats(0.05, 2), detected=st.floats(0.2, 1))
def test_so_many_clean_sheets_prove_the_limit_and_one_fewer_does_not(limit, sheet, detected):
    """With no mark found on the sheets needed, the one-sided limit is met; on one fewer it isn't."""
    needed = sheets_needed(limit, sheet, detected=detected)
    assert rate_limits(0, needed * sheet * detected, 0.90).high <= limit * (1 + 1e-6)
    if needed > 1:
        assert math.exp(-limit * (needed - 1) * sheet * detected) > 0.05 * (1 - 1e-6)


@settings(deadline=None, max_examples=50)
@given(count=st.integers(1, 12), seed=st.integers(0, 99))
def test_further_sheets_lie_where_nobody_looked(count, seed):
    """Further sheets overlap neither one another nor those taken, and stand in the longest gaps."""
    taken = [sheet.extent for sheet in plan_sheets(WEB, 4, SIZE, seed).sheets]
    more = [sheet.extent for sheet in further_sheets(WEB, taken, count, SIZE, seed)]
    assert len(more) == count
    for one, other in itertools.pairwise(sorted((*taken, *more))):
        assert one.along_to_m <= other.along_from_m + 1e-9


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: plan_sheets(WEB, 1, SIZE, 1, [SPLICE]), "count"),
        (lambda: plan_sheets(WEB, 3, SheetSize(length_m=0.0), 1), "length_m"),
        (lambda: plan_sheets(WEB, 3, SheetSize(length_m=1.0, width_mm=2000.0), 1), "width_mm"),
        (lambda: plan_sheets(WEB, 5, SheetSize(length_m=100.0), 1), "length_m"),
        (lambda: further_sheets(WEB, [WEB], 1, SIZE, 1), "count"),
        (lambda: sheets_needed(1.0, 0.0), "sheet_m2"),
        (lambda: sheets_needed(1.0, 1.0, detected=0.0), "detected"),
    ],
)
def test_what_does_not_fit_is_said(call, named):
    """An impossible plan gives an error that names the argument."""
    with pytest.raises(ArgumentError, match=f"^{named}:"):
        call()
