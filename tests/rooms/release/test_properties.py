"""What must hold for any roll."""

import dataclasses

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.release import Measurand, Reason, Verdict, decide
from wideroll.release.ground import area_within_m2, joined_alike, outside, seen_along, unseen_parts
from wideroll.release.limits import rate_at_least
from wideroll.roll import Coverage, Extent, Unseen, union_area_m2, unseen_within

# Places on a grid of binary fractions, so that mirroring is exact.
PLACES = st.lists(st.tuples(st.integers(1, 40 * 32 - 1), st.integers(0, 999)), max_size=60).map(
    lambda pairs: [(a / 32, float(x)) for a, x in pairs]
)
CLUMPED = st.tuples(PLACES, st.integers(1, 1200), st.integers(0, 40)).map(
    lambda parts: parts[0] + [(parts[1] / 32 + n / 256, 10.0 * n) for n in range(parts[2])]
)
SEVERITY = [Verdict.RELEASE, Verdict.CUT_OUT, Verdict.HOLD, Verdict.REJECT]
BOXES = st.lists(
    st.tuples(st.integers(-2, 40), st.integers(1, 12), st.integers(-50, 900), st.integers(1, 400)).map(
        lambda b: Extent(along_from_m=b[0], along_to_m=b[0] + b[1], across_from_mm=b[2], across_to_mm=b[2] + b[3])
    ),
    max_size=6,
)
LOCAL, RATE = Measurand.LOCAL_MARK_RATE, Measurand.MARK_RATE


@pytest.fixture(scope="module")
def rules(criterion):
    """A limit for stretches and one for the roll."""
    return [criterion(LOCAL, limit=3.0), criterion(RATE, limit=1.0)]


@settings(max_examples=60, deadline=None)
@given(places=CLUMPED, more=PLACES.filter(bool))
def test_adding_marks_never_makes_a_roll_good(evidence, rules, places, more):
    """A roll that isn't released stays so with further marks; each criterion alone never gets better."""
    before, after = evidence(places), evidence([*places, *more])
    if decide(before, rules).verdict is not Verdict.RELEASE:
        assert decide(after, rules).verdict is not Verdict.RELEASE
    for rule in rules:
        ranks = [SEVERITY.index(decide(found, [rule]).verdict) for found in (before, after)]
        assert ranks == sorted(ranks)


