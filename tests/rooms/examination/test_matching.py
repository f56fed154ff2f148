"""Sightings matched with the scan, and how many marks there are."""

import dataclasses
import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import hypergeom

from wideroll.errors import ArgumentError
from wideroll.examination import chapman, match_sightings
from wideroll.roll import MarkKind

ALONG, ACROSS = 0.01, 4.0
GRID = st.lists(st.tuples(st.integers(0, 6), st.integers(0, 4)), max_size=5)


def matched(sheet, sightings, marks):
    """Matched within the tolerances of this file."""
    return match_sightings([sheet], sightings, marks, tolerance_along_m=ALONG, tolerance_across_mm=ACROSS)


def test_three_lists_and_the_estimate(sheet, sighting, marks_at):
    """Pairs, what only one saw, and Chapman's number follow from hand-placed marks."""
    marks = marks_at((1.0, 100.0), (1.5, 500.0), (3.0, 100.0))
    found = matched(sheet, [sighting(1.004, 101.0), sighting(0.2, 900.0)], marks)
    assert [(m.sighting, m.mark_id) for m in found.matches] == [(0, "m0")]
    assert found.matches[0].distance_mm == pytest.approx(17**0.5)
    assert found.only_examiner == (1,)
    assert found.only_scanner == ("m1",)
    assert found.total == pytest.approx(3 * 3 / 2 - 1)
    assert found.hidden == pytest.approx(0.5)
    assert 3.0 <= found.total_low <= found.total <= found.total_high


def test_a_streak_is_not_taken_for_a_mark(sheet, sighting, marks_at):
    """What the scanner doesn't report as a mark is neither paired nor counted as missed by it."""
    streak = dataclasses.replace(sighting(1.0, 100.0), kind=MarkKind.STREAK)
    found = matched(sheet, [streak], marks_at((1.0, 100.0)))
    assert (found.matches, found.only_examiner) == ((), ())


def test_the_best_pairing_is_not_the_greedy_one(sheet, sighting, marks_at):
    """A mark that is nearest to two sightings goes where both sightings find a partner."""
    marks = marks_at((1.000, 100.0), (1.009, 100.0))
    found = matched(sheet, [sighting(1.001, 100.0), sighting(0.992, 100.0)], marks)
    assert {(m.sighting, m.mark_id) for m in found.matches} == {(0, "m1"), (1, "m0")}


@settings(max_examples=60, deadline=None)
@given(seen=GRID, scanned=GRID)
def test_agrees_with_trying_all_pairings(sheet, sighting, marks_at, seen, scanned):
    """As many pairs as any pairing has, at the least total squared distance (oracle: all permutations)."""
    sightings = [sighting(1.0 + a * 0.004, 100.0 + x * 1.5) for a, x in seen]
    places = [(1.0 + a * 0.004, 100.0 + x * 1.5) for a, x in scanned]
    best = (0, 0.0)
    padded = [*range(len(places)), *([None] * len(sightings))]
    for chosen in set(itertools.permutations(padded, len(sightings))):
        costs = [cost(sightings[row], places[column]) for row, column in enumerate(chosen) if column is not None]
        allowed = [c for c in costs if c is not None]
        if len(allowed) == len(costs):
            best = min(best, (-len(costs), sum(costs)))
    found = matched(sheet, sightings, marks_at(*places))
    total = sum(cost(sightings[m.sighting], places[int(m.mark_id[1:])]) for m in found.matches)
    assert (-len(found.matches), total) == (best[0], pytest.approx(best[1], abs=1e-9))


def cost(sighting, place):
    """Squared distance in tolerances, None beyond them."""
    off = abs(place[0] - sighting.place.along_m) / ALONG, abs(place[1] - sighting.place.across_mm) / ACROSS
    return off[0] ** 2 + off[1] ** 2 if max(off) <= 1.0 else None


def test_handling_marks_do_not_count(sheet, sighting, marks_at):
    """Dust that wipes off and isn't in the scan is in neither list and doesn't change the estimate."""
    marks = marks_at((1.0, 100.0))
    plain = matched(sheet, [sighting(1.0, 100.0)], marks)
    dusty = matched(sheet, [sighting(1.0, 100.0), sighting(0.5, 500.0, wipes_off=True)], marks)
    assert dusty.handling == (1,)
    assert dusty.only_examiner == ()
    assert (dusty.total, dusty.hidden) == (plain.total, plain.hidden)


def test_nothing_found_is_an_empty_result(sheet, marks_at):
    """No sightings and no marks give empty lists and a total of 0."""
    found = matched(sheet, [], marks_at())
    assert (found.matches, found.only_examiner, found.only_scanner, found.total) == ((), (), (), 0.0)


def test_bad_arguments_are_named(sheet, sighting, marks_at):
    """A sighting on an unknown sheet and a tolerance of 0 are refused."""
    with pytest.raises(ArgumentError, match=r"^sightings:"):
        matched(sheet, [sighting(sheet="B")], marks_at())
    with pytest.raises(ArgumentError, match=r"^tolerance_along_m:"):
        match_sightings([sheet], [], marks_at(), tolerance_along_m=0.0, tolerance_across_mm=1.0)
    with pytest.raises(ArgumentError, match=r"^both:"):
        chapman(3, 4, 5)
    with pytest.raises(ArgumentError, match=r"^confidence:"):
        chapman(3, 4, 2, confidence=1.0)


@given(first=st.integers(0, 300), second=st.integers(0, 300), share=st.floats(0, 1))
def test_the_estimate_is_symmetric_and_never_below_what_was_seen(first, second, share):
    """Exchanging both looks changes nothing; what was seen is the least there can be."""
    both = round(share * min(first, second))
    one, other = chapman(first, second, both), chapman(second, first, both)
    assert (one.total, one.low, one.high) == (other.total, other.low, other.high)
    seen = first + second - both
    assert seen <= one.low + 1e-9
    assert one.low <= one.total + 1e-9
    assert one.total <= one.high + 1e-9


@settings(deadline=None)
@given(
    fewer=st.integers(1, 40),
    extra=st.integers(0, 20),
    swapped=st.booleans(),
    confidence=st.sampled_from([0.8, 0.95, 0.99]),
)
def test_full_agreement_leaves_room_for_what_escaped_both(fewer, extra, swapped, confidence):
    """Where one missed nothing, numbers up to the upper limit give such an agreement, and none above (oracle)."""
    first, second = (fewer + extra, fewer) if swapped else (fewer, fewer + extra)
    found = chapman(first, second, fewer, confidence)
    assert found.low == first + second - fewer < found.high
    tail = (1.0 - confidence) / 2.0
    for there in range(fewer + extra, int(found.high) + 3):
        if there < found.high - 1e-6:
            assert hypergeom.pmf(fewer, there, first, second) > tail
        elif there > found.high + 1e-6:
            assert hypergeom.pmf(fewer, there, first, second) < tail


def test_only_nothing_seen_by_anybody_is_an_exact_number():
    """Two that saw nothing leave 0; one that saw nothing where the other did gives no upper limit."""
    nothing = chapman(0, 0, 0)
    assert (nothing.low, nothing.total, nothing.high) == (0.0, 0.0, 0.0)
    blind = chapman(12, 0, 0)
    assert (blind.low, blind.high) == (12.0, math.inf)


@given(first=st.integers(0, 60), second=st.integers(0, 60), share=st.floats(0, 1))
def test_the_interval_has_a_width(first, second, share):
    """However alike two looks are, the number isn't claimed to be known, unless nobody saw anything."""
    found = chapman(first, second, round(share * min(first, second)))
    assert (found.high > found.low) == (first + second > 0)
