"""Rates of marks by region, unit and source, and what each risks."""

import math

import pytest
from scipy.stats import chi2, poisson

from wideroll.errors import ArgumentError
from wideroll.release import (
    Consequence,
    DetectedShare,
    Flaw,
    Measurand,
    NamedPart,
    Reason,
    Region,
    Verdict,
    decide,
    unit_m2,
)
from wideroll.roll import Coverage

RATE = Measurand.MARK_RATE


def only(decision, name=RATE):
    """The one finding of a criterion."""
    (finding,) = [finding for finding in decision.findings if finding.criterion == name]
    return finding


@pytest.fixture
def sheets(box):
    """Four sheets of 1 m² each, as looked at and as drawn."""
    seen = Coverage(seen=tuple(box(10.0 * n, 10.0 * n + 1.0) for n in range(4)))
    return {"coverage": {"sheets": seen}, "sampled": {"sheets": seen}}


def both(whole, sheets):
    """The scan saw all, the sheets their part."""
    return {"coverage": sheets["coverage"] | {"scan": Coverage(seen=(whole,))}, "sampled": sheets["sampled"]}


def test_limits_and_conformance_of_a_rate_are_garwoods(evidence, criterion):
    """Both ends are chi-square quantiles [Garwood 1936], and the conformance is the confidence that fits."""
    finding = only(decide(evidence([n + 0.5 for n in range(12)]), [criterion(RATE)]))
    assert finding.high == pytest.approx(chi2.ppf(0.95, 26) / 2 / 40)
    assert finding.low == pytest.approx(chi2.ppf(0.05, 24) / 2 / 40)
    assert finding.conformance == pytest.approx(chi2.cdf(2 * 40.0, 26))
    (look,) = finding.looks
    assert (look.source, look.count, look.area_m2) == ("scan", 12, pytest.approx(40.0))


def test_risks_of_a_rate_are_those_of_its_acceptance_number(evidence, criterion):
    """On 40 m² at 1 per m² thirty marks still pass; both risks follow by Poisson from that number."""
    finding = only(decide(evidence(), [criterion(RATE, good=0.5)]))
    accept = max(k for k in range(60) if chi2.ppf(0.95, 2 * k + 2) / 2 <= 40.0)
    assert finding.acceptance_limit == pytest.approx(accept / 40.0)
    assert finding.consumer_risk == pytest.approx(poisson.cdf(accept, 40.0))
    assert finding.consumer_risk <= 0.05
    assert finding.producer_risk == pytest.approx(poisson.sf(accept, 20.0))
    assert math.isnan(only(decide(evidence(), [criterion(RATE)])).producer_risk)


def test_too_little_looked_at_says_how_much_more_and_what_it_does_to_good_film(evidence, criterion, sheets):
    """A held rate names the area that would settle it if nothing more were found, and the producer's risk."""
    finding = only(decide(evidence(**sheets), [criterion(RATE, subject="sheets", limit=0.5, good=0.1)]))
    needed = chi2.ppf(0.95, 2) / 2 / 0.5 - 4.0
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.NOT_PROVEN)
    assert f"{needed:.2f} m² more without a mark would settle it" in finding.why
    assert "kept back with probability over 0.999" in finding.why
    assert (finding.consumer_risk, finding.producer_risk) == (0.0, 1.0)
    assert math.isnan(finding.acceptance_limit)


def test_marks_on_sheets_are_counted_by_a_rate_of_sheets(evidence, criterion, marks_at, sheets):
    """What examiners saw counts against a limit on sheets, and what lies between the sheets doesn't."""
    marks = marks_at([0.2, 0.4, 10.5, 20.5, 20.6, 30.9, 5.0], source="sheets")
    finding = only(decide(evidence(marks, **sheets), [criterion(RATE, subject="sheets", limit=5.0)]))
    assert finding.looks[0].parts == ((2, 1.0), (1, 1.0), (2, 1.0), (1, 1.0))
    assert finding.found == pytest.approx(1.5)