@settings(max_examples=60, deadline=None)
@given(places=CLUMPED)
def test_a_mirrored_web_has_mirrored_regions(evidence, rules, whole, places):
    """Head and tail exchanged, and datum edge too: the same verdict, parts and shares, mirrored."""
    one = decide(evidence(places), rules)
    two = decide(evidence([(whole.along_to_m - a, whole.across_to_mm - x - 1e-6) for a, x in places]), rules)
    assert one.verdict is two.verdict
    spans = [(r.extent.along_from_m, r.extent.along_to_m) for r in one.regions]
    mirrored = sorted((40.0 - r.extent.along_to_m, 40.0 - r.extent.along_from_m) for r in two.regions)
    assert np.array(spans) == pytest.approx(np.array(mirrored), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(places=CLUMPED, guard=st.sampled_from([0.0, 0.3, 5.0]))
def test_regions_stay_on_the_roll_and_what_is_left_has_no_dense_stretch(evidence, criterion, whole, places, guard):
    """Regions lie on the roll, none is empty, and no window too dense is left (oracle: every window).

    Of 40 windows end to end each has a fortieth of the risk.
    """
    sure = 1.0 - 0.05 / 40
    rule = criterion(LOCAL, limit=3.0, guard_m=guard)
    decision = decide(evidence(places), [rule])
    for region in decision.regions:
        assert region.extent.meet(whole) == region.extent
        assert region.extent.area_m2 > 0.0
    cut = [r.extent for r in decision.regions]
    left = [a for a, _ in places if not any(c.along_from_m <= a < c.along_to_m for c in cut)]
    for first in left:
        inside = sum(first <= a < first + 1.0 for a in left)
        assert float(rate_at_least(inside, 1.0, sure)[0]) <= 3.0
    dense = any(float(rate_at_least(sum(a <= b < a + 1.0 for b, _ in places), 1.0, sure)[0]) > 3.0 for a, _ in places)
    assert dense == bool(cut)


@settings(max_examples=60, deadline=None)
@given(places=CLUMPED, seen=BOXES)
def test_margins_agree_with_reasons_and_shares_with_regions(evidence, criterion, rules, whole, places, seen):
    """Within the limit the margin isn't negative, above it it is; released is what was seen and no region takes."""
    found = evidence(places, coverage={"scan": Coverage(seen=tuple(seen))})
    decision = decide(found, [*rules, criterion(Measurand.COVERAGE)])
    for finding in decision.findings:
        if finding.reason in {Reason.WITHIN_LIMIT, Reason.NONE_FOUND}:
            assert finding.margin >= -1e-9
            assert finding.verdict is Verdict.RELEASE
        if finding.reason is Reason.ABOVE_LIMIT:
            assert finding.margin < 0
            assert finding.verdict is not Verdict.RELEASE
    taken = [region.extent for region in decision.regions]
    unseen = [part.extent for part in unseen_within(whole, seen, why="")]
    assert decision.released_share == pytest.approx(1.0 - union_area_m2([*taken, *unseen]) / whole.area_m2, abs=1e-9)
    assert (decision.verdict is Verdict.RELEASE) == (not decision.regions)
    if area_within_m2(whole, seen) < 0.98 * whole.area_m2 - 1e-6:
        assert decision.verdict is not Verdict.RELEASE


@settings(max_examples=40, deadline=None)
@given(places=CLUMPED, order=st.randoms(use_true_random=False))
def test_the_order_of_marks_does_not_matter(evidence, rules, places, order):
    """The same marks in another order give the same decision."""
    shuffled = list(places)
    order.shuffle(shuffled)
    one, two = decide(evidence(places), rules), decide(evidence(shuffled), rules)
    assert [dataclasses.astuple(f) for f in one.findings] == [dataclasses.astuple(f) for f in two.findings]
    assert one.regions == two.regions


@settings(max_examples=60, deadline=None)
@given(seen=BOXES, holes=BOXES, cuts=BOXES)
def test_areas_agree_with_counting_cells(whole, seen, holes, cuts):
    """Areas looked at, unseen and left over agree with painting them on a grid (oracle)."""
    coverage = Coverage(seen=tuple(seen), unseen=tuple(Unseen(extent=hole, why="hole") for hole in holes))
    looked = painted(seen) & ~painted(holes)
    out = painted(cuts)
    cell = 0.001
    assert seen_along(whole, coverage, cuts).total_m2 == pytest.approx((looked & ~out).sum() * cell)
    unseen = [part.extent for part in unseen_parts(whole, coverage, cuts)]
    assert union_area_m2(unseen) == pytest.approx((~looked & ~out).sum() * cell)
    assert union_area_m2(unseen) == pytest.approx(sum(part.area_m2 for part in unseen))
    together = [part.extent for part in joined_alike(unseen_parts(whole, coverage, cuts))]
    assert union_area_m2([*unseen, *together]) == pytest.approx(union_area_m2(together))
    assert len(together) <= len(unseen)
    assert area_within_m2(whole, cuts) == pytest.approx(out.sum() * cell)
    assert sum(part.area_m2 for part in outside(whole, cuts)) == pytest.approx((~out).sum() * cell)


def painted(boxes):
    """The roll in cells of 1 m by 1 mm, True where a rectangle lies."""
    grid = np.zeros((40, 1000), dtype=bool)
    for b in boxes:
        rows = slice(max(int(b.along_from_m), 0), max(int(b.along_to_m), 0))
        grid[rows, max(int(b.across_from_mm), 0) : max(int(b.across_to_mm), 0)] = True
    return grid


def test_marks_off_the_roll_do_not_count(evidence, rules):
    """Marks beyond the roll's borders belong to no verdict."""
    off = [(-1.0, 500.0), (40.0, 500.0), (5.0, -1.0), (5.0, 1000.0)] * 50
    decision = decide(evidence(off), rules)
    assert decision.verdict is Verdict.RELEASE
    assert pl.Series([f.found for f in decision.findings]).sum() == 0.0


def test_an_edge_that_wanders_is_one_unseen_part(evidence, criterion, box):
    """The unseen edge is one part to hold, though the scan lists it stretch by stretch."""
    seen = tuple(box(n / 4, (n + 1) / 4, 60.0 + n % 3, 1000.0) for n in range(160))
    decision = decide(evidence(coverage={"scan": Coverage(seen=seen)}), [criterion(Measurand.COVERAGE)])
    assert [region.extent for region in decision.regions] == [box(0.0, 40.0, 0.0, 62.0)]
