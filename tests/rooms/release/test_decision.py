"""The verdict on a roll from all its criteria."""

import dataclasses
import math

import pytest

from wideroll.errors import ArgumentError
from wideroll.release import (
    Consequence,
    Criterion,
    Flaw,
    Measurand,
    Reading,
    Reason,
    Region,
    Verdict,
    check_criterion,
    decide,
)
from wideroll.roll import Coverage, Extent, Unseen, union_area_m2

KINDS = list(Measurand)


@pytest.fixture
def product(criterion):
    """One criterion of each kind."""
    return [criterion(kind) for kind in KINDS]


@pytest.fixture
def good(evidence, whole):
    """Evidence that meets all of them."""
    sheet = Extent(along_from_m=10.0, along_to_m=10.3, across_from_mm=0.0, across_to_mm=1000.0)
    speed = Reading(
        subject="speed deviation", extent=whole, value=0.01, low=0.0, high=0.02, unit="log H", source="strips 1, 2"
    )
    return evidence(
        [3.0, 17.0],
        coverage={"scan": Coverage(seen=(whole,)), "sheets": Coverage(seen=(sheet,))},
        readings=(speed,),
        counts={"strips": ((whole, 2),), "sheets": ((whole, 1),)},
    )


def without(evidence, *sources):
    """The same evidence, as if these sources had never looked."""
    return dataclasses.replace(
        evidence,
        marks=evidence.marks.clear() if "scan" in sources else evidence.marks,
        coverage={name: cover for name, cover in evidence.coverage.items() if name not in sources},
        counts={name: count for name, count in evidence.counts.items() if name not in sources},
    )


@pytest.mark.parametrize("hole", [(4.0, 6.0, 0.0, 300.0), (4.0, 6.0, 0.0, 1000.0), (4.0, 4.2, 500.0, 700.0)])
def test_a_hole_in_the_scan_is_held_though_no_criterion_asks_for_coverage(good, product, box, whole, hole):
    """A product that says nothing of coverage still never releases what the scanner did not see."""
    unseen = Unseen(extent=box(*hole), why="the signal stands still")
    coverage = good.coverage | {"scan": Coverage(seen=(whole,), unseen=(unseen,))}
    asked = [c for c in product if c.measurand is not Measurand.COVERAGE]
    decision = decide(dataclasses.replace(good, coverage=coverage), asked)
    assert decision.verdict is Verdict.HOLD
    assert any("the signal stands still" in finding.why for finding in decision.findings)
    held = [region.extent for region in decision.regions]
    assert union_area_m2([box(*hole), *held]) == pytest.approx(union_area_m2(held))


def test_the_rim_of_the_scan_needs_no_criterion(good, product, box, whole):
    """The narrow rim beside the edges, which the edge trim takes, holds nothing."""
    rim = Unseen(extent=box(0.0, whole.along_to_m, 0.0, 4.0), why="edge bead")
    coverage = good.coverage | {"scan": Coverage(seen=(whole,), unseen=(rim,))}
    asked = [c for c in product if c.measurand is not Measurand.COVERAGE]
    assert decide(dataclasses.replace(good, coverage=coverage), asked).verdict is Verdict.RELEASE


def test_a_good_roll_is_released_with_one_row_for_each_criterion(good, product):
    """All criteria met: released whole, one finding each in the criteria's order, nothing missing."""
    decision = decide(good, product)
    assert (decision.verdict, decision.released_share) == (Verdict.RELEASE, 1.0)
    assert [finding.criterion for finding in decision.findings] == [criterion.name for criterion in product]
    assert (decision.regions, decision.missing) == ((), ())
    assert decision.why.startswith("All 8 criteria are met, and 1 is judged when the roll is cut")


@pytest.mark.parametrize("gone", [("scan",), ("sheets",), ("scan", "sheets")])
def test_what_was_not_looked_at_is_never_good(good, product, criterion, gone):
    """A roll with no scan, one with no sheets and one with neither are held, each with the right list."""
    sheets = criterion(Measurand.EVIDENCE_COUNT, name="sheets", subject="sheets", limit=1.0, unit="sheets")
    decision = decide(without(good, *gone), [*product, sheets])
    assert decision.verdict is Verdict.HOLD
    assert decision.released_share == 0.0
    assert {item.subject for item in decision.missing} >= set(gone)
    absent = {finding.source for finding in decision.findings if finding.reason is Reason.EVIDENCE_MISSING}
    assert absent >= set(gone)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind is not Measurand.EVIDENCE_COUNT])
