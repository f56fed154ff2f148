"""Marks that a finished roll may carry: counted now, judged when the roll is cut."""

import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.release import Consequence, Measurand, Reason, Verdict, check_criterion, decide, marks_in_rolls
from wideroll.roll import MARK_KINDS, Coverage

COUNT, RATE = Measurand.MARK_COUNT, Measurand.MARK_RATE
_NORMAL_95 = 1.6448536269514722
"""95 % quantile of the standard normal distribution (any table of it)."""


def test_marks_of_a_finished_roll_are_judged_when_it_is_cut(evidence, criterion):
    """However many marks there are, the roll is released; the finding says how many, and who keeps the limit."""
    decision = decide(evidence([1.0, 2.0, 3.0, 3.1, 3.2]), [criterion(COUNT, name="Few spots", kinds=("spot",))])
    (finding,) = decision.findings
    assert (decision.verdict, decision.regions) == (Verdict.RELEASE, ())
    assert (finding.verdict, finding.reason) == (Verdict.RELEASE, Reason.JUDGED_WHEN_CUT)
    assert (finding.found, finding.limit, math.isnan(finding.margin)) == (5.0, 2.0, True)
    assert finding.why == (
        "5 marks (spot) lie on the roll; a finished roll may carry 2 marks. Which rolls there are is known when it is "
        "cut: the cut list makes none that carries more."
    )


def test_what_was_not_scanned_cannot_be_counted(evidence, criterion):
    """Without a scan the roll is held, as for a rate of marks."""
    decision = decide(evidence(coverage={}), [criterion(COUNT)])
    assert decision.verdict is Verdict.HOLD
    assert decision.findings[0].reason is Reason.EVIDENCE_MISSING


@pytest.mark.parametrize("kind", ["spot", "comet", "hole"])
def test_a_kind_that_a_finished_roll_may_carry_is_named(evidence, criterion, marks_at, kind):
    """A kind of mark whose number in a finished roll is limited isn't held as one that no criterion names."""
    few = criterion(COUNT, kinds=("spot", "comet"))
    decision = decide(evidence(marks_at([5.0], kind=kind)), [few])
    assert decision.verdict is (Verdict.RELEASE if kind in few.kinds else Verdict.HOLD)


def test_a_sighting_is_not_named_by_what_the_scan_counts(evidence, criterion, marks_at, box):
    """What only an examiner saw isn't in the scan's count, so that it must be named otherwise."""
    sheet = Coverage(seen=(box(4.0, 6.0),))
    seen = evidence(
        marks_at([5.0], source="sheets"), coverage={"scan": Coverage(seen=(box(0.0, 40.0),)), "sheets": sheet}
    )
    assert decide(seen, [criterion(COUNT)]).verdict is Verdict.HOLD


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"limit": 1.5}, "limit: must be a whole number"),
        ({"limit": -1.0}, "limit: must be 0 or more"),
        ({"consequence": Consequence.REJECT}, "consequence: too many marks in a roll can only be cut out"),
        ({"subject": "sheets"}, "subject: only the scan"),
        ({"kinds": ("spotz",)}, "kinds: must be kinds of mark"),
        ({"second_quality": True}, "second_quality: goes with what is cut out where it lies"),
    ],
)
def test_a_count_that_cannot_be_kept_is_refused(criterion, given, field):
    """A limit that no cut list could be held to is refused with its field."""
    with pytest.raises(ArgumentError, match=field):
        check_criterion(criterion(COUNT, **given))


def test_marks_have_a_guard_of_their_own(criterion, marks_at, whole):
    """Each mark reaches 10 mm further than its size along, 1 mm across; a wider guard of the criterion counts."""
    marks = marks_at([(12.0, 400.0)], size_mm=2.0)
    (near,) = marks_in_rolls(criterion(COUNT), marks, whole)
    (far,) = marks_in_rolls(criterion(COUNT, guard_m=0.1, guard_mm=5.0), marks, whole)
    assert (near.along_from_m, near.along_to_m) == pytest.approx((11.989, 12.011))
    assert (near.across_from_mm, near.across_to_mm) == pytest.approx((398.5, 401.5))
    assert (far.along_from_m, far.across_to_mm) == pytest.approx((11.899, 405.5))


def test_a_mark_counts_unless_it_is_proven_fainter(criterion, marks_at, whole):
    """A contrast that noise may have lowered from the least that counts still counts; one surely below it doesn't."""
    few = criterion(COUNT, least_contrast=0.1)
    measured = np.linspace(0.05, 0.12, 400)
    marks = marks_at(np.linspace(1.0, 39.0, 400)).with_columns(pl.Series("contrast", measured), snr=pl.lit(9.0))
    counted = len(marks_in_rolls(few, marks, whole))
    assert counted == int((measured * (1.0 + _NORMAL_95 / 9.0) >= 0.1).sum())
    exact = marks.with_columns(snr=pl.lit(math.inf))
    assert len(marks_in_rolls(few, exact, whole)) == int((measured >= 0.1).sum())


@settings(max_examples=30, deadline=None)
@given(
    places=st.lists(st.tuples(st.floats(-1, 41), st.floats(-50, 1050)), max_size=20),
    kind=st.sampled_from(MARK_KINDS),
    least=st.floats(0.1, 1.0),
)
def test_the_cut_list_counts_the_marks_that_the_finding_counts(
    evidence, criterion, marks_at, whole, places, kind, least
):
    """What the finding says there is and what the cut list is given are the same marks, wherever they lie."""
    few = criterion(COUNT, kinds=("spot", "hole"), least_size_mm=least)
    marks = marks_at(places, kind=kind)
    finding = decide(evidence(marks), [few, criterion(RATE, limit=99.0)]).findings[0]
    assert finding.found == len(marks_in_rolls(few, marks, whole))
