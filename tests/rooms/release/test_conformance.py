"""Conformance probabilities, guard bands and long-run risks against a library, simulation and what must hold."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from wideroll.errors import ArgumentError
from wideroll.release.conformance import (
    beyond_probabilities,
    conformance_probability,
    global_risks,
    guard_band,
    standard_uncertainty_of,
)

VALUES = st.floats(-3.0, 3.0)
ERRORS = st.floats(0.01, 5.0)
FREEDOMS = st.one_of(st.just(math.inf), st.floats(0.8, 200.0))
RISKS = st.sampled_from([0.001, 0.01, 0.05, 0.1, 0.3, 0.5])


@given(value=VALUES, error=ERRORS, freedom=FREEDOMS, lower=st.floats(-4.0, 0.0), width=st.floats(0.0, 5.0))
def test_probabilities_are_those_of_the_library(value, error, freedom, lower, width):
    """Scaled and shifted Student's t, as scipy.stats has it, for any degrees of freedom."""
    upper = lower + width
    oracle = stats.t(freedom, loc=value, scale=error)
    given_ = {"lower": lower, "upper": upper, "degrees_of_freedom": freedom}
    assert conformance_probability(value, error, **given_) == pytest.approx(
        oracle.cdf(upper) - oracle.cdf(lower), abs=1e-12
    )
    assert beyond_probabilities(value, error, **given_) == pytest.approx(
        (oracle.cdf(lower), oracle.sf(upper)), abs=1e-12
    )


@given(value=VALUES, error=ERRORS, freedom=FREEDOMS, limit=st.floats(0.0, 4.0), more=st.floats(0.0, 1.0))
def test_wider_limits_are_never_harder_to_meet(value, error, freedom, limit, more):
    """The probability grows with the limit, is the same for both signs, and falls away from the middle."""
    p = conformance_probability(value, error, lower=-limit, upper=limit, degrees_of_freedom=freedom)
    wider = conformance_probability(value, error, lower=-limit - more, upper=limit + more, degrees_of_freedom=freedom)
    mirrored = conformance_probability(-value, error, lower=-limit, upper=limit, degrees_of_freedom=freedom)
    farther = conformance_probability(
        value + math.copysign(more, value), error, lower=-limit, upper=limit, degrees_of_freedom=freedom
    )
    assert wider >= p - 1e-15
    assert mirrored == pytest.approx(p, abs=1e-15)
    assert farther <= p + 1e-15


@given(value=VALUES, error=ERRORS, freedom=FREEDOMS, risk=RISKS, scale=st.sampled_from([1e-3, 25.4, 1e6]))
def test_the_unit_does_not_matter(value, error, freedom, risk, scale):
    """All numbers in another unit: the same probability, and the guard band in that unit."""
    one = conformance_probability(value, error, lower=-1.0, upper=1.0, degrees_of_freedom=freedom)
    two = conformance_probability(scale * value, scale * error, lower=-scale, upper=scale, degrees_of_freedom=freedom)
    assert two == pytest.approx(one, abs=1e-12)
    bands = [guard_band(s * error, risk, width=2.0 * s, degrees_of_freedom=freedom) / (s * error) for s in (1.0, scale)]
    assert bands[1] == pytest.approx(bands[0], abs=1e-9, nan_ok=True)


@given(error=ERRORS, freedom=FREEDOMS, risk=RISKS, width=st.one_of(st.just(math.inf), st.floats(0.1, 10.0)))
def test_at_the_guard_band_the_risk_is_the_stated_one(error, freedom, risk, width):
    """A value just as far inside conforms with 1 − risk; where there is none, not even the middle does."""
    band = guard_band(error, risk, width=width, degrees_of_freedom=freedom)
    limits = {"lower": 1.0 - width, "upper": 1.0, "degrees_of_freedom": freedom}
    if math.isnan(band):
        assert conformance_probability(1.0 - width / 2.0, error, **limits) < 1.0 - risk
    else:
        assert conformance_probability(1.0 - band, error, **limits) == pytest.approx(1.0 - risk, abs=1e-9)