def test_a_sheet_that_was_chosen_stands_for_nothing_else(evidence, criterion, marks_at, sheets):
    """Only drawn sheets give a rate; where none was drawn the rate is held as missing."""
    marks = marks_at([20.5] * 9, source="sheets")
    drawn = Coverage(seen=sheets["coverage"]["sheets"].seen[:2])
    rule = criterion(RATE, subject="sheets", limit=2.0)
    finding = only(decide(evidence(marks, coverage=sheets["coverage"], sampled={"sheets": drawn}), [rule]))
    assert finding.looks[0].parts == ((0, 1.0), (0, 1.0))
    none = only(decide(evidence(marks, coverage=sheets["coverage"], sampled={"sheets": Coverage(seen=())}), [rule]))
    assert (none.verdict, none.reason) == (Verdict.HOLD, Reason.EVIDENCE_MISSING)


def test_sheets_and_scan_together_count_each_place_once(evidence, criterion, marks_at, sheets, whole):
    """On a sheet the examiner's count stands, elsewhere the scanner's."""
    scanned = marks_at([0.5, 5.0, 15.0, 25.0])
    found = evidence(scanned.vstack(marks_at([0.5, 0.6], source="sheets")), **both(whole, sheets))
    finding = only(decide(found, [criterion(RATE, subject="scan and sheets")]))
    by_source = {look.source: (look.count, look.area_m2) for look in finding.looks}
    assert by_source == {"sheets": (2, pytest.approx(4.0)), "scan": (3, pytest.approx(36.0))}
    assert finding.verdict is Verdict.RELEASE


def test_sources_that_contradict_one_another_hold(evidence, criterion, marks_at, sheets, whole):
    """The sheets find thirty times what the scanner does: no average of the two is believed."""
    marks = marks_at([0.01 + n / 60 for n in range(60)], source="sheets")
    rule = criterion(RATE, subject="scan and sheets", limit=2.0, consequence=Consequence.REJECT)
    finding = only(decide(evidence(marks, **both(whole, sheets)), [rule]))
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.CONTRADICTED)
    assert finding.low < 2.0 < finding.high


def test_sources_that_differ_but_agree_on_the_verdict_decide(evidence, criterion, marks_at, sheets, whole):
    """Both are within the limit by themselves, so that they differ matters to nobody."""
    marks = marks_at([0.01 + n / 20 for n in range(20)], source="sheets")
    rule = criterion(RATE, subject="scan and sheets", limit=20.0)
    finding = only(decide(evidence(marks, **both(whole, sheets)), [rule]))
    assert finding.reason is Reason.WITHIN_LIMIT
    alone = [
        only(decide(evidence(marks, **both(whole, sheets)), [criterion(RATE, subject=source, limit=20.0)]))
        for source in ("scan", "sheets")
    ]
    assert finding.high >= max(one.high for one in alone) * 0.99


def test_one_of_two_sources_missing_holds(evidence, criterion):
    """A rate that the product wants from both isn't taken from one."""
    finding = only(decide(evidence(), [criterion(RATE, subject="scan and sheets")]))
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.EVIDENCE_MISSING)
    assert "sheets" in finding.why


@pytest.mark.parametrize(
    ("unit", "lane_mm", "area_m2"),
    [
        ("per m²", 0.0, 1.0),
        ("per ft²", 0.0, 0.09290304),  # exact by definition of the foot
        ("per 100 ft", 35.0, 30.48 * 0.035),
        ("per m", 35.0, 0.035),
    ],
)
def test_units_are_the_same_limit_said_otherwise(evidence, criterion, unit, lane_mm, area_m2):
    """A limit in any unit gives the verdict and conformance of the same limit per m²; a foot is 0.3048 m exactly."""
    region = Region.LANE if lane_mm else Region.ROLL
    shared = {"region": region, "lane_mm": lane_mm}
    stated = criterion(RATE, unit=unit, limit=8.0 * area_m2, **shared)
    assert unit_m2(stated) == pytest.approx(area_m2, rel=1e-12)
    found = evidence([(n + 0.5, 500.0) for n in range(12)])
    ours, plain = (decide(found, [rule]).findings for rule in (stated, criterion(RATE, limit=8.0, **shared)))
    assert [f.conformance for f in ours] == pytest.approx([f.conformance for f in plain], rel=1e-9)
    assert [f.high / area_m2 for f in ours] == pytest.approx([f.high for f in plain], rel=1e-9)


