"""Readings decided by the probability that they lie within their limits."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wideroll.errors import ArgumentError
from wideroll.release import Consequence, Measurand, Reading, Reason, Verdict, decide
from wideroll.release.readings import judge_readings

LIMIT = 0.05


@pytest.fixture(scope="session")
def judge(whole, evidence, criterion):
    """Makes the finding on one speed deviation, with the decision's verdict."""

    def make(value, error, *, freedom=math.inf, **given):
        half = error * stats.t.ppf(0.975, freedom)
        parts = {"low": value - half, "high": value + half, "standard_uncertainty": error} | given.pop("reading", {})
        reading = Reading(
            subject="speed deviation",
            extent=whole,
            value=value,
            unit="log H",
            source="strips 1, 2",
            degrees_of_freedom=freedom,
            **parts,
        )
        rule = criterion(Measurand.READING, consequence=Consequence.CUT_OUT, **given)
        (finding,) = decide(evidence(readings=(reading,)), [rule]).findings
        return finding

    return make


@given(
    value=st.floats(-0.2, 0.2),
    error=st.floats(0.001, 0.2),
    freedom=st.sampled_from([2.0, 9.0, math.inf]),
    confidence=st.sampled_from([0.5, 0.9, 0.95, 0.99]),
)
def test_the_verdict_is_the_probabilitys(judge, value, error, freedom, confidence):
    """Released with 1 − risk or more, cut out only beyond one limit with as much, held in between (oracle: scipy)."""
    finding = judge(value, error, freedom=freedom, confidence=confidence)
    t = stats.t(freedom, loc=value, scale=error)
    below, above = t.cdf(-LIMIT), t.sf(LIMIT)
    within = 1.0 - below - above
    assert finding.conformance == pytest.approx(within, abs=1e-12)
    verdict = (
        Verdict.RELEASE
        if within >= confidence
        else Verdict.CUT_OUT
        if max(below, above) >= confidence
        else Verdict.HOLD
    )
    if min(abs(within - confidence), abs(max(below, above) - confidence)) > 1e-9:
        assert finding.verdict is verdict
    assert (finding.verdict is Verdict.CUT_OUT) <= (finding.margin < 1e-12)


@given(value=st.floats(-0.1, 0.1), error=st.floats(0.001, 0.05), confidence=st.sampled_from([0.9, 0.95, 0.99]))
def test_the_acceptance_limit_says_the_same(judge, value, error, confidence):
    """A reading is released when its absolute value is at most the limit minus the guard band, and not otherwise."""
    finding = judge(value, error, confidence=confidence)
    if math.isnan(finding.acceptance_limit):
        assert finding.verdict is not Verdict.RELEASE
    elif abs(abs(value) - finding.acceptance_limit) > 1e-9:
        assert (finding.verdict is Verdict.RELEASE) == (abs(value) <= finding.acceptance_limit)
    assert not finding.acceptance_limit > LIMIT


@given(error=st.floats(0.04, 1e6), value=st.floats(-0.05, 0.05))
def test_ignorance_never_cuts_out(judge, error, value):
    """A value within the limits that is hardly known at all is held, though it surely lies beyond one or the other."""
    finding = judge(value, error)
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.NOT_PROVEN)
    assert "too uncertain for any value to pass" in finding.why


@given(value=st.floats(-0.2, 0.2), error=st.floats(0.001, 0.1), less=st.floats(0.1, 1.0))
def test_a_better_measurement_of_a_good_value_never_loses_a_release(judge, value, error, less):
    """What is released stays so with a smaller uncertainty about the same value."""
    if judge(value, error).verdict is Verdict.RELEASE:
        assert judge(value, less * error).verdict is Verdict.RELEASE


@given(value=st.floats(-0.1, 0.1), error=st.floats(0.001, 0.05), freedom=st.sampled_from([4.0, math.inf]))
def test_an_interval_stands_in_for_the_uncertainty(judge, value, error, freedom):
    """A reading that has only its 95 % interval is judged as one that says the standard uncertainty behind it."""
    full = judge(value, error, freedom=freedom)
    bare = judge(value, error, freedom=freedom, reading={"standard_uncertainty": math.nan})
    assert bare.conformance == pytest.approx(full.conformance, abs=1e-9)


def test_of_an_uneven_interval_the_wider_half_counts(judge):
    """0 to 0.02 about 0.015 is an uncertainty of 0.015 ⁄ 1.96."""
    bare = {"standard_uncertainty": math.nan, "low": 0.0, "high": 0.02}
    assert judge(0.015, 0.001, reading=bare).conformance == pytest.approx(judge(0.015, 0.015 / 1.959964).conformance)