@given(error=ERRORS, freedom=FREEDOMS, risk=st.sampled_from([0.01, 0.05, 0.3]), width=st.floats(0.1, 10.0))
def test_a_second_limit_never_narrows_the_guard_band(error, freedom, risk, width):
    """With one limit w is the quantile times u; a limit on the other side adds to it."""
    alone = guard_band(error, risk, degrees_of_freedom=freedom)
    assert alone == pytest.approx(error * stats.t.ppf(1.0 - risk, freedom))
    both = guard_band(error, risk, width=width, degrees_of_freedom=freedom)
    assume(not math.isnan(both))
    assert both >= alone - 1e-12


@pytest.mark.parametrize("freedom", [3.0, 12.0, math.inf])
def test_a_quantity_at_its_limit_is_released_as_seldom_as_stated(freedom):
    """Simulated: the truth lies on the limit, y scatters by σ, u is estimated: a share of at most the risk passes.

    Three standard deviations of 200 000 draws are 0.15 %.
    """
    rng = np.random.Generator(np.random.PCG64(7))
    draws, sigma, limit, risk = 200_000, 0.01, 0.5, 0.05
    y = rng.normal(limit, sigma, draws)
    u = sigma if math.isinf(freedom) else sigma * np.sqrt(rng.chisquare(freedom, draws) / freedom)
    factor = guard_band(1.0, risk, degrees_of_freedom=freedom)
    assert np.mean(y <= limit - factor * u) == pytest.approx(risk, abs=0.0015)
    assert np.mean(y <= limit) == pytest.approx(0.5, abs=0.0035)  # a bare comparison: simple acceptance


@given(
    mean=st.floats(-1.0, 1.0),
    sd=st.floats(0.1, 2.0),
    error=st.floats(0.02, 1.0),
    inside=st.floats(-0.3, 0.5),
    limits=st.sampled_from([(-1.0, 1.0), (-math.inf, 1.0), (-1.0, math.inf)]),
)
def test_global_risks_are_those_of_the_bivariate_normal(mean, sd, error, inside, limits):
    """Truth and value are jointly normal, so the risks are rectangles of that distribution (scipy's, by Genz)."""
    far = 60.0
    lower, upper = limits
    joint = stats.multivariate_normal([mean, mean], [[sd**2, sd**2], [sd**2, sd**2 + error**2]])

    def mass(truth, seen):
        one, two = (np.clip(pair, -far, far) for pair in (truth, seen))
        corners = [(one[i], two[j], (-1) ** (i + j)) for i in (0, 1) for j in (0, 1)]
        return sum(sign * joint.cdf([a, b]) for a, b, sign in corners)

    seen = (lower + inside, upper - inside)
    good = mass((lower, upper), seen)
    accepted = mass((-far, far), seen)
    risks = global_risks(mean, sd, error, lower=lower, upper=upper, inside=inside)
    assert risks.accepted == pytest.approx(accepted, abs=2e-5)
    assert risks.consumer == pytest.approx(accepted - good, abs=2e-5)
    assert risks.producer == pytest.approx(mass((lower, upper), (-far, far)) - good, abs=2e-5)


def test_global_risks_agree_with_drawing_items():
    """A million items made and measured: the shares wrongly accepted and refused, within three standard deviations."""
    rng = np.random.Generator(np.random.PCG64(106))
    n, mean, sd, error, limit, inside = 1_000_000, 0.01, 0.03, 0.012, 0.05, 0.02
    truth = rng.normal(mean, sd, n)
    passes = np.abs(truth + rng.normal(0.0, error, n)) <= limit - inside
    good = np.abs(truth) <= limit
    risks = global_risks(mean, sd, error, lower=-limit, upper=limit, inside=inside)
    for share, found in (
        (np.mean(passes & ~good), risks.consumer),
        (np.mean(~passes & good), risks.producer),
        (np.mean(passes), risks.accepted),
    ):
        assert abs(share - found) <= 3.0 * math.sqrt(found * (1.0 - found) / n)


