"""Where sample sheets are taken."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.sampling import place_sheets

WEB = Extent(along_from_m=0.0, along_to_m=200.0, across_from_mm=0.0, across_to_mm=1380.0)


@settings(deadline=None)
@given(
    count=st.integers(4, 40),
    seed=st.integers(0, 2**32),
    borders=st.lists(st.floats(20, 180), max_size=3, unique_by=lambda b: round(b / 20)),
)
def test_each_stretch_has_a_sheet_and_none_crosses_a_border(count, seed, borders):
    """Sheets lie on the roll, apart, over the full width, across no border, and each stretch gets at least one."""
    edges = [0.0, *sorted(borders), 200.0]
    if min(b - a for a, b in itertools.pairwise(edges)) < 8.0:
        return
    sheets = place_sheets(WEB, count, 0.3, seed, borders)
    assert len(sheets) == count
    for one, other in itertools.pairwise(sheets):
        assert one.along_to_m <= other.along_from_m
    for start, end in itertools.pairwise(edges):
        inside = [s for s in sheets if s.along_from_m >= start and s.along_to_m <= end]
        assert inside
    assert sum(s.along_from_m >= a and s.along_to_m <= b for s in sheets for a, b in itertools.pairwise(edges)) == count
    assert {(s.across_from_mm, s.across_to_mm) for s in sheets} == {(0.0, 1380.0)}


def test_the_seed_is_the_choice():
    """The same seed gives the same sheets, another seed others."""
    assert place_sheets(WEB, 5, 0.3, 7) == place_sheets(WEB, 5, 0.3, 7)
    assert place_sheets(WEB, 5, 0.3, 7) != place_sheets(WEB, 5, 0.3, 8)


def test_every_place_is_equally_likely():
    """Over many seeds the sheets cover the roll evenly, so that a rate from them isn't biased."""
    tens = [0] * 20
    for seed in range(400):
        for sheet in place_sheets(WEB, 5, 0.1, seed):
            tens[int((sheet.along_from_m + 0.05) // 10)] += 1
    assert min(tens) > 60  # 100 expected, standard deviation below 9
    assert max(tens) < 140


def test_sheets_at_one_distance_would_miss_a_turning_mark():
    """The distances between sheets differ, so that they can't keep step with a roller."""
    sheets = place_sheets(WEB, 10, 0.3, 3)
    steps = {round(b.along_from_m - a.along_from_m, 3) for a, b in itertools.pairwise(sheets)}
    assert len(steps) == 9


@pytest.mark.parametrize(
    ("count", "length", "borders", "named"),
    [
        (1, 0.3, (100.0,), "count"),
        (5, 0.0, (), "sheet_length_m"),
        (5, 50.0, (), "sheet_length_m"),
        (0, 1.0, (), "count"),
    ],
)
def test_what_does_not_fit_is_said(count, length, borders, named):
    """Too few sheets, or sheets that don't fit, give an error that names the argument."""
    with pytest.raises(ArgumentError, match=f"^{named}:"):
        place_sheets(WEB, count, length, 1, borders)