def test_an_end_of_the_interval_may_lie_beyond_the_limit(judge):
    """The 95 % interval is two-sided, the risk is of one limit: 1.7 uncertainties inside are enough for 5 %."""
    finding = judge(LIMIT - 1.7 * 0.005, 0.005)
    assert (finding.verdict, finding.high > LIMIT) == (Verdict.RELEASE, True)
    assert "conformance probability 0.96, needed 0.95" in finding.why
    strict = judge(LIMIT - 1.7 * 0.005, 0.005, confidence=0.99)
    assert (strict.verdict, strict.reason) == (Verdict.HOLD, Reason.NOT_PROVEN)
    assert "conformance probability 0.96, needed 0.99, would pass up to ±0.0384" in strict.why


def test_few_degrees_of_freedom_ask_for_more(judge):
    """The same value and uncertainty pass when u is well known and hold when it rests on three degrees of freedom."""
    assert judge(0.03, 0.01).verdict is Verdict.RELEASE
    assert judge(0.03, 0.01, freedom=3.0).verdict is Verdict.HOLD


@pytest.mark.parametrize(
    "reading",
    [
        {"low": -math.inf, "high": math.inf, "standard_uncertainty": math.nan},
        {"standard_uncertainty": math.inf},
        {"low": math.nan, "high": math.nan, "standard_uncertainty": math.nan},
    ],
)
def test_a_reading_of_unknown_uncertainty_is_held(judge, reading):
    """Nothing known about the error is nothing known about the value."""
    finding = judge(0.2, 0.01, reading=reading)
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.NOT_PROVEN)
    assert math.isnan(finding.conformance)
    assert "conformance probability unknown, needed 0.95" in finding.why


def test_an_extrapolated_reading_has_no_probability(judge):
    """What lies beyond what was measured is held whatever its number, and claims no probability."""
    finding = judge(0.0, 0.001, reading={"extrapolated": True})
    assert (finding.verdict, finding.reason) == (Verdict.HOLD, Reason.EXTRAPOLATED)
    assert math.isnan(finding.conformance)
    assert "probability" not in finding.why


def test_an_impossible_uncertainty_is_refused(judge):
    """A negative uncertainty is a mistake of whoever made the reading."""
    with pytest.raises(ArgumentError, match=r"^standard_uncertainty: must be 0 or more"):
        judge(0.0, 0.01, reading={"standard_uncertainty": -0.01})


def test_the_reading_least_sure_to_be_within_is_the_one_shown(evidence, criterion, box):
    """Of two that pass it is the less certain one, not the one that is farther off."""
    parts = {"subject": "speed deviation", "unit": "log H"}
    far = Reading(extent=box(0, 20), value=0.030, low=0.029, high=0.031, source="far", **parts)
    vague = Reading(extent=box(20, 40), value=0.020, low=-0.012, high=0.052, source="vague", **parts)
    decision = decide(evidence(readings=(far, vague)), [criterion(Measurand.READING)])
    assert (decision.verdict, [f.source for f in decision.findings]) == (Verdict.RELEASE, ["vague"])


def test_a_limit_of_nothing_passes_nothing_measured(judge):
    """No measured value is proven to be 0 exactly."""
    assert judge(0.0, 0.001, limit=0.0).verdict is Verdict.HOLD


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_of_readings_truly_beyond_the_limit_no_more_than_stated_are_released(evidence, criterion, whole, sign):
    """Simulated at 1.0001 times the limit, errors of 0.01: at most 5 % are released; a bare comparison releases half.

    Three standard deviations of 4000 draws are 1 %, of the half 2.4 %.
    """
    rng = np.random.Generator(np.random.PCG64(31))
    rule, bare = criterion(Measurand.READING), evidence()
    values = sign * 1.0001 * LIMIT + rng.normal(0.0, 0.01, 4000)

    def released(value):
        reading = Reading(
            subject="speed deviation",
            extent=whole,
            value=value,
            low=value - 0.0196,
            high=value + 0.0196,
            unit="log H",
            source="strips 1, 2",
            standard_uncertainty=0.01,
        )
        (ruling,) = judge_readings(rule, dataclasses.replace(bare, readings=(reading,)))
        return ruling.finding.verdict is Verdict.RELEASE

    assert np.mean([released(value) for value in values.tolist()]) == pytest.approx(0.05, abs=0.01)
    assert np.mean(np.abs(values) <= LIMIT) == pytest.approx(0.5, abs=0.024)


def test_risk_is_what_confidence_leaves(criterion):
    """The two are one number said in two ways."""
    rule = criterion(Measurand.READING, confidence=0.99)
    assert rule.risk == pytest.approx(0.01)
    assert {field.name for field in dataclasses.fields(rule)} & {"risk", "confidence"} == {"confidence"}