@given(sd=st.floats(0.1, 2.0), error=st.floats(0.05, 1.0), inside=st.floats(0.0, 0.4), more=st.floats(0.01, 0.5))
def test_a_wider_guard_band_moves_risk_from_consumer_to_producer(sd, error, inside, more):
    """The two risks trade against each other, whatever the product."""
    narrow, wide = (
        global_risks(0.2, sd, error, lower=-1.0, upper=1.0, inside=band) for band in (inside, inside + more)
    )
    assert wide.consumer <= narrow.consumer + 1e-12
    assert wide.producer >= narrow.producer - 1e-12


def test_a_band_that_leaves_nothing_accepts_nothing():
    """With guard bands that meet no consumer is at risk and every good item is refused."""
    risks = global_risks(0.0, 1.0, 0.1, lower=-1.0, upper=1.0, inside=1.0)
    assert (risks.consumer, risks.accepted) == (0.0, 0.0)
    assert risks.producer == pytest.approx(stats.norm.cdf(1.0) - stats.norm.cdf(-1.0))


def test_exact_and_unknown_values_are_told_apart():
    """No uncertainty is a comparison with the limits included; an infinite one, or no value, is no knowledge at all."""
    assert [conformance_probability(v, 0.0, lower=-1.0, upper=1.0) for v in (-1.0, 1.0, 1.1)] == [1.0, 1.0, 0.0]
    assert math.isnan(conformance_probability(0.0, math.inf, lower=-1.0, upper=1.0))
    assert math.isnan(conformance_probability(math.nan, 0.1, upper=1.0))
    assert guard_band(0.0, 0.05, width=1.0) == 0.0
    assert math.isnan(guard_band(math.inf, 0.05))


@given(value=VALUES, error=ERRORS, freedom=FREEDOMS)
def test_an_interval_gives_back_its_uncertainty(value, error, freedom):
    """What made the 95 % interval is found again; of uneven halves the wider counts."""
    half = error * stats.t.ppf(0.975, freedom)
    found = standard_uncertainty_of(value, value - half / 2.0, value + half, degrees_of_freedom=freedom)
    assert found == pytest.approx(error)


@pytest.mark.parametrize(
    ("call", "where"),
    [
        (lambda: conformance_probability(0.0, -0.1), "standard_uncertainty"),
        (lambda: conformance_probability(0.0, math.nan), "standard_uncertainty"),
        (lambda: conformance_probability(0.0, 0.1, degrees_of_freedom=0.0), "degrees_of_freedom"),
        (lambda: conformance_probability(0.0, 0.1, degrees_of_freedom=math.nan), "degrees_of_freedom"),
        (lambda: conformance_probability(0.0, 0.1, lower=1.0, upper=0.0), "lower"),
        (lambda: conformance_probability(0.0, 0.1, lower=math.nan), "lower"),
        (lambda: guard_band(0.1, 0.0), "risk"),
        (lambda: guard_band(0.1, 0.6), "risk"),
        (lambda: guard_band(0.1, math.nan), "risk"),
        (lambda: guard_band(0.1, 0.05, width=0.0), "width"),
        (lambda: guard_band(-0.1, 0.05), "standard_uncertainty"),
        (lambda: global_risks(0.0, 0.0, 0.1, upper=1.0), "sd"),
        (lambda: global_risks(0.0, 1.0, math.inf, upper=1.0), "standard_uncertainty"),
        (lambda: global_risks(0.0, 1.0, 0.1, lower=1.0, upper=1.0), "lower"),
    ],
)
def test_impossible_arguments_are_named(call, where):
    """Each is refused with its name, the rule, the value and the mend."""
    with pytest.raises(ArgumentError, match=rf"^{where}: must .*, got .*\. "):
        call()
