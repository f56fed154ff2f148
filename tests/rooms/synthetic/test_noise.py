"""The noise is what a threshold at six times its size relies on."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from wideroll.synthetic import WebRecipe, make_web

LEVEL, NOISE = 128.0, 0.16
FLAT = WebRecipe(
    length_m=0.6,
    web_width_mm=700.0,
    field_mm=600.0,
    datum_mm=-50.0,
    level=LEVEL,
    profile_ripple=0.0,
    noise=NOISE,
    line_gain=0.0,
    drift=0.0,
    edge_wander_mm=0.0,
    bead_mm=0.0,
    seed=5,
)
"""Nothing but noise, of 20 counts, so that six times it still fits the 8 bits and rounding hardly shows."""


@pytest.fixture(scope="module")
def departures():
    """Departures [along, across] in units of the noise."""
    return (make_web(FLAT).rows().astype(np.float64) - LEVEL) / (LEVEL * NOISE)


def test_noise_has_the_moments_of_a_normal(departures):
    """Mean, spread, skewness and kurtosis are those of a normal, to four standard errors."""
    n = departures.size
    rounding = 1.0 / (12.0 * (LEVEL * NOISE) ** 2)
    assert departures.mean() == pytest.approx(0.0, abs=4.0 / math.sqrt(n))
    assert departures.var() == pytest.approx(1.0 + rounding, abs=4.0 * math.sqrt(2.0 / n))
    standard = (departures - departures.mean()) / departures.std()
    assert (standard**3).mean() == pytest.approx(0.0, abs=4.0 * math.sqrt(6.0 / n))
    assert (standard**4).mean() == pytest.approx(3.0, abs=4.0 * math.sqrt(24.0 / n))


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("counts", [10, 20, 41, 61, 72, 82])
def test_noise_has_the_tails_of_a_normal(departures, counts, sign):
    """As many pixels lie further out than 0.5 to 4 times the noise as a normal has, to four standard errors."""
    beyond = (sign * departures * LEVEL * NOISE >= counts).sum()
    expected = departures.size * norm.sf((counts - 0.5) / (LEVEL * NOISE))
    assert beyond == pytest.approx(expected, abs=4.0 * math.sqrt(expected))


@pytest.mark.parametrize(
    ("along", "across"),
    [(0, 1), (0, 2), (0, 3), (0, 4), (0, 8), (0, 16), (1, 0), (2, 0), (3, 0), (1, 1), (1, -1), (1, 2), (2, -2), (3, 8)],
)
def test_neighbours_are_independent(departures, along, across):
    """Neither the departures of neighbours nor their squares are correlated, along or across."""
    lines, columns = departures.shape
    first = departures[: lines - along, max(0, -across) : columns - max(0, across)]
    second = departures[along:, max(0, across) : columns + min(0, across)]
    limit = 4.5 / math.sqrt(first.size)
    assert abs((first * second).mean()) < limit
    assert abs(((first**2 - 1.0) * (second**2 - 1.0)).mean()) / 2.0 < limit


def test_columns_and_lines_have_no_pattern_of_their_own(departures):
    """Means over columns and over lines scatter as independent noise does."""
    for axis in (0, 1):
        means = departures.mean(axis=axis) * math.sqrt(departures.shape[axis])
        assert means.var() == pytest.approx(1.0, abs=4.0 * math.sqrt(2.0 / means.size))
        assert np.abs(means).max() < 5.0


def test_webs_of_neighbouring_seeds_share_no_noise(departures):
    """Another seed gives noise that has nothing to do with the first, line by line and one line on."""
    other = (make_web(replace(FLAT, seed=6)).rows().astype(np.float64) - LEVEL) / (LEVEL * NOISE)
    limit = 4.5 / math.sqrt(departures.size)
    assert abs((departures * other).mean()) < limit
    assert abs((departures[1:] * other[:-1]).mean()) < limit


def test_pairs_of_neighbours_fill_the_plane_evenly(departures):
    """Taken as two numbers, neighbours across fall into 64 equally likely cells equally often (chi-squared)."""
    borders = norm.ppf(np.arange(1, 8) / 8.0)
    dithered = departures + (np.random.Generator(np.random.PCG64(1)).random(departures.shape) - 0.5) / (LEVEL * NOISE)
    cell = np.searchsorted(borders, dithered)
    seen = np.bincount((cell[:, :-1:2] * 8 + cell[:, 1::2]).ravel(), minlength=64)
    rows, columns = seen.reshape(8, 8).sum(axis=1), seen.reshape(8, 8).sum(axis=0)
    expected = np.outer(rows, columns) / seen.sum()
    # 49 degrees of freedom: mean 49, standard deviation √98.
    assert ((seen.reshape(8, 8) - expected) ** 2 / expected).sum() < 49.0 + 4.0 * math.sqrt(98.0)
