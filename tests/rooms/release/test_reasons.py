"""Each kind of criterion, and each reason it can give."""

import math
from pathlib import Path

import pytest

from wideroll.release import NEEDED, Consequence, Flaw, Measurand, Missing, Reading, Reason, Verdict, decide
from wideroll.roll import Coverage, Unseen


@pytest.fixture
def flaw(box):
    """Makes a streak from 10 to 20 m, with an interval a tenth wide each way."""

    def make(value, kind="streak", unit="%", where=None):
        extent = where or box(10.0, 20.0, 400.0, 403.0)
        return Flaw(
            kind=kind, extent=extent, value=value, low=0.9 * value, high=1.1 * value, unit=unit, source="scan", note="n"
        )

    return make


@pytest.fixture
def reading(whole):
    """Makes a speed deviation with an interval of ± 0.01."""

    def make(value, where=None, **given):
        parts = {"low": value - 0.01, "high": value + 0.01, "unit": "log H", "source": "strips 1, 2"} | given
        return Reading(subject="speed deviation", extent=where or whole, value=value, **parts)

    return make


def only(decision, name):
    """The one finding of a criterion."""
    (finding,) = [finding for finding in decision.findings if finding.criterion == name]
    return finding


RATE = Measurand.MARK_RATE
LOCAL = Measurand.LOCAL_MARK_RATE


@pytest.mark.parametrize(
    ("count", "verdict", "reason"),
    [
        (0, Verdict.RELEASE, Reason.NONE_FOUND),
        (20, Verdict.RELEASE, Reason.WITHIN_LIMIT),
        (38, Verdict.HOLD, Reason.NOT_PROVEN),
        (45, Verdict.HOLD, Reason.NOT_PROVEN),
        (60, Verdict.REJECT, Reason.ABOVE_LIMIT),
    ],
)
def test_rate_of_marks(evidence, criterion, count, verdict, reason):
    """40 m² at a limit of 1 per m²: few marks release, many reject, and near the limit nothing is proven."""
    places = [0.1 + 39.8 * number / max(count, 1) for number in range(count)]
    decision = decide(evidence(places), [criterion(RATE, consequence=Consequence.REJECT)])
    finding = only(decision, RATE)
    assert (decision.verdict, finding.reason) == (verdict, reason)
    assert finding.found == pytest.approx(count / 40)
    assert finding.low <= finding.found <= finding.high
    assert finding.margin == pytest.approx(1.0 - count / 40)
    assert decision.released_share == (1.0 if verdict is Verdict.RELEASE else 0.0)


def test_rate_counts_kinds_and_sizes_named(evidence, criterion, marks_at):
    """Only marks of the kinds and the least size named count; the larger side is the size."""
    small = evidence(marks_at([1.0 + number / 2 for number in range(70)], size_mm=0.2))
    assert decide(small, [criterion(RATE)]).verdict is Verdict.HOLD
    assert decide(small, [criterion(RATE, least_size_mm=0.3)]).verdict is Verdict.RELEASE
    assert decide(small, [criterion(RATE, least_size_mm=0.2)]).verdict is Verdict.HOLD
    assert only(decide(small, [criterion(RATE, kinds=("comet",))]), RATE).reason is Reason.NONE_FOUND


def test_dense_stretch_is_cut_out_and_left_aside(evidence, criterion):
    """A dirty metre is cut out from its first to its last mark, and the rest is judged without it."""
    dirty = [20.0 + number / 40 for number in range(40)]
    decision = decide(evidence([5.0, 30.0, *dirty]), [criterion(LOCAL, guard_m=0.1), criterion(RATE)])
    (region,) = decision.regions
    assert (decision.verdict, region.verdict) == (Verdict.CUT_OUT, Verdict.CUT_OUT)
    assert region.extent.along_from_m == pytest.approx(19.9, abs=0.001)
    assert region.extent.along_to_m == pytest.approx(dirty[-1] + 0.1, abs=0.001)
    assert only(decision, LOCAL).reason is Reason.ABOVE_LIMIT
    assert only(decision, RATE).reason is Reason.WITHIN_LIMIT
    assert only(decision, RATE).found == pytest.approx(2 / (40 - region.extent.length_m))
    assert decision.released_share == pytest.approx(1 - region.extent.length_m / 40)