def test_no_criterion_alone_releases_a_roll_nobody_saw(evidence, criterion, kind):
    """With no evidence at all each kind of criterion holds."""
    decision = decide(evidence(coverage={}), [criterion(kind)])
    assert decision.verdict is Verdict.HOLD


def test_half_a_scan_releases_nothing_where_no_criterion_asks_for_coverage(evidence, criterion, box):
    """A stretch that no source looked at is held even when the product forgot to ask."""
    half = evidence(coverage={"scan": Coverage(seen=(box(0.0, 20.0),))})
    decision = decide(half, [criterion(Measurand.MARK_RATE)])
    assert decision.verdict is Verdict.HOLD
    assert [region.extent for region in decision.regions] == [box(20.0, 40.0)]
    assert decision.released_share == pytest.approx(0.5)


def test_numbers_are_absent_where_nothing_was_measured(evidence, criterion):
    """A rate without a scan has no number, rather than none found."""
    (finding, _) = decide(evidence(coverage={}), [criterion(Measurand.MARK_RATE)]).findings
    assert all(math.isnan(number) for number in (finding.found, finding.low, finding.high, finding.margin))


@pytest.fixture
def streak(box):
    """Makes a bad streak over a part of the roll."""

    def make(*where):
        return Flaw(kind="streak", extent=box(*where), value=5.0, low=4.0, high=6.0, unit="%", source="scan")

    return make


def test_a_part_that_is_rejected_is_cut_out_of_the_roll(evidence, criterion, streak):
    """Reject on a part is a part to cut out with that word; on the whole roll it rejects the roll."""
    streaks = criterion(Measurand.FLAW, consequence=Consequence.REJECT)
    part = decide(evidence(flaws=(streak(0.0, 40.0, 100.0, 110.0),)), [streaks])
    assert (part.verdict, part.regions[0].verdict) == (Verdict.CUT_OUT, Verdict.REJECT)
    assert part.released_share == pytest.approx(0.99)
    all_of_it = decide(evidence(flaws=(streak(0.0, 40.0),)), [streaks])
    assert (all_of_it.verdict, all_of_it.released_share) == (Verdict.REJECT, 0.0)


def test_nothing_left_is_rejected(evidence, criterion, streak):
    """Two parts cut out that together are the roll leave nothing to release."""
    decision = decide(
        evidence(flaws=(streak(0.0, 25.0), streak(20.0, 40.0))),
        [criterion(Measurand.FLAW), criterion(Measurand.MARK_RATE)],
    )
    assert decision.verdict is Verdict.REJECT
    assert decision.why.startswith("Nothing is left to release.")


def test_hold_outranks_cut_out_but_not_where_the_part_is_cut_out_anyway(evidence, criterion, streak, box):
    """A held part beside one that is cut out holds the roll; a held part inside it doesn't."""
    metal = Flaw(kind="metal", extent=box(5.0, 5.1), value=1.0, low=1.0, high=1.0, unit="mm", source="sheet 1")
    rules = [criterion(Measurand.FLAW), criterion(Measurand.FORBIDDEN)]
    assert decide(evidence(flaws=(streak(4.0, 6.0), metal)), rules).verdict is Verdict.CUT_OUT
    held = decide(evidence(flaws=(streak(14.0, 16.0), metal)), rules)
    assert held.verdict is Verdict.HOLD
    assert held.why.startswith("Forbidden: metal of 1 mm at 5.00 to 5.10 m")


def test_same_part_and_verdict_is_one_region_with_all_its_findings(evidence, criterion):
    """Two criteria that hold the whole roll are one region that names both."""
    decision = decide(evidence(coverage={}), [criterion(Measurand.COVERAGE), criterion(Measurand.MARK_RATE)])
    (region,) = decision.regions
    assert region.findings == (0, 1)
    assert all(decision.findings[n].why.casefold() in region.why.casefold() for n in region.findings)


def test_marks_of_another_source_are_not_the_scanners(evidence, criterion, marks_at, whole):
    """Marks that name another source of coverage are counted against that source alone."""
    sheets = Coverage(seen=(whole,))
    found = evidence(
        marks_at([number / 2 for number in range(79)], source="sheets"),
        coverage={"scan": Coverage(seen=(whole,)), "sheets": sheets},
    )
    by_scan, by_sheets = criterion(Measurand.MARK_RATE), criterion(Measurand.MARK_RATE, subject="sheets")
    reasons = [[f.reason for f in decide(found, [rule]).findings] for rule in (by_scan, by_sheets)]
    assert reasons == [[Reason.NONE_FOUND, Reason.NOT_JUDGED], [Reason.ABOVE_LIMIT]]


