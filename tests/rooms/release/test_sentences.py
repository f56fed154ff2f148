"""What the decision says: one sentence that decides, true to what was looked at, in numbers a person can read."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from wideroll.release import Consequence, Flaw, Measurand, Missing, Reading, Reason, Verdict, decide
from wideroll.release.words import chance, fixed, measured, number, percent, share, where
from wideroll.roll import Coverage, Unseen

RATE, LOCAL, FORBIDDEN = Measurand.MARK_RATE, Measurand.LOCAL_MARK_RATE, Measurand.FORBIDDEN
READING, FLAW = Measurand.READING, Measurand.FLAW


@pytest.fixture
def speed(box):
    """Makes a speed deviation with an interval of ± 0.007 for the last 15 m."""

    def make(value, **given):
        parts = {
            "low": value - 0.007,
            "high": value + 0.007,
            "unit": "log H",
            "source": "green, strips 1 and 2",
        } | given
        return Reading(subject="speed deviation", extent=box(25.0, 40.0), value=value, **parts)

    return make


@pytest.fixture
def sheets(whole, box):
    """A roll scanned whole with 3.8 m of it in sheets: 9.5 %."""
    return {"scan": Coverage(seen=(whole,)), "sheets": Coverage(seen=(box(4.0, 6.0), box(30.0, 31.8)))}


def finding_of(decision, name):
    """The first finding of a criterion."""
    return next(finding for finding in decision.findings if finding.criterion == name)


def test_none_found_on_a_tenth_is_not_none_at_all(evidence, criterion, sheets):
    """Metal that nobody found on the sheets may still be on the rest: the finding says how much at most."""
    decision = decide(evidence(coverage=sheets), [criterion(FORBIDDEN, name="Metal", subject="sheets")])
    finding = finding_of(decision, "Metal")
    assert (decision.verdict, finding.reason, finding.source) == (Verdict.RELEASE, Reason.NONE_FOUND, "sheets")
    assert (finding.found, finding.low, finding.high) == (0.0, 0.0, 31.0)
    assert finding.why == (
        "None found on the 9.5 % that the sheets looked at: at most 31 on the whole roll at 95 % confidence."
    )
    assert decision.why == f"The criterion is met. Metal: n{finding.why[1:]}"


@given(width=st.floats(1.0, 1000.0), confidence=st.sampled_from([0.9, 0.95, 0.99]))
def test_more_than_the_limit_would_have_been_seen(evidence, criterion, box, width, confidence):
    """With one more than the limit, lying anywhere, to see none is rarer than 1 − confidence (oracle: binomial)."""
    part = {"sheets": Coverage(seen=(box(0.0, 40.0, 0.0, width),))}
    metal = criterion(FORBIDDEN, subject="sheets", confidence=confidence)
    most = finding_of(decide(evidence(coverage=part), [metal]), "forbidden").high
    assert binom.pmf(0, int(most) + 1, width / 1000.0) <= 1.0 - confidence


def test_only_the_source_that_is_named_speaks_for_none(evidence, criterion, sheets):
    """Without a subject all sources together have looked; with one whose source is absent the roll is held."""
    seen = {"sheets": sheets["sheets"]}
    anybody = finding_of(decide(evidence(coverage=sheets), [criterion(FORBIDDEN)]), "forbidden")
    assert (anybody.high, anybody.source) == (2.0, "scan and sheets")
    assert "No metal found on the 100 % that the scan and sheets looked at" in anybody.why
    alone = decide(evidence(coverage=seen), [criterion(FORBIDDEN, subject="scan")])
    assert finding_of(alone, "forbidden").reason is Reason.EVIDENCE_MISSING


def test_no_flaw_has_no_limits(evidence, criterion, sheets):
    """No streak found says on how much, and claims no interval: from which size it would have been seen nobody said."""
    finding = finding_of(decide(evidence(coverage=sheets), [criterion(FLAW, subject="sheets")]), "flaw")
    assert (finding.found, finding.reason) == (0.0, Reason.NONE_FOUND)
    assert math.isnan(finding.low)
    assert math.isnan(finding.high)
    assert finding.why == "No streak found on the 9.5 % that the sheets looked at."


def test_what_was_not_looked_at_is_not_called_released(evidence, criterion, whole, box):
    """An edge that the scan left out is within what coverage allows, but not in the released share or words."""
    edge = Unseen(extent=box(0.0, 40.0, 0.0, 6.0), why="edge bead")
    covers = {"scan": Coverage(seen=(whole,), unseen=(edge,))}
    rules = [criterion(RATE, name="spots"), criterion(Measurand.COVERAGE), criterion(FLAW)]
    decision = decide(evidence([3.0], coverage=covers), rules)
    assert decision.verdict is Verdict.RELEASE
    assert decision.released_share == pytest.approx(0.994)
    assert decision.why.startswith(
        "All 3 criteria are met; 99.4 % of the area is released; the rest was not looked at (edge bead). "
    )
    streak = Flaw(kind="streak", extent=box(0.0, 20.0), value=5.0, low=4.0, high=6.0, unit="%", source="scan")
    cut = decide(evidence([3.0], coverage=covers, flaws=(streak,)), rules)
    assert cut.released_share == pytest.approx(0.497)
    assert cut.why.startswith(
        "50.0 % of the area, in 1 part, is cut out; 49.7 % of the area is released; the rest was not looked at (edge"
    )


def test_the_released_share_is_what_anybody_saw_where_there_is_no_scan(evidence, criterion, box):
    """Two sources that overlap release what either saw, each place once, without the holes of both."""
    hole = Unseen(extent=box(0.0, 1.0), why="torn")
    covers = {"a": Coverage(seen=(box(0.0, 20.0),), unseen=(hole,)), "b": Coverage(seen=(box(10.0, 30.0),))}
    decision = decide(evidence(coverage=covers), [criterion(Measurand.COVERAGE, subject="b", limit=0.5)])
    assert decision.released_share == pytest.approx(29.0 / 40.0)


def test_the_least_margin_is_not_that_of_a_stretch_that_is_merely_unproven(evidence, criterion):
    """A stretch passes because it isn't shown to be above; that is no margin, and its finding says so."""
    rules = [criterion(LOCAL, name="stretch"), criterion(RATE, name="spots")]
    decision = decide(evidence([10.0, 10.1, 10.2, 10.3]), rules)
    stretch = finding_of(decision, "stretch")
    assert (stretch.reason, stretch.limit < stretch.high) == (Reason.WITHIN_LIMIT, True)
    assert stretch.why.endswith(
        "4 per m² (0.456 to 14.5 at 95 % confidence for all 40 such stretches together, on each side): "
        "not shown to be above the limit of 5 per m²."
    )
    assert decision.why.startswith("All 2 criteria are met. The least margin: spots: 4 marks in 40 m²")
    wide = decide(evidence([10.0, 10.1]), [criterion(LOCAL, name="stretch", limit=12.0)])
    assert "within the limit of 12 per m²" in finding_of(wide, "stretch").why
    assert wide.why.startswith("The criterion is met. The least margin: stretch: the densest")


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (0.126, ("+0.126 log H, slower (+0.119 to +0.133) lies beyond", "under 0.001, needed 0.95")),
        (-0.126, ("−0.126 log H, faster (−0.133 to −0.119) lies beyond", "under 0.001, needed 0.95")),
        (
            0.042,
            ("+0.042 log H, slower (+0.035 to +0.049), the worst there is, lies within", "0.99, needed 0.95"),
        ),
        (
            0.048,
            (
                "+0.048 log H, slower (+0.041 to +0.055) doesn't settle",
                "0.71, needed 0.95, would pass up to ±0.0441",
            ),
        ),
    ],
)
def test_deviations_have_signs_and_speed_a_direction(evidence, criterion, speed, value, told):
    """Plus and minus are written, with a true minus, and a speed that surely differs is slower or faster."""
    rule = criterion(READING, name="Speed", consequence=Consequence.CUT_OUT)
    finding = finding_of(decide(evidence(readings=(speed(value),)), [rule]), "Speed")
    said, sure = told
    assert finding.why == (
        f"Speed deviation of {said} the limit of ±0.05, for 25.00 to 40.00 m; conformance probability {sure} "
        "(green, strips 1 and 2)."
    )


