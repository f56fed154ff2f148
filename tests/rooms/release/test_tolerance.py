"""Readings about an aim, or limited on one side: verdicts, words and risks."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wideroll.errors import ArgumentError
from wideroll.release import Bound, Consequence, Measurand, Missing, Reading, Reason, Verdict, check_criterion, decide
from wideroll.release.readings import judge_missing_readings, judge_readings
from wideroll.release.tolerance import decision_risks, tolerance_of

BOUNDS = st.sampled_from(list(Bound))
FREEDOM = st.sampled_from([2.0, 9.0, math.inf])


@pytest.fixture(scope="session")
def judge(whole, evidence, criterion):
    """Makes the finding on one thickness."""

    def make(value, error, *, freedom=math.inf, unit="µm", **given):
        half = error * stats.t.ppf(0.975, freedom)
        reading = Reading(
            subject="thickness",
            extent=whole,
            value=value,
            low=value - half,
            high=value + half,
            unit=unit,
            source="4 places by G-1",
            standard_uncertainty=error,
            degrees_of_freedom=freedom,
        )
        parts = {"subject": "thickness", "consequence": Consequence.CUT_OUT, "unit": unit} | given
        (ruling,) = judge_readings(criterion(Measurand.READING, **parts), evidence(readings=(reading,)))
        return ruling.finding

    return make


def _limits(bound, aim, limit):
    return {
        Bound.BOTH: {"bound": bound, "aim": aim, "limit": limit},
        Bound.MOST: {"bound": bound, "limit": aim + limit},
        Bound.LEAST: {"bound": bound, "limit": aim - limit},
    }[bound]


@given(off=st.floats(-9.0, 9.0), error=st.floats(0.05, 5.0), freedom=FREEDOM, bound=BOUNDS)
def test_the_probability_is_that_within_the_limits(judge, off, error, freedom, bound):
    """Conformance is the share of a shifted and scaled t from the lower limit to the upper (oracle: scipy)."""
    finding = judge(130.0 + off, error, freedom=freedom, **_limits(bound, 130.0, 5.0))
    t = stats.t(freedom, loc=130.0 + off, scale=error)
    below = 0.0 if bound is Bound.MOST else t.cdf(125.0)
    above = 0.0 if bound is Bound.LEAST else t.sf(135.0)
    assert finding.conformance == pytest.approx(1.0 - below - above, abs=1e-12)
    inside = {Bound.BOTH: 5.0 - abs(off), Bound.MOST: 5.0 - off, Bound.LEAST: 5.0 + off}[bound]
    assert finding.margin == pytest.approx(inside, abs=1e-9)
    assert finding.found == 130.0 + off


@given(off=st.floats(-9.0, 9.0), error=st.floats(0.05, 3.0), freedom=FREEDOM, bound=BOUNDS)
def test_the_acceptance_limit_is_where_the_verdict_changes(judge, off, error, freedom, bound):
    """A value is released up to the acceptance limit (a distance from the aim, or a value) and not beyond."""
    value = 130.0 + off
    finding = judge(value, error, freedom=freedom, **_limits(bound, 130.0, 5.0))
    released = finding.verdict is Verdict.RELEASE
    if math.isnan(finding.acceptance_limit):
        assert not released
        return
    limit = finding.acceptance_limit
    short = {Bound.BOTH: limit - abs(off), Bound.MOST: limit - value, Bound.LEAST: value - limit}[bound]
    if abs(short) > 1e-8:
        assert released == (short > 0.0)


@given(
    off=st.floats(-9.0, 9.0),
    error=st.floats(0.05, 5.0),
    shift=st.floats(-500.0, 500.0),
    freedom=FREEDOM,
)
def test_only_the_distance_from_the_aim_counts(judge, off, error, shift, freedom):
    """Aim and value moved alike give the same verdict, probability and risks."""
    one = judge(off, error, freedom=freedom, aim=0.0, limit=5.0, good=1.0)
    other = judge(off + shift, error, freedom=freedom, aim=shift, limit=5.0, good=1.0)
    assert other.conformance == pytest.approx(one.conformance, abs=1e-9)
    assert other.margin == pytest.approx(one.margin, abs=1e-9)
    for name in ("acceptance_limit", "consumer_risk", "producer_risk"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), abs=1e-9, nan_ok=True)
    if min(abs(one.conformance - 0.95), abs(one.margin)) > 1e-6:
        assert other.verdict is one.verdict or abs(one.conformance - 0.05) < 1e-6


@given(value=st.floats(120.0, 140.0), error=st.floats(0.05, 5.0), bound=BOUNDS, freedom=FREEDOM)
def test_the_unit_changes_nothing(judge, value, error, bound, freedom):
    """In millimetres and in micrometres the same film has the same verdict and probability."""
    fine = judge(value, error, freedom=freedom, **_limits(bound, 130.0, 5.0))
    coarse = judge(value / 1000, error / 1000, freedom=freedom, unit="mm", **_limits(bound, 0.130, 0.005))
    assert coarse.conformance == pytest.approx(fine.conformance, abs=1e-9)
    if min(abs(fine.conformance - p) for p in (0.95, 0.05)) > 1e-6:
        assert (coarse.verdict, coarse.reason) == (fine.verdict, fine.reason)


@given(near=st.floats(0.0, 9.0), more=st.floats(0.0, 9.0), error=st.floats(0.05, 5.0), bound=BOUNDS, freedom=FREEDOM)
def test_farther_out_is_never_likelier_within(judge, near, more, error, bound, freedom):
    """The conformance probability falls with the distance from the aim, or towards the one limit and past it."""
    way = -1.0 if bound is Bound.LEAST else 1.0
    limits = _limits(bound, 130.0, 5.0)
    one, other = (judge(130.0 + way * off, error, freedom=freedom, **limits) for off in (near, near + more))
    assert other.conformance <= one.conformance + 1e-12


@given(value=st.floats(120.0, 140.0), error=st.floats(0.05, 5.0), freedom=FREEDOM)
def test_least_is_most_seen_in_a_mirror(judge, value, error, freedom):
    """At least L for a value is at most −L for its negative."""
    least = judge(value, error, freedom=freedom, bound=Bound.LEAST, limit=128.0, good=131.0)
    most = judge(-value, error, freedom=freedom, bound=Bound.MOST, limit=-128.0, good=-131.0)
    assert most.verdict is least.verdict
    for name in ("conformance", "margin", "consumer_risk", "producer_risk"):
        assert getattr(most, name) == pytest.approx(getattr(least, name), abs=1e-9)
    assert most.acceptance_limit == pytest.approx(-least.acceptance_limit, abs=1e-9)


@pytest.mark.parametrize(
    ("given", "error", "share_bad", "share_good"),
    [
        ({"bound": Bound.BOTH, "aim": 130.0, "limit": 5.0, "good": 2.0}, 1.5, 135.0, 132.0),
        ({"bound": Bound.MOST, "limit": 0.3, "good": 0.2}, 0.04, 0.3, 0.2),
        ({"bound": Bound.LEAST, "limit": 2.0, "good": 4.0}, 0.9, 2.0, 4.0),
    ],
)
def test_the_risks_are_the_shares_of_simulated_measurements(judge, given, error, share_bad, share_good):
    """Of 400 000 values of film at its limit the consumer's risk is released; of good film all but the producer's risk.

    Four standard deviations of a share of as many are 0.32 % at the most.
    """
    rng = np.random.Generator(np.random.PCG64(8))
    finding = judge(share_good, error, **given)
    limit, aim = finding.acceptance_limit, given.get("aim", 0.0)

    def released(truth):
        values = rng.normal(truth, error, 400_000)
        return {
            Bound.BOTH: np.mean(np.abs(values - aim) <= limit),
            Bound.MOST: np.mean(values <= limit),
            Bound.LEAST: np.mean(values >= limit),
        }[given["bound"]]

    assert finding.consumer_risk == pytest.approx(0.05, abs=1e-3)
    assert released(share_bad) == pytest.approx(finding.consumer_risk, abs=0.0014)
    assert 1.0 - released(share_good) == pytest.approx(finding.producer_risk, abs=0.0032)


def test_what_passes_no_value_risks_only_good_film(judge):
    """Where a reading is too uncertain for any value to pass, nothing bad is released, and nothing good."""
    finding = judge(130.0, 4.0, aim=130.0, limit=5.0, good=1.0)
    assert (finding.consumer_risk, finding.producer_risk) == (0.0, 1.0)
    assert math.isnan(judge(130.0, 1.0, aim=130.0, limit=5.0).producer_risk)


def test_an_exact_value_risks_nothing(criterion):
    """Without an error of measurement what is released is good, and what is good is released."""
    rule = criterion(Measurand.READING, limit=5.0, good=2.0)
    assert decision_risks(rule, tolerance_of(rule), 0.0, 0.0) == (0.0, 0.0)


@pytest.mark.parametrize(
    ("value", "error", "given", "told"),
    [
        (
            130.4,
            0.5,
            {"aim": 130, "limit": 5},
            "of 130.4 µm (129.4 to 131.4), the worst there is, lies within 130 ± 5 µm",
        ),
        (140.0, 0.5, {"aim": 130, "limit": 5}, "lies beyond 130 ± 5 µm"),
        (134.0, 1.0, {"aim": 130, "limit": 5}, "needed 0.95, would pass within 130 ± 3.36"),
        (0.25, 0.01, {"bound": Bound.MOST, "limit": 0.3}, "lies within the limit of at most 0.3 µm"),
        (0.29, 0.01, {"bound": Bound.MOST, "limit": 0.3}, "would pass up to 0.284"),
        (2.1, 0.1, {"bound": Bound.LEAST, "limit": 2}, "doesn't settle the limit of at least 2 µm"),
        (2.1, 0.1, {"bound": Bound.LEAST, "limit": 2}, "would pass from 2.16 on"),
        (4.7630, 0.0021, {"aim": 4.7625, "limit": 0.0127}, "of 4.763 µm (4.759 to 4.767)"),
        (4.7630, 0.0021, {"aim": 4.7625, "limit": 0.0127}, "lies within 4.7625 ± 0.0127 µm"),
        (-1.0, 0.1, {"bound": Bound.MOST, "limit": -0.5}, "lies within the limit of at most −0.5 µm"),
    ],
)
def test_the_words_say_the_limit_as_it_was_stated(judge, value, error, given, told):
    """Aim and limit keep all their figures, and the value shows enough of its own to be compared."""
    assert told in judge(value, error, **given).why


def test_the_worst_of_several_is_nearest_its_limit(evidence, criterion, box):
    """Of two batches that both pass, the one shown is the less certain about the aim, not about nothing."""
    parts = {"subject": "thickness", "unit": "µm"}
    low = Reading(extent=box(0, 20), value=127.0, low=126.0, high=128.0, source="low", **parts)
    high = Reading(extent=box(20, 40), value=131.0, low=130.0, high=132.0, source="high", **parts)
    rule = criterion(Measurand.READING, aim=130.0, limit=5.0, **parts)
    (ruling,) = judge_readings(rule, evidence(readings=(low, high)))
    assert (ruling.finding.verdict, ruling.finding.source) == (Verdict.RELEASE, "low")


def test_a_reading_without_value_says_its_own_mend(evidence, criterion, whole):
    """What would give the value is the reading's to say; void values of the same stretch are told beside it."""
    lone = Reading(
        subject="thickness",
        extent=whole,
        value=math.nan,
        low=math.nan,
        high=math.nan,
        unit="µm",
        source="1 place",
        mend="Measure a second place.",
    )
    rule = criterion(Measurand.READING, subject="thickness", unit="µm", aim=130.0, limit=5.0)
    (ruling,) = judge_readings(rule, evidence(readings=(lone,)))
    assert ruling.finding.reason is Reason.EVIDENCE_MISSING
    assert ruling.finding.why == "No thickness for 0.00 to 40.00 m (1 place). Measure a second place."
    void = Missing(subject="thickness", extent=whole, void=True, why="gauge G-2 had expired", mend="Calibrate G-2.")
    (ruling,) = judge_readings(rule, evidence(readings=(lone,), missing=(void,)))
    assert ruling.finding.reason is Reason.EVIDENCE_VOID
    assert ruling.finding.why.endswith("Measure a second place. Gauge G-2 had expired. Calibrate G-2.")