def test_a_dirty_lane_is_cut_out_and_the_others_are_judged_without_it(evidence, criterion):
    """28 lanes of 35 mm: the marks in one take it out of the roll, and the roll's own rate is then good."""
    lane = criterion(RATE, name="lane", region=Region.LANE, lane_mm=35.0, limit=8.0, consequence=Consequence.CUT_OUT)
    rule = criterion(RATE, limit=0.5, consequence=Consequence.REJECT)
    decision = decide(evidence([(0.7 * n, 520.0) for n in range(40)]), [lane, rule])
    lanes = [finding for finding in decision.findings if finding.criterion == "lane"]
    assert len(lanes) == 28
    assert [f.extent.width_mm for f in lanes] == pytest.approx([35.0] * 28)
    (bad,) = [f for f in lanes if f.verdict is Verdict.CUT_OUT]
    assert bad.extent.across_from_mm < 520.0 < bad.extent.across_to_mm
    assert decision.verdict is Verdict.CUT_OUT
    assert only(decision).reason is Reason.NONE_FOUND


def test_each_batch_is_judged_by_itself(evidence, criterion, box):
    """Marks all in one batch reject that batch, and leave the other released."""
    batches = (NamedPart(name="E-1", extent=box(0.0, 20.0)), NamedPart(name="E-2", extent=box(20.0, 40.0)))
    rule = criterion(RATE, region=Region.BATCH, consequence=Consequence.CUT_OUT)
    decision = decide(evidence([20.2 + 0.3 * n for n in range(60)], batches=batches), [rule])
    assert [f.verdict for f in decision.findings] == [Verdict.RELEASE, Verdict.CUT_OUT]
    assert [f.extent for f in decision.findings] == [batch.extent for batch in batches]
    assert decision.released_share == pytest.approx(0.5)


def test_lanes_by_batches_are_judged_one_by_one(evidence, criterion, box):
    """A lane × batch that nobody looked at is held, the others are judged."""
    batches = (NamedPart(name="E-1", extent=box(0.0, 20.0)), NamedPart(name="E-2", extent=box(20.0, 40.0)))
    rule = criterion(RATE, region=Region.LANE_AND_BATCH, lane_mm=400.0, limit=3.0)
    seen = {"scan": Coverage(seen=(box(0.0, 40.0, 0.0, 500.0), box(0.0, 20.0, 500.0, 1000.0)))}
    decision = decide(evidence(coverage=seen, batches=batches), [rule])
    reasons = [f.reason for f in decision.findings if f.criterion == RATE]
    assert len(reasons) == 4
    last = next(f for f in decision.findings if f.extent == box(20.0, 40.0, 500.0, 900.0))
    assert (last.verdict, last.reason) == (Verdict.HOLD, Reason.EVIDENCE_MISSING)


def test_lanes_of_a_roll_that_nobody_saw_are_missed_once(evidence, criterion, whole):
    """Without any scan the roll is held with one piece of missing evidence, not one for each lane."""
    decision = decide(evidence(coverage={}), [criterion(RATE, region=Region.LANE, lane_mm=35.0)])
    assert [(f.extent, f.reason) for f in decision.findings if f.criterion == RATE] == [
        (whole, Reason.EVIDENCE_MISSING)
    ]
    assert [item.extent for item in decision.missing if item.subject == "scan"] == [whole]


def test_a_faint_mark_needs_a_measured_probability_of_detection(evidence, criterion):
    """A product that says how faint a mark counts isn't released by a scan whose misses nobody knows."""
    rule = criterion(RATE, least_contrast=0.05)
    unknown = {(rule.name, "scan"): DetectedShare(value=math.nan, low=0.0, high=1.0, why="it was not measured")}
    decision = decide(evidence(detected=unknown), [rule])
    finding = only(decision)
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.EVIDENCE_MISSING)
    assert "it was not measured" in finding.why
    assert decision.missing[0].subject == "probability of detection"


