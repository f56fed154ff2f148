"""Averages and sums see small lasting changes that single values hide."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.control import cusum_chart, ewma_chart, freeze_values, individuals_chart
from wideroll.errors import ArgumentError

_KNOWN = replace(freeze_values([0.0, 1.0], labels=["1", "2"], name="given"), centre=0.0, sigma=1.0)
_VALUES = st.lists(st.floats(-5, 5), min_size=1, max_size=40)


def _passed(chart):
    return [one.index for one in chart.breaks]


@given(values=_VALUES, weight=st.floats(0.01, 1.0))
def test_an_average_is_the_weighted_sum_of_all_before(values, weight):
    """Each average is Σ λ(1 − λ)ᵏ x, as by the definition, and its limit has the variance of that sum."""
    chart = ewma_chart(values, weight=weight, frozen=_KNOWN)
    count = len(values)
    shares = weight * (1.0 - weight) ** np.arange(count)
    assert chart.points[-1] == pytest.approx(float(shares @ np.array(values)[::-1]), abs=1e-9)
    assert chart.each[-1].sigma == pytest.approx(float(np.sqrt(np.sum(shares**2))), rel=1e-9)


@given(values=st.lists(st.floats(-5, 5), min_size=2, max_size=20))
def test_a_weight_of_one_is_the_chart_of_individuals(values):
    """With all weight on the newest value limits and points are those of single values."""
    smooth, plain = ewma_chart(values, weight=1.0), individuals_chart(values)
    assert smooth.points == pytest.approx(plain.points, abs=1e-12)
    assert smooth.limits.high == pytest.approx(plain.limits.high)
    assert {one.high for one in smooth.each} == {smooth.limits.high}


def test_limits_widen_to_where_they_settle():
    """The first limit is λ times that of a single value; later ones grow towards the settled limits."""
    chart = ewma_chart([0.0] * 60, weight=0.2, frozen=_KNOWN)
    highs = [one.high for one in chart.each]
    assert highs[0] == pytest.approx(0.6)
    assert highs == sorted(highs)
    assert highs[-1] == pytest.approx(chart.limits.high)


def test_a_step_of_one_sigma_is_seen_sooner_than_by_single_values():
    """Over 100 series the average and the sum signal in fewer points than the limits of single values do."""
    generator = np.random.Generator(np.random.PCG64(8))
    runs = {"single": [], "average": [], "sum": []}
    for _ in range(100):
        values = generator.normal(1.0, 1.0, 200).tolist()
        single = [one.index for one in individuals_chart(values, frozen=_KNOWN).breaks if "one point" in one.rule]
        runs["single"].append((single or [200])[0])
        runs["average"].append(_passed(ewma_chart(values, frozen=_KNOWN))[0])
        runs["sum"].append(_passed(cusum_chart(values, frozen=_KNOWN))[0])
    assert np.mean(runs["average"]) < 0.5 * np.mean(runs["single"])
    assert np.mean(runs["sum"]) < 0.5 * np.mean(runs["single"])


@given(values=_VALUES, slack=st.floats(0.0, 2.0), head_start=st.floats(0.0, 0.9))
def test_sums_are_the_greatest_of_all_tails(values, slack, head_start):
    """Each sum is the greatest excess of any stretch that ends there, of the head start and all, or 0."""
    chart = cusum_chart(values, slack=slack, head_start=head_start, frozen=_KNOWN)
    for sign, sums in ((1.0, chart.above), (-1.0, chart.below)):
        excess = sign * np.array(values) - slack
        for end in range(len(values)):
            tails = [float(excess[start : end + 1].sum()) for start in range(end + 1)]
            whole = 5.0 * head_start + float(excess[: end + 1].sum())
            assert sums[end] == pytest.approx(max(0.0, whole, *tails), abs=1e-9)


@given(values=_VALUES)
def test_sums_of_mirrored_values_change_sides(values):
    """Upside down, what was above is below, and signals say the other direction and the mirrored mean."""
    one, other = (cusum_chart(side, frozen=_KNOWN) for side in (values, [-value for value in values]))
    assert one.above == other.below
    assert {(s.index, s.upwards, s.since, s.mean) for s in one.signals} == {
        (s.index, not s.upwards, s.since, -s.mean) for s in other.signals
    }


def test_a_signal_says_when_and_how_far():
    """A clean step is dated to its first point, with its mean, once; every point beyond is named."""
    chart = cusum_chart([0.0] * 10 + [2.0] * 6, frozen=_KNOWN)
    (signal,) = chart.signals
    assert (signal.index, signal.since, signal.mean, signal.upwards) == (13, 10, 2.0, True)
    assert _passed(chart) == [13, 14, 15]
    assert chart.breaks[0].points == (10, 11, 12, 13)


def test_a_head_start_adds_nothing_to_the_mean():
    """With a head start a step at the beginning signals sooner, and the mean it tells is still right."""
    plain = cusum_chart([2.0] * 6, frozen=_KNOWN).signals[0]
    sooner = cusum_chart([2.0] * 6, head_start=0.5, frozen=_KNOWN).signals[0]
    assert sooner.index < plain.index
    assert sooner.mean == plain.mean == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: ewma_chart([1.0, 2.0], weight=0.0), "weight: must lie above 0"),
        (lambda: ewma_chart([1.0, 2.0], width=0.0), "width: must be greater than 0"),
        (lambda: ewma_chart([1.0, 2.0], target=float("nan")), "target"),
        (lambda: cusum_chart([1.0, 2.0], slack=-0.1), "slack: in sigma"),
        (lambda: cusum_chart([1.0, 2.0], decision=0.0), "decision: in sigma"),
        (lambda: cusum_chart([1.0, 2.0], head_start=1.0), "head_start: a share"),
        (lambda: cusum_chart([1.0]), "at least 2 points"),
    ],
)
def test_impossible_settings_are_refused(call, says):
    """The message names the setting and its rule."""
    with pytest.raises(ArgumentError, match=says):
        call()