def test_stretches_are_not_cut_out_on_chance(evidence, criterion):
    """Six marks in a metre where five are allowed is chance: named as not proven, but not cut out."""
    decision = decide(evidence([10.0 + number / 10 for number in range(6)]), [criterion(LOCAL)])
    assert (decision.verdict, only(decision, LOCAL).reason) == (Verdict.RELEASE, Reason.NOT_PROVEN)
    calm = only(decide(evidence([10.0, 10.5]), [criterion(LOCAL)]), LOCAL)
    assert (calm.reason, calm.found) == (Reason.WITHIN_LIMIT, 2.0)
    assert only(decide(evidence(), [criterion(LOCAL)]), LOCAL).reason is Reason.NONE_FOUND


def test_a_lone_mark_ahead_of_a_dirty_stretch_is_not_part_of_it(evidence, criterion):
    """The ends of a stretch are its dense part, not the window that found it."""
    dirty = [20.0 + number / 40 for number in range(40)]
    (region,) = decide(evidence([19.3, *dirty, 21.7]), [criterion(LOCAL)]).regions
    assert region.extent.along_from_m == pytest.approx(20.0, abs=0.001)
    assert region.extent.along_to_m == pytest.approx(dirty[-1], abs=0.001)


@pytest.mark.parametrize(
    ("value", "verdict", "reason"),
    [
        (0.8, Verdict.RELEASE, Reason.WITHIN_LIMIT),
        (0.95, Verdict.HOLD, Reason.NOT_PROVEN),
        (1.05, Verdict.HOLD, Reason.NOT_PROVEN),
        (1.2, Verdict.CUT_OUT, Reason.ABOVE_LIMIT),
        (math.nan, Verdict.HOLD, Reason.NOT_PROVEN),
    ],
)
def test_flaw_is_guard_banded(evidence, criterion, flaw, value, verdict, reason):
    """A flaw passes only with its whole interval, is cut out with its guards, and holds in between."""
    decision = decide(evidence(flaws=(flaw(value),)), [criterion(Measurand.FLAW, guard_m=1.0, guard_mm=2.0)])
    finding = only(decision, "flaw")
    assert (decision.verdict, finding.reason) == (verdict, reason)
    if verdict is not Verdict.RELEASE:
        (region,) = decision.regions
        extent = region.extent
        assert (extent.along_from_m, extent.along_to_m) == (9.0, 21.0)
        assert (extent.across_from_mm, extent.across_to_mm) == (398.0, 405.0)


def test_no_flaw_found_needs_somebody_who_looked(evidence, criterion, whole):
    """No streak passes where the scanner looked, and holds where nobody did."""
    streaks = criterion(Measurand.FLAW, subject="scan")
    assert only(decide(evidence(), [streaks]), "flaw").reason is Reason.NONE_FOUND
    sheets_only = evidence(coverage={"sheets": Coverage(seen=(whole,))})
    assert only(decide(sheets_only, [streaks]), "flaw").reason is Reason.EVIDENCE_MISSING


@pytest.mark.parametrize("where", [(10.0, 10.0, 5.0, 5.0), (10.0, 10.001, 5.0, 6.0), (90.0, 90.1, 5.0, 6.0)])
def test_forbidden_holds_at_once(evidence, criterion, flaw, box, where):
    """Metal holds, however small it is, and even when its place can't be on the roll."""
    found = evidence(flaws=(flaw(0.1, kind="metal", unit="mm", where=box(*where)),))
    decision = decide(found, [criterion(Measurand.FORBIDDEN)])
    assert (decision.verdict, only(decision, "forbidden").reason) == (Verdict.HOLD, Reason.FORBIDDEN_FOUND)
    assert decision.regions[0].extent.area_m2 > 0.0


