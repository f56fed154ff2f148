"""Places go from child to parent and back without loss."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.roll import Handling, Stretch

_metres = st.integers(0, 3_000_000).map(lambda mm: Fraction(mm, 1000))
_shares = st.integers(0, 997).map(lambda part: Fraction(part, 997))


@st.composite
def _stretches(draw):
    start, end = sorted(draw(st.lists(_metres, min_size=2, max_size=2, unique=True)))
    return Stretch(parent=draw(st.sampled_from("AB")), from_m=start, to_m=end, reversed=draw(st.booleans()))


_handlings = st.lists(_stretches(), min_size=1, max_size=5).map(lambda s: Handling(child="C", stretches=tuple(s)))


def _joins(handling):
    ends = [Fraction(0)]
    for stretch in handling.stretches:
        ends.append(ends[-1] + stretch.length_m)
    return ends[1:-1]


@settings(deadline=None, max_examples=60)
@given(_handlings, _shares)
def test_a_place_goes_to_the_parent_and_back(handling, share):
    """Every place on the child is among the places that its parent place maps to."""
    place = share * handling.length_m
    assert place in handling.to_child(*handling.to_parent(place))


@settings(deadline=None, max_examples=60)
@given(_handlings, _shares, st.integers(0, 4))
def test_a_parents_place_goes_to_the_child_and_back(handling, share, pick):
    """Every place on the child that a parent place maps to came from exactly there, joins aside."""
    stretch = handling.stretches[pick % len(handling.stretches)]
    along = stretch.from_m + share * stretch.length_m
    places = handling.to_child(stretch.parent, along)
    assert places
    for place in places:
        if place not in _joins(handling):
            assert handling.to_parent(place) == (stretch.parent, along)


@settings(deadline=None, max_examples=60)
@given(_metres.filter(bool), _shares)
def test_rewinding_twice_changes_nothing(length, share):
    """A roll wound over twice has every place where it was; once, head and tail change places."""
    once = Handling.rewind(parent="A", child="B", length_m=length)
    twice = Handling.rewind(parent="B", child="C", length_m=length)
    place = share * length
    roll, on_b = twice.to_parent(place)
    assert (roll, on_b) == ("B", length - place)
    assert once.to_parent(on_b) == ("A", place)


@settings(deadline=None, max_examples=60)
@given(_handlings, _shares, _shares)
def test_distances_within_a_stretch_stay(handling, a, b):
    """Two places on one stretch are as far apart on the parent as on the child."""
    first = handling.stretches[0].length_m
    a, b = a * first, b * first
    on_parent = [handling.to_parent(place)[1] for place in (a, b) if place < first or len(handling.stretches) == 1]
    if len(on_parent) == 2:
        assert abs(on_parent[0] - on_parent[1]) == abs(a - b)


def test_a_cut_out_is_nowhere_on_the_child():
    """What was cut away has no place, and its borders meet at the join."""
    pieces = (
        Stretch(parent="A", from_m=Fraction(0), to_m=Fraction(300)),
        Stretch(parent="A", from_m=Fraction(350), to_m=Fraction(1200)),
    )
    handling = Handling(child="B", stretches=pieces)
    assert handling.length_m == 1150
    assert handling.to_child("A", Fraction(320)) == ()
    assert handling.to_child("A", Fraction(300)) == handling.to_child("A", Fraction(350)) == (Fraction(300),)
    assert handling.to_parent(Fraction(300)) == ("A", Fraction(350))
    assert handling.to_child("another", Fraction(10)) == ()


def test_a_stretch_used_twice_is_found_twice():
    """A parent place that lies twice on a child is answered twice, in the child's order."""
    stretch = Stretch(parent="A", from_m=Fraction(0), to_m=Fraction(10))
    assert Handling(child="B", stretches=(stretch, stretch)).to_child("A", Fraction(4)) == (4, 14)


@pytest.mark.parametrize("along", [Fraction(-1, 10), Fraction(101, 10)])
def test_a_place_off_the_child_is_refused(along):
    """Places before the head or past the tail have no parent."""
    handling = Handling.rewind(parent="A", child="B", length_m=Fraction(10))
    with pytest.raises(ArgumentError, match="between 0 and 10 m"):
        handling.to_parent(along)


@pytest.mark.parametrize("end", [Fraction(5), Fraction(4)])
def test_empty_and_inverted_stretches_are_refused(end):
    """A stretch has a length."""
    with pytest.raises(ArgumentError, match="stretch of A"):
        Stretch(parent="A", from_m=Fraction(5), to_m=end)


def test_a_roll_made_of_nothing_is_refused():
    """A handling step has at least one stretch."""
    with pytest.raises(ArgumentError, match="stretches of B: at least one"):
        Handling(child="B", stretches=())