def test_a_name_is_not_said_twice(evidence, criterion, speed, box):
    """The criterion's name stands in front only where the words don't begin with it."""
    rules = [criterion(READING, name="Speed", consequence=Consequence.CUT_OUT)]
    whole = decide(evidence(readings=(speed(0.2), speed(0.0), speed(0.1))), rules)
    assert all(
        region.why.startswith("Speed deviation of +") for region in whole.regions if region.extent == box(25, 40)
    )


def test_a_region_says_its_criterion_once(cases):
    """The finding's own lead-in gives way to a criterion that begins with the same words."""
    (region,) = decide(*cases["void"]).regions
    assert region.why.startswith("Usable strips per batch: 1 of at least 2 for 0.00 to 25.00 m. Strip S-2: ")


def hold_cases(evidence, criterion, speed, box, marks_at):
    """Evidence and criteria that hold a roll for each reason, with causes and notes as long as they come."""
    long = "strip S-2: process run P-313 is void: reference strips lie more than 0.04 density from aim, most at −3.12"
    strips = criterion(Measurand.EVIDENCE_COUNT, name="Usable strips per batch")
    counted = {"strips": ((box(0.0, 25.0), 1), (box(25.0, 40.0), 2))}
    metal = Flaw(kind="metal", extent=box(5.0, 5.1, 3.0, 4.0), value=1, low=1, high=1, unit="mm", source="A", note=long)
    void = Missing(
        subject="strips", extent=box(0.0, 25.0), void=True, why=long, mend="Again.", cause="process run P-313 is void"
    )
    silent = Missing(subject="strips", extent=box(0.0, 25.0), void=True, why=long, mend="Again.")
    scan_half = {"scan": Coverage(seen=(box(0.0, 20.0),), unseen=(Unseen(extent=box(20.0, 40.0), why=long),))}
    return {
        "void": (evidence(counts=counted, missing=(void,)), [strips]),
        "void without a cause": (evidence(counts=counted, missing=(silent,)), [strips]),
        "missing": (evidence(counts=counted), [strips]),
        "no scan": (evidence(coverage={}), [criterion(RATE), criterion(Measurand.COVERAGE)]),
        "half a scan": (evidence(coverage=scan_half), [criterion(RATE)]),
        "too little": (evidence(coverage=scan_half), [criterion(Measurand.COVERAGE)]),
        "metal": (evidence(flaws=(metal,)), [criterion(FORBIDDEN)]),
        "unnamed": (evidence(marks_at([1.0, 20.0, 30.0], kind="scratch")), [criterion(RATE, kinds=("spot",))]),
        "unsettled": (evidence(readings=(speed(0.05),)), [criterion(READING, name="Speed")]),
        "extrapolated": (evidence(readings=(speed(0.05, extrapolated=True),)), [criterion(READING, name="Speed")]),
        "rate": (evidence([n / 2 for n in range(80)]), [criterion(RATE)]),
    }