def test_values_that_cannot_be_believed_void_the_batch(evidence, criterion, whole):
    """Where all values of a property are void its batch is held as void, with the mend; the decision holds."""
    void = Missing(subject="thickness", extent=whole, void=True, why="gauge G-2 had expired", mend="Calibrate G-2.")
    rule = criterion(Measurand.READING, subject="thickness", unit="µm", aim=130.0, limit=5.0)
    given = evidence(missing=(void,))
    (ruling,) = judge_missing_readings(rule, given, ())
    assert (ruling.finding.verdict, ruling.finding.reason) == (Verdict.HOLD, Reason.EVIDENCE_VOID)
    assert ruling.finding.why.endswith("Gauge G-2 had expired. Calibrate G-2.")
    assert decide(given, [rule]).verdict is Verdict.HOLD


@pytest.mark.parametrize(
    ("given", "where", "rule"),
    [
        ({"bound": Bound.MOST, "limit": 3.0, "aim": 2.0}, "aim", "a limit of at most has no aim"),
        ({"aim": 130.0, "limit": 5.0, "good": 6.0}, "good", "below the limit"),
        ({"aim": 130.0, "limit": 5.0, "good": -1.0}, "good", "0 or more"),
        ({"aim": 130.0, "limit": -5.0}, "limit", "0 or more"),
        ({"aim": math.nan}, "aim", "a number"),
        ({"bound": Bound.MOST, "limit": 3.0, "good": 3.0}, "good", "below the limit"),
        ({"bound": Bound.LEAST, "limit": 3.0, "good": 2.0}, "good", "above the limit"),
        ({"bound": Bound.LEAST, "limit": math.inf}, "limit", "must be a number"),
        ({"subject": ""}, "subject", "must name a reading"),
    ],
)
def test_a_criterion_that_means_nothing_is_refused(criterion, given, where, rule):
    """An aim beside a one-sided limit, or something good beyond the limit, is a slip of whoever wrote it."""
    with pytest.raises(ArgumentError) as caught:
        check_criterion(criterion(Measurand.READING, **given))
    assert caught.value.where.endswith(f", {where}")
    assert rule in caught.value.rule


def test_a_limit_below_zero_on_one_side_is_none_to_refuse(criterion):
    """Curl may have to be at most −1 mm, where its sign says which way."""
    check_criterion(replace(criterion(Measurand.READING), bound=Bound.MOST, limit=-1.0, good=-2.0))