def test_forbidden_kinds_of_mark_are_found_in_the_scan(evidence, criterion, marks_at):
    """A kind of mark that is forbidden is looked for among the marks too."""
    holes = criterion(Measurand.FORBIDDEN, kinds=("hole",))
    assert only(decide(evidence(marks_at([7.0], kind="spot")), [holes]), "forbidden").reason is Reason.NONE_FOUND
    assert decide(evidence(marks_at([7.0], kind="hole")), [holes]).verdict is Verdict.HOLD


@pytest.mark.parametrize(
    ("value", "given", "verdict", "reason"),
    [
        (-0.03, {}, Verdict.RELEASE, Reason.WITHIN_LIMIT),
        (-0.045, {}, Verdict.HOLD, Reason.NOT_PROVEN),
        (-0.08, {}, Verdict.CUT_OUT, Reason.ABOVE_LIMIT),
        (0.0, {"extrapolated": True}, Verdict.HOLD, Reason.EXTRAPOLATED),
        (0.0, {"low": -0.2, "high": 0.2}, Verdict.HOLD, Reason.NOT_PROVEN),
    ],
)
def test_reading_is_held_against_its_absolute_value(evidence, criterion, reading, box, value, given, verdict, reason):
    """A batch off aim either way is cut out, an uncertain or extrapolated one holds."""
    speed = criterion(Measurand.READING, consequence=Consequence.CUT_OUT)
    readings = (reading(0.0, box(0.0, 25.0)), reading(value, box(25.0, 40.0), **given))
    decision = decide(evidence(readings=readings), [speed])
    finding = only(decision, "reading")
    assert (decision.verdict, finding.reason) == (verdict, reason)
    if value:
        assert (finding.found, finding.margin) == (value, pytest.approx(0.05 - abs(value)))
    if verdict is not Verdict.RELEASE:
        assert decision.regions[0].extent == box(25.0, 40.0)


def test_a_batch_without_a_reading_is_held(evidence, criterion, reading, box):
    """What no reading speaks for is missing, not good; nothing is lost when it is cut out anyway."""
    decision = decide(evidence(readings=(reading(0.0, box(0.0, 25.0)),)), [criterion(Measurand.READING)])
    assert decision.verdict is Verdict.HOLD
    assert [(r.extent, r.verdict) for r in decision.regions] == [(box(25.0, 40.0), Verdict.HOLD)]
    assert [item.extent for item in decision.missing] == [box(25.0, 40.0)]
    bad_end = evidence(readings=(reading(0.0, box(0.0, 25.0)), reading(0.2, box(25.0, 40.0))))
    strips = criterion(Measurand.EVIDENCE_COUNT)
    counted = {"strips": ((box(0.0, 25.0), 2), (box(25.0, 40.0), 0))}
    speed = criterion(Measurand.READING, consequence=Consequence.CUT_OUT)
    cut = decide(evidence(readings=bad_end.readings, counts=counted), [speed, strips])
    assert (cut.verdict, only(cut, "evidence count").verdict) == (Verdict.CUT_OUT, Verdict.RELEASE)