@pytest.fixture
def cases(evidence, criterion, speed, box, marks_at):
    """All of them."""
    return hold_cases(evidence, criterion, speed, box, marks_at)


def test_a_hold_is_one_short_sentence(cases):
    """Whatever holds it, the roll's own why is one sentence of at most 35 words; the details are in the findings."""
    for name, (found, rules) in cases.items():
        decision = decide(found, rules)
        assert decision.verdict is Verdict.HOLD, name
        assert len(re.findall(r"\S+", decision.why)) <= 35, decision.why
        assert not re.search(r"[.!?] ", decision.why), decision.why
        assert decision.why.endswith(".")
        assert decision.why[0].isupper() or decision.why[0].isdigit()


def test_the_hold_names_the_cause_and_what_else_there_is(cases, criterion, box, evidence):
    """The void run is named, further findings are counted, and what is cut out in any case is said."""
    found, rules = cases["void"]
    assert decide(found, rules).why == (
        "Usable strips per batch: 1 of at least 2 for 0.00 to 25.00 m (process run P-313 is void)."
    )
    assert "(evidence is void)" in decide(*cases["void without a cause"]).why
    streak = Flaw(kind="streak", extent=box(20.0, 40.0), value=5.0, low=4.0, high=6.0, unit="%", source="scan")
    both = decide(
        evidence(counts=found.counts, missing=found.missing, flaws=(streak,)),
        [*rules, criterion(FLAW), criterion(RATE, limit=0.01)],
    )
    assert both.why.endswith("; 1 more finding holds it; 50.0 % of the area is cut out in any case.")


def test_sentences_bend_for_no_subject(cases):
    """No sentence has a verb that a plural or a singular subject could break."""
    told = [f.why for found, rules in cases.values() for f in decide(found, rules).findings]
    told += [item.why + item.mend for found, rules in cases.values() for item in decide(found, rules).missing]
    for words in told:
        assert not re.search(r"\b(is no|are no|only \d)|at least 1 \w+s\b|Bring (scan|strips|sheets)\b", words), words
    assert any(words.startswith("Usable strips: 1 of at least 2 for ") for words in told)
    assert any(words.startswith("Usable scan: none for ") for words in told)


