"""What was found and no criterion names is held, never passed in silence."""

import math

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.release import NEEDED, Flaw, Measurand, Reason, Verdict, decide
from wideroll.release.clusters import hull, joined_near
from wideroll.roll import MARK_KINDS, Coverage, Extent, union_area_m2

RATE, LOCAL, FORBIDDEN = Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE, Measurand.FORBIDDEN
BOXES = st.lists(
    st.tuples(st.floats(0, 39), st.floats(0, 1), st.floats(0, 900), st.floats(0, 100)).map(
        lambda b: Extent(along_from_m=b[0], along_to_m=b[0] + b[1], across_from_mm=b[2], across_to_mm=b[2] + b[3])
    ),
    min_size=1,
    max_size=60,
)


@pytest.fixture
def sighted():
    """Makes a sighting of a kind at a place."""

    def make(kind, along_m, across_mm=300.0):
        place = Extent(along_from_m=along_m, along_to_m=along_m, across_from_mm=across_mm, across_to_mm=across_mm)
        return Flaw(kind=kind, extent=place, value=0.5, low=0.5, high=0.5, unit="mm", source="sheet A")

    return make


def unjudged(decision):
    """The findings about kinds that no criterion names."""
    return [finding for finding in decision.findings if finding.reason is Reason.NOT_JUDGED]


def test_a_long_scratch_is_not_released_because_nobody_names_scratches(evidence, criterion, marks_at):
    """A scratch of 1.5 m under criteria for spots alone is held where it lies, with its guards and its number."""
    scratch = marks_at([(12.0, 400.0)], kind="scratch", size_mm=1500.0)
    decision = decide(evidence(scratch), [criterion(RATE, kinds=("spot",)), criterion(LOCAL, kinds=("spot",))])
    (finding,) = unjudged(decision)
    assert (decision.verdict, finding.verdict, finding.criterion) == (Verdict.HOLD, Verdict.HOLD, NEEDED)
    assert (finding.found, finding.unit, math.isnan(finding.limit)) == (1.0, "marks", True)
    (region,) = decision.regions
    assert (region.extent.along_from_m, region.extent.along_to_m) == pytest.approx((11.15, 12.85))
    assert (region.extent.across_from_mm, region.extent.across_to_mm) == pytest.approx((15.0, 785.0))
    assert decision.why == (
        "1 mark of the kind scratch, 1500 mm, which no criterion names, at 11.15 to 12.85 m, 15.0 to 785.0 mm across."
    )
    assert 'Name "scratch" in a criterion of the product, or cut the part out.' in finding.why


@pytest.mark.parametrize("kind", MARK_KINDS)
@pytest.mark.parametrize(
    ("measurand", "given"),
    [(RATE, {}), (RATE, {"kinds": "own"}), (LOCAL, {"kinds": "own"}), (FORBIDDEN, {"kinds": "own"})],
)
def test_a_kind_is_judged_once_a_criterion_names_it(evidence, criterion, marks_at, kind, measurand, given):
    """A rate for all kinds, or one of any sort that names the kind, judges it; a size limit changes nothing."""
    named = {"kinds": (kind,)} if given else {}
    small = {} if measurand is FORBIDDEN else {"least_size_mm": 2.0}
    marks = evidence(marks_at([20.0], kind=kind))
    assert not unjudged(decide(marks, [criterion(measurand, **named, **small)]))
    other = "spot" if kind != "spot" else "comet"
    assert unjudged(decide(marks, [criterion(measurand, kinds=(other,))]))


def test_a_flaw_is_judged_by_flaw_or_forbidden_only(evidence, criterion, sighted):
    """A sighted spot isn't a mark of the scan: a rate for spots doesn't judge it, its own name does."""
    found = evidence(flaws=(sighted("sighted spot", 5.0), sighted("sighted spot", 25.0)))
    spots = criterion(RATE, kinds=("spot",))
    (finding,) = unjudged(decide(found, [spots]))
    assert (finding.found, finding.unit, finding.source) == (2.0, "flaws", "sheet A")
    assert finding.why.startswith("2 flaws of the kind sighted spot, which no criterion names, at 4.90 to 5.10 m, ")
    of_kind = {"kinds": ("sighted spot",)}
    for own in (criterion(Measurand.FLAW, unit="mm", **of_kind), criterion(FORBIDDEN, **of_kind)):
        assert not unjudged(decide(found, [spots, own]))


def test_marks_are_judged_by_criteria_of_their_own_source(evidence, criterion, marks_at, whole):
    """A rate of what the sheets show doesn't speak of the scanner's marks."""
    found = evidence(
        marks_at([20.0], source="scan"), coverage={name: Coverage(seen=(whole,)) for name in ("scan", "sheets")}
    )
    assert unjudged(decide(found, [criterion(RATE, subject="sheets")]))
    assert not unjudged(decide(found, [criterion(RATE, subject="scan")]))


def test_what_is_cut_out_anyway_needs_no_name(evidence, criterion, marks_at, sighted, box):
    """Kinds that nobody names hold nothing inside a part that is cut out, and hold beside it."""
    streak = Flaw(kind="streak", extent=box(10.0, 20.0), value=5.0, low=4.0, high=6.0, unit="%", source="scan")
    rules = [criterion(Measurand.FLAW), criterion(RATE, kinds=("spot",))]
    inside = evidence(marks_at([15.0], kind="hole"), flaws=(streak, sighted("sighted hole", 15.0)))
    assert (decide(inside, rules).verdict, unjudged(decide(inside, rules))) == (Verdict.CUT_OUT, [])
    beside = evidence(marks_at([25.0], kind="hole"), flaws=(streak, sighted("sighted hole", 30.0)))
    assert (decide(beside, rules).verdict, len(unjudged(decide(beside, rules)))) == (Verdict.HOLD, 2)


def test_thousands_of_marks_are_few_parts_and_one_finding(evidence, criterion, marks_at):
    """Marks all over a roll don't make a decision of thousands of rows; every one of them is held."""
    places = [((n * 0.618) % 40.0, (n * 377.0) % 1000.0) for n in range(4000)]
    kinds = [marks_at(places, kind="bubble"), marks_at(places, kind="hole")]
    decision = decide(evidence(pl.concat(kinds)), [criterion(RATE, kinds=("spot",))])
    assert [finding.found for finding in unjudged(decision)] == [4000.0, 4000.0]
    assert 1 <= len(decision.regions) <= 24
    assert all(
        any(
            r.extent.along_from_m <= a < r.extent.along_to_m and r.extent.across_from_mm <= x < r.extent.across_to_mm
            for r in decision.regions
        )
        for a, x in places
    )


@settings(max_examples=60, deadline=None)
@given(boxes=BOXES, most=st.integers(1, 12))
def test_joined_parts_hold_every_box_apart_from_one_another(boxes, most):
    """No more parts than asked, none touching another, each box in one; boxes far apart stay as they are."""
    parts = joined_near(boxes, most)
    assert len(parts) <= most
    assert all(any(hull([part, box]) == part for part in parts) for box in boxes)
    assert union_area_m2(parts) == pytest.approx(sum(part.area_m2 for part in parts), abs=1e-9)
    assert joined_near(list(reversed(boxes)), most) == parts
    apart = [Extent(along_from_m=n, along_to_m=n + 0.1, across_from_mm=0, across_to_mm=1) for n in range(most)]
    assert joined_near(apart, most) == tuple(apart)
