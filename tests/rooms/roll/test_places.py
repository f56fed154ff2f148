"""Rectangles of the web against a grid that counts cells."""

import math
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Coverage, Extent, Lane, Place, Side, Unseen, union_area_m2, unseen_within

_SIZE = 8
_WHOLE = Extent(along_from_m=0, along_to_m=_SIZE, across_from_mm=0, across_to_mm=_SIZE)


def _box(along_from, along_to, across_from, across_to):
    return Extent(along_from_m=along_from, along_to_m=along_to, across_from_mm=across_from, across_to_mm=across_to)


def _spans(low, high):
    return st.tuples(st.integers(low, high), st.integers(low, high)).map(sorted)


_boxes = st.tuples(_spans(-2, _SIZE + 2), _spans(-2, _SIZE + 2)).map(lambda s: _box(*s[0], *s[1]))
_box_lists = st.lists(_boxes, max_size=6)
_finite = st.floats(-1e4, 1e4)
_float_boxes = st.tuples(_finite, _finite, _finite, _finite).map(
    lambda v: _box(min(v[:2]), max(v[:2]), min(v[2:]), max(v[2:]))
)


def _cells(boxes):
    """The oracle: which unit cells of the whole, by their middle, lie in a rectangle. Slow and obvious."""
    inside = np.zeros((_SIZE, _SIZE), dtype=bool)
    for along, across in product(range(_SIZE), range(_SIZE)):
        middle = Place(along_m=along + 0.5, across_mm=across + 0.5)
        inside[along, across] = any(box.contains(middle) for box in boxes)
    return inside


def _within(boxes):
    return [part for box in boxes if (part := box.meet(_WHOLE))]


@settings(deadline=None)
@given(_float_boxes, _float_boxes)
def test_meeting_is_symmetric_and_inside_both(a, b):
    """The shared part is the same from either side, and meeting it again with either changes nothing."""
    shared = a.meet(b)
    assert shared == b.meet(a)
    if shared is not None:
        assert shared.meet(a) == shared == shared.meet(b)
        assert 0 < shared.length_m <= min(a.length_m, b.length_m)
        assert 0 < shared.width_mm <= min(a.width_mm, b.width_mm)


@settings(deadline=None)
@given(_boxes, _boxes)
def test_a_place_is_in_the_shared_part_when_it_is_in_both(a, b):
    """Containing and meeting agree on every place, borders included."""
    shared = a.meet(b)
    for along, across in product(range(-2, _SIZE + 3), range(-2, _SIZE + 3)):
        place = Place(along_m=along, across_mm=across)
        assert (a.contains(place) and b.contains(place)) == (shared is not None and shared.contains(place))


def test_borders_belong_to_one_neighbour_only():
    """A place on the border between two stretches lies in exactly one of them."""
    first, second = _box(0, 5, 0, 10), _box(5, 9, 0, 10)
    border = Place(along_m=5, across_mm=3, side=Side.BASE)
    assert [first.contains(border), second.contains(border)] == [False, True]
    assert first.meet(second) is None


@settings(deadline=None)
@given(_float_boxes, st.floats(0, 100), st.floats(0, 100))
def test_growing_adds_the_guard_on_every_side(box, along_m, across_mm):
    """A grown rectangle holds the old one and is longer and wider by twice the guard."""
    grown = box.grown(along_m=along_m, across_mm=across_mm)
    assert grown.length_m == pytest.approx(box.length_m + 2 * along_m, abs=1e-8)
    assert grown.width_mm == pytest.approx(box.width_mm + 2 * across_mm, abs=1e-8)
    if box.area_m2 > 0:
        assert grown.meet(box) == box


def test_shrinking_below_nothing_is_refused():
    """A negative guard larger than the rectangle is an error, not an inverted rectangle."""
    with pytest.raises(ArgumentError, match="extent along"):
        _box(0, 1, 0, 10).grown(along_m=-0.6)


@pytest.mark.parametrize("borders", [(1, 0, 0, 1), (0, 1, 1, 0), (math.nan, 1, 0, 1), (0, math.inf, 0, 1)])
def test_impossible_rectangles_are_refused(borders):
    """Inverted, infinite or undefined borders can't become a rectangle."""
    with pytest.raises(ArgumentError, match="finite and not before the start"):
        _box(*borders)