def test_no_hyphen_stands_for_a_minus(cases, evidence, criterion, speed):
    """Every number below 0 has the true minus sign."""
    low = decide(evidence(readings=(speed(-0.04),)), [criterion(READING)])
    told = [f.why for found, rules in [*cases.values()] for f in decide(found, rules).findings]
    for words in [*told, *(f.why for f in low.findings), low.why]:
        assert not re.search(r"(?<![\w])-\d", words), words


def test_metal_is_held_with_its_guards(evidence, criterion, box):
    """A forbidden thing takes its surroundings along, so that a piece isn't cut beside it."""
    metal = Flaw(kind="metal", extent=box(5.0, 5.0, 300.0, 300.0), value=1, low=1, high=1, unit="mm", source="sheet A")
    rule = criterion(FORBIDDEN, guard_m=0.5, guard_mm=20.0)
    (region,) = decide(evidence(flaws=(metal,)), [rule]).regions
    assert region.extent == box(4.5, 5.5, 280.0, 320.0)


def test_a_part_held_inside_what_is_cut_out_is_no_region(evidence, criterion, box):
    """Metal in a stretch that is cut out anyway stays a finding and is no part to hold; one beside it is."""
    streak = Flaw(kind="streak", extent=box(10.0, 20.0), value=5.0, low=4.0, high=6.0, unit="%", source="scan")
    metal = [
        Flaw(kind="metal", extent=box(a, a + 0.1), value=1, low=1, high=1, unit="mm", source="A") for a in (15, 30)
    ]
    rules = [criterion(FLAW), criterion(FORBIDDEN)]
    inside = decide(evidence(flaws=(streak, metal[0])), rules)
    assert [(r.extent, r.verdict) for r in inside.regions] == [(box(10.0, 20.0), Verdict.CUT_OUT)]
    assert finding_of(inside, "forbidden").verdict is Verdict.HOLD
    beside = decide(evidence(flaws=(streak, *metal)), rules)
    assert [r.extent for r in beside.regions] == [box(10.0, 20.0), box(30.0, 30.1)]
    assert "more finding" not in beside.why


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (number(2.0), "2"),
        (number(0.06), "0.06"),
        (number(-0.1264), "−0.126"),
        (number(1234.5), "1234"),
        (number(41234.5), "41\u202f234"),
        (number(0.0000123), "0.0000123"),
        (number(3.0004, beside=3.0), "3.0004"),
        (number(math.nan), "unknown"),
        (share(0.09976), "10.0 %"),
        (share(0.97996, beside=0.98), "97.996 %"),
        (share(0.99999), "99.999 %"),
        (share(0.0002), "0.02 %"),
        (share(1.0), "100 %"),
        (percent(0.95), "95 %"),
        (percent(0.999), "99.9 %"),
        (fixed(-0.0001, 2, signed=True), "0.00"),
        (chance(0.97312, beside=0.95), "0.97"),
        (chance(0.95, beside=0.95), "0.95"),
        (chance(0.94996, beside=0.95), "0.94996"),
        (chance(0.9984), "0.998"),
        (chance(0.99901), "over 0.999"),
        (chance(1.0), "over 0.999"),
        (chance(0.999, beside=0.999), "0.999"),
        (chance(0.0), "under 0.001"),
        (chance(0.004), "0.004"),
        (chance(math.nan), "unknown"),
        (measured(1.58, 1.56, 1.6, "%", limit=0.5), "1.58 % (1.56 to 1.60)"),
        (measured(0.4, 0.4, 0.4, "mm", limit=1.0), "0.4 mm"),
        (measured(0.0599996, 0.05, 0.07, "density", limit=0.06), "0.0599996 density (0.0500000 to 0.0700000)"),
        (measured(math.nan, math.nan, math.nan, "%", limit=1.0), "unknown % (unknown to unknown)"),
    ],
)
def test_numbers_are_written_one_way(told, expected):
    """Three figures, true minus, thin spaces, and never rounded onto the limit they are held against."""
    assert told == expected


def test_a_place_shorter_than_its_digits_is_named_once(box, whole):
    """A point isn't a span from itself to itself."""
    assert where(box(14.651, 14.652, 904.4, 905.3), whole) == "14.65 m, 904.4 to 905.3 mm across"
