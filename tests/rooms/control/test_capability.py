"""Capability says how sure it is, and what makes it doubtful."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wideroll.control import capability, freeze_values, normality, tolerance_factor
from wideroll.errors import ArgumentError


def _normal(count, seed=1):
    return np.random.Generator(np.random.PCG64(seed)).normal(0.0, 1.0, count).tolist()


@pytest.mark.parametrize("count", [15, 40])
def test_intervals_hold_the_truth_as_often_as_they_say(count):
    """Of 500 samples from a known process about 90 % of the intervals hold each true index."""
    held = np.zeros(4)
    for seed in range(500):
        found = capability(_normal(count, seed), low=-4.0, high=3.0, confidence=0.9)
        truths = ((found.cp, 7 / 6), (found.cpk, 1.0), (found.pp, 7 / 6), (found.ppk, 1.0))
        held += [index.low <= truth <= index.high for index, truth in truths]
    assert (held / 500 > 0.86).all()
    assert (held / 500 < 0.95).all()


@given(
    values=st.lists(st.floats(-10, 10), min_size=3, max_size=20).filter(lambda one: np.ptp(one) > 0.1),
    shift=st.floats(-5, 5),
    scale=st.floats(0.1, 10),
)
def test_a_change_of_unit_changes_no_index(values, shift, scale):
    """Indices and intervals have no unit."""
    plain = capability(values, low=-12.0, high=15.0)
    limits = {"low": shift - 12.0 * scale, "high": shift + 15.0 * scale}
    other = capability([shift + scale * value for value in values], **limits)
    for name in ("cp", "cpk", "pp", "ppk"):
        for part in ("value", "low", "high"):
            one, two = (getattr(getattr(found, name), part) for found in (plain, other))
            assert two == pytest.approx(one, rel=1e-5, abs=1e-6)
    assert other.outside == plain.outside


def test_a_slow_drift_lowers_what_was_done_and_not_what_could_be():
    """Values that wander have a Ppk far below their Cpk, and are said not to be steady."""
    values = [value + 0.2 * place for place, value in enumerate(_normal(40))]
    found = capability(values, low=-8.0, high=16.0)
    assert found.ppk.value < 0.6 * found.cpk.value
    assert any(words.startswith("not steady") for words in found.cautions)


def test_one_limit_gives_no_width():
    """With only a highest value there is no Cp, and Cpk asks for the room to that limit."""
    found = capability(_normal(50), high=3.0)
    assert (found.cp, found.pp) == (None, None)
    assert found.ppk.value == pytest.approx((3.0 - found.mean) / (3.0 * found.overall))
    assert capability([-value for value in _normal(50)], low=-3.0).ppk.value == pytest.approx(found.ppk.value)


def test_what_is_not_normal_is_said():
    """A tail, two heaps and coarse readings are each named; normal values are not."""
    generator = np.random.Generator(np.random.PCG64(2))
    tail, heaps = (
        generator.exponential(size=200),
        np.concatenate([generator.normal(0, 1, 60), generator.normal(7, 1, 60)]),
    )
    coarse, heavy = np.round(generator.normal(0, 0.6, 200)), generator.standard_t(2, 300)
    said = {
        name: normality(values.tolist()).words
        for name, values in (("tail", tail), ("heaps", heaps), ("coarse", coarse))
    }
    assert said["tail"] == "they lean, with a tail to high values"
    assert said["heaps"] == "they lie in two heaps or spread evenly, and few far out"
    assert "so coarsely" in said["coarse"]
    assert normality(np.clip(heavy, -8, 8).tolist()).words
    assert normality((-tail).tolist()).words == "they lean, with a tail to low values"
    assert normality(_normal(200)).words == ""
    assert any("not normal" in words for words in capability(tail.tolist(), high=5.0).cautions)


@pytest.mark.parametrize("count", [8, 30, 200])
def test_normal_values_fail_the_test_as_often_as_they_should(count):
    """Of 1500 normal samples about 5 % have a p-value below 5 %."""
    low = np.mean([normality(_normal(count, seed)).p_value < 0.05 for seed in range(1500)])
    assert low == pytest.approx(0.05, abs=0.017)


@pytest.mark.filterwarnings("ignore:.*anderson.*:FutureWarning", "ignore:As of SciPy:FutureWarning")
def test_the_statistic_of_normality_is_scipys():
    """A² without the small-sample factor is scipy's."""
    values = _normal(40)
    found = normality(values).statistic / (1.0 + 0.75 / 40 + 2.25 / 1600)
    assert found == pytest.approx(stats.anderson(values).statistic, rel=1e-9)


def test_values_outside_are_counted_with_an_exact_interval():
    """Two of forty outside give Clopper and Pearson's 0.6 to 16.9 %, whatever the distribution."""
    found = capability([*_normal(38), 9.0, -9.0], low=-5.0, high=5.0)
    exact = stats.binomtest(2, 40).proportion_ci(0.95)
    assert found.outside == 2
    assert (found.outside_low, found.outside_high) == (pytest.approx(exact.low), pytest.approx(exact.high))
    assert capability(_normal(38), low=-9.0, high=9.0).outside_low == 0.0


def test_the_scatter_may_come_from_a_base_period():
    """With frozen limits Cp asks by their sigma, and steadiness by their limits."""
    frozen = replace(
        freeze_values(_normal(30), labels=[str(n) for n in range(30)], name="spring"), centre=5.0, sigma=1.0
    )
    found = capability(_normal(30), low=-6.0, high=6.0, frozen=frozen)
    assert found.cp.value == pytest.approx(2.0)
    assert any("control limits of spring" in words for words in found.cautions)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: capability([1.0, 1.0], low=0.0, high=2.0), "at least two that differ"),
        (lambda: capability([1.0, 2.0], low=2.0, high=0.0), "low: must lie below high"),
        (lambda: capability([1.0, 2.0]), "at least one limit"),
        (lambda: capability([1.0, 2.0], low=0.0, high=2.0, confidence=1.0), "confidence"),
        (lambda: normality([1.0] * 9), "at least 8 that differ"),
        (lambda: tolerance_factor(1, coverage=0.9), "count: at least 2"),
        (lambda: tolerance_factor(5, coverage=1.0), "coverage: must lie"),
    ],
)
def test_impossible_questions_are_refused(call, says):
    """The message names the argument, the rule and the value."""
    with pytest.raises(ArgumentError, match=says):
        call()


@pytest.mark.parametrize("sides", ["one", "two"])
def test_tolerance_intervals_cover_as_often_as_they_say(sides):
    """Of 4000 samples of 12 values about 90 % of the intervals hold 95 % of the process."""
    factor = tolerance_factor(12, coverage=0.95, confidence=0.9, sides=sides)
    values = np.random.Generator(np.random.PCG64(5)).normal(size=(4000, 12))
    mean, sigma = values.mean(axis=1), values.std(axis=1, ddof=1)
    low = stats.norm.cdf(mean - factor * sigma) if sides == "two" else 0.0
    held = np.mean(stats.norm.cdf(mean + factor * sigma) - low >= 0.95)
    assert held == pytest.approx(0.9, abs=0.015)