def test_a_known_probability_of_detection_makes_the_area_less(evidence, criterion):
    """Half of the marks are found: the limits are Garwood's on half the area."""
    rule = criterion(RATE, least_contrast=0.05)
    half = {(rule.name, "scan"): DetectedShare(value=0.5, low=0.5, high=0.5)}
    finding = only(decide(evidence([1.0, 2.0], detected=half), [rule]))
    assert finding.found == pytest.approx(2 / 20.0)
    assert finding.high == pytest.approx(chi2.ppf(0.95, 6) / 2 / 20.0)


def test_an_uncertain_probability_of_detection_needs_a_reckoning_for_it(evidence, criterion):
    """The plain reckoning refuses to ignore the uncertainty."""
    rule = criterion(RATE, least_contrast=0.05)
    about = {(rule.name, "scan"): DetectedShare(value=0.5, low=0.4, high=0.6)}
    with pytest.raises(ArgumentError, match=r"^rate_of: an uncertain probability"):
        decide(evidence(detected=about), [rule])


def test_marks_measured_fainter_than_the_least_count_too(evidence, criterion):
    """All marks here have a contrast of 0.1; what is as faint as the least is measured fainter half of the time."""
    for least in (0.05, 0.2):
        rule = criterion(RATE, least_contrast=least)
        finding = only(decide(evidence([1.0, 2.0, 3.0], detected={(rule.name, "scan"): DetectedShare()}), [rule]))
        assert sum(look.count for look in finding.looks) == 3


def test_a_share_of_nothing_detected_holds(evidence, criterion):
    """A source that finds none of them proves nothing."""
    rule = criterion(RATE, least_contrast=0.05)
    none = {(rule.name, "scan"): DetectedShare(value=0.0, low=0.0, high=0.0)}
    assert only(decide(evidence(detected=none), [rule])).reason is Reason.EVIDENCE_MISSING


def sighted(box, along_m, kind="spot"):
    """A mark seen on a sheet, as a flaw with its size."""
    return Flaw(
        kind=f"sighted {kind}",
        extent=box(along_m, along_m + 0.001, 500.0, 501.0),
        value=1.0,
        low=1.0,
        high=1.0,
        unit="mm",
        source="sheets",
    )


def test_what_is_cut_out_of_a_sheet_still_counts_for_the_rest(evidence, criterion, marks_at, sheets, box):
    """Twelve spots on four sheets are cut out where they were seen; there are as many on every other m²."""
    places = [0.1, 0.4, 0.8, 10.1, 10.4, 10.8, 20.1, 20.4, 20.8, 30.1, 30.4, 30.8]
    size = criterion(
        Measurand.FLAW,
        name="size",
        limit=0.5,
        unit="mm",
        subject="sheets",
        kinds=("sighted spot",),
        consequence=Consequence.CUT_OUT,
    )
    flaws = tuple(sighted(box, place) for place in places)
    found = evidence(marks_at(places, source="sheets"), flaws=flaws, **sheets)
    rate = criterion(RATE, subject="sheets", limit=1.0, consequence=Consequence.REJECT)
    decision = decide(found, [size, rate])
    assert [f.verdict for f in decision.findings if f.criterion == "size"] == [Verdict.CUT_OUT] * 12
    assert only(decision).looks[0].parts == ((3, 1.0),) * 4
    assert only(decision).reason is Reason.ABOVE_LIMIT


def test_a_rate_without_a_region_is_held(evidence, criterion):
    """A lane wider than the web, or a batch on a roll that names none, is not met but not judged."""
    for given in ({"region": Region.LANE, "lane_mm": 5000.0}, {"region": Region.BATCH}):
        decision = decide(evidence([n / 100 for n in range(4000)]), [criterion(RATE, **given)])
        assert (decision.verdict, only(decision).reason) == (Verdict.HOLD, Reason.NOT_JUDGED)


def test_a_rate_names_only_what_it_counts(evidence, criterion, marks_at, sheets, box, whole):
    """Spots on a sheet that was chosen aren't counted, so that a rate of sheets doesn't speak of them."""
    drawn = {"sheets": Coverage(seen=sheets["coverage"]["sheets"].seen[:2])}
    found = evidence(
        marks_at([20.5], source="sheets"),
        flaws=(sighted(box, 20.5),),
        coverage=sheets["coverage"] | {"scan": Coverage(seen=(whole,))},
        sampled=drawn,
    )
    decision = decide(found, [criterion(RATE, subject="sheets", limit=9.0)])
    assert [f.reason for f in decision.findings if f.criterion == "evidence needed"] == [Reason.NOT_JUDGED]