@pytest.mark.parametrize(
    ("kind", "given", "named"),
    [
        (Measurand.MARK_RATE, {"limit": -1.0}, "limit"),
        (Measurand.MARK_RATE, {"limit": math.nan}, "limit"),
        (Measurand.MARK_RATE, {"confidence": 1.0}, "confidence"),
        (Measurand.MARK_RATE, {"confidence": 0.1}, "confidence"),
        (Measurand.MARK_RATE, {"unit": "per acre"}, "unit"),
        (Measurand.MARK_RATE, {"unit": "per 100 ft"}, "unit"),
        (Measurand.MARK_RATE, {"region": Region.LANE}, "lane_mm"),
        (Measurand.MARK_RATE, {"good": 1.0}, "good"),
        (Measurand.MARK_RATE, {"producer_risk": 0.0}, "producer_risk"),
        (Measurand.MARK_RATE, {"least_contrast": -0.1}, "least_contrast"),
        (Measurand.FLAW, {"region": Region.BATCH}, "region"),
        (Measurand.GRADE, {"limit": 4.0}, "limit"),
        (Measurand.GRADE, {"grades": ()}, "limit"),
        (Measurand.MARK_RATE, {"kinds": ("spit",)}, "kinds"),
        (Measurand.MARK_RATE, {"name": ""}, "name"),
        (Measurand.LOCAL_MARK_RATE, {"window_m": 0.0}, "window_m"),
        (Measurand.LOCAL_MARK_RATE, {"guard_m": -0.1}, "guard_m"),
        (Measurand.FLAW, {"guard_mm": -1.0}, "guard_mm"),
        (Measurand.FLAW, {"kinds": ()}, "kinds"),
        (Measurand.READING, {"subject": ""}, "subject"),
        (Measurand.COVERAGE, {"subject": ""}, "subject"),
        (Measurand.COVERAGE, {"limit": 98.0}, "limit"),
        (Measurand.COVERAGE, {"consequence": Consequence.REJECT}, "consequence"),
        (Measurand.EVIDENCE_COUNT, {"subject": ""}, "subject"),
        (Measurand.FORBIDDEN, {"limit": 1.0}, "limit"),
    ],
)
def test_a_criterion_that_cannot_be_judged_is_refused(evidence, criterion, kind, given, named):
    """Each impossible field is named, by ``decide`` and by the check that a reader may call."""
    bad = criterion(kind, **given)
    with pytest.raises(ArgumentError, match=rf"^criterion .*, {named}:"):
        check_criterion(bad)
    with pytest.raises(ArgumentError, match=rf"^criterion .*, {named}:"):
        decide(evidence(), [bad])


def test_calls_that_make_no_sense_are_refused(evidence, criterion, streak, whole):
    """No criteria, two of one name, a roll without area, and a limit in another unit."""
    rate = criterion(Measurand.MARK_RATE)
    with pytest.raises(ArgumentError, match=r"^criteria: there must be at least one"):
        decide(evidence(), [])
    with pytest.raises(ArgumentError, match=r"^criteria: each has a name of its own"):
        decide(evidence(), [rate, rate])
    with pytest.raises(ArgumentError, match=r"^evidence.whole"):
        decide(dataclasses.replace(evidence(), whole=dataclasses.replace(whole, along_to_m=0.0)), [rate])
    with pytest.raises(ArgumentError, match=r"streak is given in %"):
        decide(evidence(flaws=(streak(1.0, 2.0),)), [criterion(Measurand.FLAW, unit="contrast")])
    off = Reading(subject="speed deviation", extent=whole, value=0.0, low=0.0, high=0.0, unit="stops", source="s")
    with pytest.raises(ArgumentError, match=r"speed deviation is given in stops"):
        decide(evidence(readings=(off,)), [criterion(Measurand.READING)])


def test_criteria_are_kept_as_given(good, product):
    """The decision carries the criteria and coverage it was made by."""
    decision = decide(good, product)
    assert decision.criteria == tuple(product)
    assert decision.coverage == good.coverage
    assert all(isinstance(item, Criterion) for item in decision.criteria)
