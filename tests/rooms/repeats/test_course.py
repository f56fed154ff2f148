"""The spacing from all members of a chain: against generalised least squares written out, and over many chains."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.repeats.course import filter_course, spacing_limits

SPACING = 0.7006
PRIOR = 0.02 * SPACING


def by_least_squares(along, turns, jitter: float, wander: float) -> tuple[float, float]:
    """Mean and standard deviation of the spacing, from the whole covariance at once; the first place tells the start.

    A place's error is its own jitter and the wander of all turns since the first; the prior of the spacing is one more
    observation.
    """
    since = (turns - turns[0]).astype(float)
    walk = (wander * SPACING) ** 2 * np.minimum.outer(since, since)
    covariance = np.zeros((along.size + 1, along.size + 1))
    covariance[:-1, :-1] = walk + jitter**2 * np.eye(along.size)
    covariance[-1, -1] = PRIOR**2
    design = np.zeros((along.size + 1, 2))
    design[:-1, 0], design[:-1, 1], design[-1, 1] = 1.0, since, 1.0
    weights = np.linalg.inv(covariance)
    posterior = np.linalg.inv(design.T @ weights @ design)
    mean = posterior @ design.T @ weights @ np.append(along, SPACING)
    return float(mean[1]), math.sqrt(posterior[1, 1])


@given(
    steps=st.lists(st.integers(1, 4), min_size=2, max_size=25),
    jitter=st.sampled_from([0.001, 0.003]),
    wander=st.sampled_from([0.0, 0.0005, 0.002]),
    seed=st.integers(0, 1000),
)
def test_filter_is_generalised_least_squares(steps, jitter, wander, seed):
    """Filtering from head to tail gives the estimate and the uncertainty of the whole covariance."""
    turns = np.concatenate(([0], np.cumsum(steps)))
    along = 3.0 + SPACING * turns + 0.003 * np.random.default_rng(seed).standard_normal(turns.size)
    _, mean, sd = filter_course(along, turns, SPACING, jitter, wander)
    assert (mean, sd) == pytest.approx(by_least_squares(along, turns, jitter, wander), rel=1e-6)


@pytest.mark.parametrize("wander", [0.0, 0.0005, 0.002])
def test_limits_hold_the_spacing(wander):
    """Of 200 chains of 40 prints the limits hold the spacing in nine of ten at least, without being told the wander."""
    held = []
    for seed in range(200):
        rng = np.random.default_rng([5, seed])
        places = 2.0 + np.cumsum(SPACING * (1.0 + wander * rng.standard_normal(60)))
        turns = np.sort(rng.choice(60, 40, replace=False))
        low, middle, high = spacing_limits(places[turns] + 0.003 * rng.standard_normal(40), turns, 0.701, 0.003)
        assert low < middle < high
        held.append(low <= SPACING <= high)
    assert np.mean(held) >= 0.9


def test_steady_roller_is_known_to_a_tenth_of_a_per_mille():
    """A hundred prints of a steady roller give its spacing within 0.1 mm: jitter doesn't add up from turn to turn."""
    rng = np.random.default_rng(3)
    turns = np.arange(100)
    low, _, high = spacing_limits(1.0 + SPACING * turns + 0.003 * rng.standard_normal(100), turns, SPACING, 0.003)
    assert high - low < 0.0004
    assert low < SPACING < high


def test_places_too_far_apart_tell_nothing():
    """Where no turn between two members is sure there is no answer, and for two members there is none either."""
    far = np.array([1.0, 1.0 + 300 * SPACING, 1.0 + 700 * SPACING])
    assert spacing_limits(far, np.array([0, 300, 700]), SPACING, 0.003) is None
    assert spacing_limits(far[:2], np.array([0, 300]), SPACING, 0.003) is None
