"""Several looks at one sheet, and what they saw counted once."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.examination import FilterColour, Section, Seen, density_change, merge_looks, pair_sightings
from wideroll.roll import MarkKind

ALONG, ACROSS = 0.01, 4.0
PLACES = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 5)), max_size=5)


def test_what_both_saw_is_one_thing_in_the_first_look_s_words(sighting):
    """A thing seen twice is one; what only the later look saw counts too; order is that of the sightings."""
    first = sighting(1.0, 100.0, grade="2", entry="1")
    again = sighting(1.004, 101.0, grade="3", entry="2", look="R1")
    new = sighting(0.5, 700.0, entry="3", look="R1")
    things = merge_looks([first, new, again], ALONG, ACROSS)
    assert [thing.sighting for thing in things] == [first, new]
    assert things[0].seen == (first, again)
    assert things[0].differs == "grade 2, in look R1 3"
    assert things[1].differs == ""


def test_the_first_look_comes_first_wherever_it_stands(sighting):
    """A later look's line that stands before the first look's doesn't take its place."""
    later, first = sighting(1.0, 100.0, look="R1", entry="1"), sighting(1.0, 100.0, entry="2")
    (thing,) = merge_looks([later, first], ALONG, ACROSS)
    assert thing.sighting is not later
    assert thing.seen == (first, later)


def test_two_things_of_one_look_stay_two(sighting):
    """However near, what one look saw twice is two things."""
    assert len(merge_looks([sighting(1.0, 100.0), sighting(1.0, 100.5)], ALONG, ACROSS)) == 2


def test_looks_at_other_sheets_are_other_things(sighting):
    """The same place on two sheets is no repeated look."""
    assert len(merge_looks([sighting(1.0, 100.0), sighting(1.0, 100.0, sheet="B", look="R1")], ALONG, ACROSS)) == 2


def test_metal_is_never_lost(sighting):
    """What any look calls metallic is metallic, and that the looks differ is said."""
    (thing,) = merge_looks([sighting(), sighting(look="R1", metallic=True)], ALONG, ACROSS)
    assert thing.sighting.metallic
    assert thing.differs == "not called metallic, in look R1 metallic"


def test_a_later_density_counts_where_the_first_measured_none(sighting):
    """No evidence is thrown away."""
    change = density_change([0.1, 0.0, 0.0], 0.01)
    (thing,) = merge_looks([sighting(), sighting(look="R1", density=change)], ALONG, ACROSS)
    assert thing.sighting.density is change


def test_every_difference_is_said(sighting):
    """Kind, filters, sections, depth and wiping each give a clause; what wasn't asked gives none."""
    first = sighting(
        through={FilterColour.RED: Seen.DARKER, FilterColour.GREEN: Seen.SAME},
        shows_in={Section.UNEXPOSED: True},
        embedded=True,
        wipes_off=False,
    )
    other = sighting(
        kind=MarkKind.BUBBLE,
        through={FilterColour.RED: Seen.LIGHTER, FilterColour.BLUE: Seen.SAME},
        shows_in={Section.UNEXPOSED: False},
        embedded=False,
        wipes_off=True,
        look="R1",
    )
    (thing,) = merge_looks([first, other], ALONG, ACROSS)
    assert thing.differs.split("; ") == [
        "spot, in look R1 bubble",
        "darker through red, in look R1 lighter",
        "shows in unexposed, in look R1 it doesn't show",
        "embedded, in look R1 on top",
        "doesn't wipe off, in look R1 it wipes off",
    ]


def test_streaks_are_paired_across_and_bands_along(sighting):
    """A streak is the same wherever along it was measured, a band wherever across; a spot on a streak is another."""
    streak = replace(sighting(1.0, 100.0), kind=MarkKind.STREAK)
    band = replace(sighting(0.4, 100.0), kind=MarkKind.BAND)
    spot = sighting(1.0, 100.0, look="R1")
    again = [
        replace(sighting(1.6, 102.0, look="R1"), kind=MarkKind.STREAK),
        replace(sighting(0.405, 900.0, look="R1"), kind=MarkKind.BAND),
        spot,
    ]
    assert pair_sightings([streak, band], again, ALONG, ACROSS) == ((0, 0), (1, 1))
    assert len(merge_looks([streak, band, *again], ALONG, ACROSS)) == 3


@settings(deadline=None)
@given(one=PLACES, other=PLACES)
def test_nothing_is_lost_or_counted_twice(sighting, one, other):
    """Each sighting is in one thing, and there are as many things as pairs leave."""
    first = [sighting(1.0 + a * 0.004, 100.0 + x * 1.5, entry=f"a{n}") for n, (a, x) in enumerate(one)]
    second = [sighting(1.0 + a * 0.004, 100.0 + x * 1.5, entry=f"b{n}", look="R1") for n, (a, x) in enumerate(other)]
    things = merge_looks([*first, *second], ALONG, ACROSS)
    assert sorted(s.entry for thing in things for s in thing.seen) == sorted(s.entry for s in [*first, *second])
    assert len(things) == len(first) + len(second) - len(pair_sightings(first, second, ALONG, ACROSS))
    for thing in things:
        places = np.array([[s.place.along_m, s.place.across_mm] for s in thing.seen])
        assert (np.ptp(places, axis=0) <= [ALONG + 1e-9, ACROSS + 1e-9]).all()


@settings(deadline=None)
@given(one=PLACES, other=PLACES)
def test_which_look_is_first_changes_no_pair(sighting, one, other):
    """Exchanging the looks gives as many pairs."""
    first, second = ([sighting(1.0 + a * 0.004, 100.0 + x * 1.5) for a, x in places] for places in (one, other))
    assert len(pair_sightings(first, second, ALONG, ACROSS)) == len(pair_sightings(second, first, ALONG, ACROSS))


@pytest.mark.parametrize("tolerances", [(0.0, 4.0), (0.01, -1.0)])
def test_a_tolerance_of_nothing_is_refused(sighting, tolerances):
    """A place is never known exactly."""
    with pytest.raises(ArgumentError, match="tolerance"):
        merge_looks([sighting()], *tolerances)