def test_a_lane_over_a_stretch_has_the_lanes_borders():
    """A lane keeps its place across."""
    assert Lane(number=3, across_from_mm=70, across_to_mm=105).over(2, 4) == _box(2, 4, 70, 105)


@settings(deadline=None)
@given(_box_lists)
def test_union_area_counts_each_cell_once(boxes):
    """The area covered by at least one rectangle is the number of cells that the oracle counts."""
    assert union_area_m2(_within(boxes)) * 1000 == pytest.approx(_cells(boxes).sum(), abs=1e-9)


@settings(deadline=None)
@given(st.lists(_float_boxes, max_size=6), st.randoms(use_true_random=False))
def test_union_area_is_bounded_and_knows_no_order(boxes, random):
    """It lies between the largest single area and their sum, and doesn't depend on the order."""
    area = union_area_m2(boxes)
    shuffled = boxes.copy()
    random.shuffle(shuffled)
    assert union_area_m2(shuffled + boxes) == pytest.approx(area)
    slack = 1e-9 * (1 + area)
    assert max((b.area_m2 for b in boxes), default=0) - slack <= area <= sum(b.area_m2 for b in boxes) + slack


@settings(deadline=None)
@given(_box_lists)
def test_what_is_not_covered_is_what_is_left(seen):
    """The unseen rectangles cover exactly the cells that no seen rectangle covers, and don't overlap."""
    gaps = [gap.extent for gap in unseen_within(_WHOLE, seen, "scanner off")]
    np.testing.assert_array_equal(_cells(gaps), ~_cells(seen))
    assert sum(gap.area_m2 for gap in gaps) == pytest.approx(union_area_m2(gaps))
    assert union_area_m2(gaps) + union_area_m2(_within(seen)) == pytest.approx(_WHOLE.area_m2)
    assert all(gap.area_m2 > 0 and gap.meet(_WHOLE) == gap for gap in gaps)
    assert gaps == sorted(gaps)


def test_a_gap_is_one_rectangle_however_the_rest_was_cut():
    """Neighbouring stretches with the same gap across give one rectangle with the reason."""
    seen = [_box(s, s + 1, 0, 3) for s in range(_SIZE)]
    assert unseen_within(_WHOLE, seen, "lens cover") == (Unseen(extent=_box(0, _SIZE, 3, _SIZE), why="lens cover"),)


@pytest.mark.parametrize("whole", [_box(3, 3, 0, 9), _box(0, 9, 3, 3)])
def test_nothing_is_unseen_of_nothing(whole):
    """A rectangle without area has no unseen part and a share of 0."""
    assert unseen_within(whole, [_box(1, 5, 1, 5)], "") == ()
    assert Coverage(seen=(_WHOLE,)).share(whole) == 0.0


@settings(deadline=None)
@given(_box_lists, _box_lists)
def test_share_is_seen_without_what_is_listed_unseen(seen, holes):
    """The share is the number of cells seen and not listed as unseen, over all cells."""
    coverage = Coverage(seen=tuple(seen), unseen=tuple(Unseen(extent=hole, why="splice") for hole in holes))
    looked_at = _cells(seen) & ~_cells(holes)
    assert coverage.share(_WHOLE) == pytest.approx(looked_at.mean(), abs=1e-12)


@settings(deadline=None)
@given(st.lists(st.floats(0.001, 2999.9), max_size=50), st.floats(10, 1500))
def test_a_roll_seen_in_pieces_is_seen_to_the_last(cuts, width_mm):
    """Segments that meet end to end give a share of exactly 1, whatever rounding their sum would have."""
    ends = sorted({0.0, 3000.0, *cuts})
    seen = tuple(_box(a, b, 0.0, width_mm) for a, b in pairwise(ends))
    assert Coverage(seen=seen).share(_box(0.0, 3000.0, 0.0, width_mm)) == 1.0


def test_a_roll_nobody_looked_at_has_a_share_of_nothing():
    """Not looked at is never good."""
    assert Coverage().share(_WHOLE) == 0.0
