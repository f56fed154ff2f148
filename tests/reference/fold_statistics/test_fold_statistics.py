"""The Rayleigh test and the H-test against published values."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from wideroll.repeats import h_test, rayleigh_test


@pytest.fixture(scope="module")
def values():
    """(quantity, argument) → value, as issued."""
    lines = (Path(__file__).parent / "values.csv").read_text().splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {(row["quantity"], row["argument"]): float(row["value"]) for row in rows}


def test_rayleigh_worked_example(values):
    """Statistic and probability agree to all digits issued."""
    found = rayleigh_test(np.array([130.0, 90.0, 0.0, 145.0]) / 360.0)
    assert found.statistic == pytest.approx(values["rayleigh_z", "130 90 0 145"], abs=5e-7)
    assert found.probability == pytest.approx(values["rayleigh_p", "130 90 0 145"], abs=5e-8)


def test_rayleigh_tends_to_the_exponential():
    """With 50 phases or more the probability is e^−z."""
    found = rayleigh_test(np.linspace(0.0, 0.8, 60))
    assert found.probability == pytest.approx(math.exp(-found.statistic), rel=1e-12)


@pytest.mark.parametrize("h", ["10", "23.03"])
def test_h_probability(values, h):
    """The probability of a statistic H agrees to the digits issued."""
    found = h_test_with_probability(float(h))
    assert found == pytest.approx(values["h_2010_p", h], rel=5e-4)


def test_h_probability_is_near_the_older_fit(values):
    """The fit of 1989, valid up to H = 23, differs by less than 6 %."""
    assert h_test_with_probability(23.0) == pytest.approx(values["h_1989_p", "23"], rel=0.06)


def h_test_with_probability(h: float) -> float:
    """Probability that the test gives for phases whose statistic, brought to H, it reports."""
    found = h_test(np.tile(np.linspace(0.0, 0.3, 7), 3))
    return float(found.probability ** (h / found.statistic))


def test_h_statistic_is_the_greatest_of_its_sums():
    """H of a dozen phases equals the definition written out with sines and cosines."""
    phases = np.random.default_rng(8).random(12)
    sums = [
        2.0
        / 12
        * sum(sum(f(2 * math.pi * k * x) for x in phases) ** 2 for k in range(1, m + 1) for f in (math.cos, math.sin))
        for m in range(1, 21)
    ]
    assert h_test(phases).statistic == pytest.approx(max(z - 4 * m + 4 for m, z in enumerate(sums, start=1)), abs=1e-9)


def test_even_phases_follow_the_stated_distribution():
    """Of 4,000 sets of 100 phases without preference, the share beyond H = 5 and H = 10 is e^(−0.4 H) within chance."""
    rng = np.random.default_rng(9)
    h = np.array([h_test(rng.random(100)).statistic for _ in range(4000)])
    for limit in (5.0, 10.0):
        expected = math.exp(-0.4 * limit)
        assert np.mean(h > limit) == pytest.approx(expected, abs=4.0 * math.sqrt(expected / 4000))