def test_coverage_below_its_least_holds_the_unseen_parts(evidence, criterion, whole, box):
    """Too little looked at holds just the parts nobody saw, with the reason given for each."""
    gap = Unseen(extent=box(12.0, 14.0), why="the lamp was off")
    decision = decide(
        evidence(coverage={"scan": Coverage(seen=(whole,), unseen=(gap,))}), [criterion(Measurand.COVERAGE)]
    )
    finding = only(decision, "coverage")
    assert (decision.verdict, finding.reason) == (Verdict.HOLD, Reason.NOT_LOOKED_AT)
    assert (finding.found, finding.margin) == (pytest.approx(0.95), pytest.approx(-0.03))
    assert [region.extent for region in decision.regions] == [gap.extent]
    assert [(item.extent, item.why) for item in decision.missing] == [(gap.extent, "the lamp was off")]
    assert decision.why == "Coverage: the scan looked at 95.0 % of 40 m², less than the 98 % needed."
    enough = decide(
        evidence(coverage={"scan": Coverage(seen=(whole,), unseen=(gap,))}), [criterion(Measurand.COVERAGE, limit=0.95)]
    )
    assert (enough.verdict, only(enough, "coverage").reason) == (Verdict.RELEASE, Reason.WITHIN_LIMIT)


def test_slivers_do_not_slip_through(evidence, criterion, box):
    """A roll that must be seen whole is held even when only half a millimetre at the edge is unseen."""
    seen = {"scan": Coverage(seen=(box(0.0, 40.0, 0.5, 1000.0),))}
    decision = decide(evidence(coverage=seen), [criterion(Measurand.COVERAGE, limit=1.0)])
    assert decision.verdict is Verdict.HOLD
    assert decision.released_share == 0.0


@pytest.mark.parametrize("void", [True, False])
def test_too_few_strips_hold_their_batch(evidence, criterion, box, void):
    """A batch with too few usable strips holds; a void one says so and what to do."""
    first, second = box(0.0, 25.0), box(25.0, 40.0)
    gone = Missing(subject="strips", extent=second, void=void, why="run R7 is void", mend="Expose strip 9 again.")
    found = evidence(counts={"strips": ((first, 3), (second, 1))}, missing=(gone,))
    decision = decide(found, [criterion(Measurand.EVIDENCE_COUNT)])
    finding = only(decision, "evidence count")
    assert decision.verdict is Verdict.HOLD
    assert finding.reason is (Reason.EVIDENCE_VOID if void else Reason.EVIDENCE_MISSING)
    assert "Expose strip 9 again." in finding.why
    assert "Run R7 is void." in finding.why
    assert decision.why == "Evidence count: 1 of at least 2 usable strips for 25.00 to 40.00 m (run R7 is void)."
    assert [region.extent for region in decision.regions] == [second]
    assert gone in decision.missing


def test_missing_evidence_that_no_criterion_speaks_of_holds(evidence, criterion, box):
    """What is said to be needed and isn't there holds, though no criterion weighs it."""
    gone = Missing(subject="tear test", extent=box(0.0, 5.0), void=False, why="not done", mend="Do it.")
    decision = decide(evidence(missing=(gone,)), [criterion(Measurand.COVERAGE)])
    assert (decision.verdict, only(decision, NEEDED).reason) == (Verdict.HOLD, Reason.EVIDENCE_MISSING)


def test_a_kind_that_no_criterion_names_holds(evidence, criterion, marks_at):
    """A hole on a roll whose criteria speak of spots alone isn't released."""
    decision = decide(evidence(marks_at([7.0], kind="hole")), [criterion(RATE, kinds=("spot",))])
    assert (decision.verdict, only(decision, NEEDED).reason) == (Verdict.HOLD, Reason.NOT_JUDGED)


def test_every_reason_is_reached_and_has_its_entry_in_the_docs():
    """No reason code is without an entry in the reference, and no entry without a code."""
    text = (Path(__file__).parents[3] / "docs" / "reference" / "reasons.md").read_text(encoding="utf-8")
    entries = {line.removeprefix("## ").strip("` ") for line in text.splitlines() if line.startswith("## ")}
    assert entries == {str(reason) for reason in Reason}
    tests = (Path(__file__).parent / f"test_{name}.py" for name in ("reasons", "mark_rates", "mark_counts"))
    source = "".join(test.read_text("utf-8") for test in tests)
    assert all(f"Reason.{reason.name}" in source for reason in Reason)