def test_none_found_on_chosen_sheets_says_nothing_of_the_rest(evidence, criterion, sheets):
    """How many there may be elsewhere is said by what was drawn by chance alone."""
    rule = criterion(Measurand.FORBIDDEN, subject="sheets")
    drawn = only(decide(evidence(**sheets), [rule]), rule.name)
    assert drawn.high == math.floor(-math.log(0.05) / 0.1)
    chosen = only(
        decide(evidence(coverage=sheets["coverage"], sampled={"sheets": Coverage(seen=())}), [rule]), rule.name
    )
    assert math.isnan(chosen.high)
    assert "none was drawn by chance" in chosen.why


@pytest.fixture
def graded(box):
    """Makes a graded streak: its place on the scale A, B, C, and the grades it may be."""

    def make(value, low=None, high=None, **given):
        parts = {"low": low or value, "high": high or value, "unit": "grade", "source": "sheets"} | given
        return Flaw(kind="graded streak", extent=box(10.0, 20.0, 400.0, 403.0), value=value, **parts)

    return make


@pytest.mark.parametrize(
    ("places", "verdict", "reason", "word"),
    [
        ((1.0,), Verdict.RELEASE, Reason.WITHIN_LIMIT, "grade A"),
        ((2.0,), Verdict.RELEASE, Reason.WITHIN_LIMIT, "grade B"),
        ((3.0,), Verdict.CUT_OUT, Reason.ABOVE_LIMIT, "worse than B"),
        ((2.0, 1.0, 3.0), Verdict.HOLD, Reason.NOT_PROVEN, "grade B (A to C)"),
        ((math.nan, 1.0, 3.0), Verdict.HOLD, Reason.NOT_PROVEN, "no grade (A to C)"),
    ],
)
def test_grades_are_held_against_the_worst_allowed(evidence, criterion, graded, places, verdict, reason, word):
    """Grade B is the worst allowed: A and B pass, C is cut out, and what may be C is held."""
    rule = criterion(Measurand.GRADE, consequence=Consequence.CUT_OUT)
    finding = only(decide(evidence(flaws=(graded(*places),)), [rule]), rule.name)
    assert (finding.verdict, finding.reason) == (verdict, reason)
    assert word in finding.why


def test_a_grade_that_the_measurement_contradicts_is_held(evidence, criterion, graded):
    """The examiner says A, the measurement C: it is said, and held."""
    rule = criterion(Measurand.GRADE, consequence=Consequence.CUT_OUT)
    flaw = graded(1.0, 1.0, 3.0, contradiction="graded A, measured like C")
    finding = only(decide(evidence(flaws=(flaw,)), [rule]), rule.name)
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.CONTRADICTED)
    assert "graded A, measured like C" in finding.why


@pytest.mark.parametrize(
    ("kind", "named_by"),
    [("streak", {"none": False, "grade": True, "rate": False}), ("spot", {"none": False, "rate": True})],
)
def test_naming_the_grade_or_the_rate_of_a_sighting_names_it(
    evidence, criterion, box, graded, marks_at, sheets, whole, kind, named_by
):
    """What was sighted is held as not judged unless its size, grade or rate is judged; a streak has no rate."""
    marks = marks_at([10.2], kind=kind, source="sheets")
    flaws = (sighted(box, 10.2, kind), *((graded(1.0),) if kind == "streak" else ()))
    found = evidence(marks if kind == "spot" else marks.clear(), flaws=flaws, **both(whole, sheets))
    scan = criterion(RATE)
    rules = {
        "none": [scan],
        "grade": [scan, criterion(Measurand.GRADE)],
        "rate": [scan, criterion(RATE, name="sheets", subject="sheets", limit=9.0)],
    }
    for name, named in named_by.items():
        needed = [f.reason for f in decide(found, rules[name]).findings if f.criterion == "evidence needed"]
        assert needed == ([] if named else [Reason.NOT_JUDGED])
