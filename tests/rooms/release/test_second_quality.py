"""What is cut out, but may be sold as second quality."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.release import Consequence, Flaw, Measurand, Missing, Region, Verdict, check_criterion, decide

FLAW, RATE, LOCAL, READING = Measurand.FLAW, Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE, Measurand.READING


@pytest.fixture(scope="session")
def flaw_at(box):
    """Makes a flaw that is surely beyond its limit."""

    def make(kind, from_m, to_m, across=(300.0, 310.0)):
        return Flaw(kind=kind, extent=box(from_m, to_m, *across), value=5, low=4, high=6, unit="%", source="scan")

    return make


@pytest.fixture
def streaks(criterion):
    """A criterion whose streaks may be sold as second quality."""
    return criterion(FLAW, name="Streaks", second_quality=True)


def test_a_part_may_be_second_quality_where_its_criterion_says_so(evidence, flaw_at, streaks, criterion):
    """The verdict stays cut out, and the region says that it may be sold as second quality, in words too."""
    decision = decide(evidence(flaws=(flaw_at("streak", 5, 9),)), [streaks])
    (region,) = decision.regions
    assert (decision.verdict, region.verdict, region.second_quality) == (Verdict.CUT_OUT, Verdict.CUT_OUT, True)
    assert region.why.endswith("It may be sold as second quality.")
    assert "may be sold as second quality" in decision.why
    plain = decide(evidence(flaws=(flaw_at("streak", 5, 9),)), [criterion(FLAW)])
    assert not plain.regions[0].second_quality
    assert "second quality" not in plain.why


def test_all_criteria_behind_a_part_must_allow_it(evidence, flaw_at, streaks, criterion):
    """A part that two criteria cut out is of second quality only when both let it be."""
    both = (flaw_at("streak", 5, 9), flaw_at("band", 5, 9))
    bands = criterion(FLAW, name="Bands", kinds=("band",))
    (region,) = decide(evidence(flaws=both), [streaks, bands]).regions
    assert (region.findings, region.second_quality) == ((0, 1), False)


def test_a_hold_inside_second_quality_stands(evidence, flaw_at, streaks, criterion):
    """A held part inside film of second quality is still held: it would be sold. In film thrown away it isn't."""
    flaws = (flaw_at("streak", 5, 9), flaw_at("band", 6, 7))
    held = criterion(FLAW, name="Bands", kinds=("band",), consequence=Consequence.HOLD)
    assert decide(evidence(flaws=flaws), [streaks, held]).verdict is Verdict.HOLD
    assert decide(evidence(flaws=flaws), [criterion(FLAW), held]).verdict is Verdict.CUT_OUT


def test_what_no_criterion_names_is_held_inside_second_quality(evidence, flaw_at, streaks, criterion, marks_at):
    """A kind that nobody named may lie in film that is thrown away, not in film that is sold."""
    given = {"marks": marks_at([(6.0, 305.0)], kind="hole"), "flaws": (flaw_at("streak", 5, 9),)}
    assert decide(evidence(**given), [streaks]).verdict is Verdict.HOLD
    assert decide(evidence(**given), [criterion(FLAW)]).verdict is Verdict.CUT_OUT


def test_missing_evidence_holds_second_quality_too(evidence, flaw_at, streaks, box, criterion):
    """Film whose evidence is missing isn't sold as second quality either."""
    gone = Missing(subject="batches", extent=box(6, 7, 300, 310), void=False, why="no batch", mend="Name it.")
    given = {"flaws": (flaw_at("streak", 5, 9),), "missing": (gone,)}
    assert decide(evidence(**given), [streaks]).verdict is Verdict.HOLD
    assert decide(evidence(**given), [criterion(FLAW)]).verdict is Verdict.CUT_OUT


def test_marks_in_second_quality_do_not_count_in_a_rate(evidence, flaw_at, streaks, criterion, marks_at):
    """A rate is that of the film of first quality: what is cut out for any reason is left aside."""
    marks = marks_at([(5.0 + n / 10.0, 305.0) for n in range(40)])
    decision = decide(evidence(marks, flaws=(flaw_at("streak", 4.9, 9.1),)), [streaks, criterion(RATE, limit=0.5)])
    assert decision.verdict is Verdict.CUT_OUT


def test_a_roll_all_of_second_quality_is_not_rejected(evidence, flaw_at, streaks, criterion):
    """A roll of which nothing is of first quality, but all of second, is cut out, and its sentence says so."""
    all_over = (flaw_at("streak", 0, 40, (0.0, 1000.0)),)
    decision = decide(evidence(flaws=all_over), [streaks])
    assert decision.verdict is Verdict.CUT_OUT
    assert decision.why.startswith(
        "100 % of the area, in 1 part, is cut out (100 % may be sold as second quality); nothing is left of first"
    )
    assert decide(evidence(flaws=all_over), [criterion(FLAW)]).verdict is Verdict.REJECT


@pytest.mark.parametrize("consequence", [Consequence.HOLD, Consequence.REJECT])
def test_only_what_is_cut_out_may_be_second_quality(criterion, consequence):
    """Held and rejected film isn't sold at all, so that the words contradict one another."""
    with pytest.raises(ArgumentError, match="second_quality"):
        check_criterion(criterion(FLAW, consequence=consequence, second_quality=True))


@settings(max_examples=30, deadline=None)
@given(second=st.booleans(), spans=st.lists(st.tuples(st.integers(0, 38), st.integers(1, 10)), max_size=5))
def test_second_quality_changes_no_verdict_of_a_part(evidence, flaw_at, criterion, second, spans):
    """With or without it the same parts are cut out by the same findings; only what they may be sold as differs."""
    flaws = tuple(flaw_at("streak", start, min(start + length, 40)) for start, length in spans)
    cut = criterion(RATE, name="Rate", region=Region.LANE, lane_mm=100.0, consequence=Consequence.CUT_OUT)
    plain, other = (decide(evidence(flaws=flaws), [criterion(FLAW, second_quality=q), cut]) for q in (False, second))
    same = [(r.extent, r.verdict, r.findings) for r in plain.regions if r.verdict is Verdict.CUT_OUT]
    assert [(r.extent, r.verdict, r.findings) for r in other.regions if r.verdict is Verdict.CUT_OUT] == same
    assert all(r.second_quality == second for r in other.regions if r.verdict is Verdict.CUT_OUT)
