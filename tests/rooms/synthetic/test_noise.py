"""The noise is what a threshold at six times its size relies on."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from wideroll.synthetic import WebRecipe, make_web
from wideroll.synthetic.noise import THRESHOLD, draw_far, lay_noise, mix, normal_tables

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


@pytest.fixture(scope="module")
def normal():
    """The tables that noise of 0.02 is drawn from."""
    return normal_tables(0.02)


def _share_of_sums_beyond(normal, limit):
    """Exactly, over all 2^32 pairs of table entries."""
    halves = normal.halves.astype(np.float64)
    return (halves.size - np.searchsorted(halves, limit - halves, side="right")).sum() / 2.0**32


@pytest.mark.parametrize("limit", [-3.6, -3.0, -1.0, 0.1, 1.0, 2.0, 3.0902, 3.5])
def test_sums_below_the_threshold_are_a_normals(normal, limit):
    """Over all pairs of table entries, the share beyond each limit is the normal's to half a percent."""
    assert _share_of_sums_beyond(normal, limit) == pytest.approx(norm.sf(limit), rel=0.005)


@pytest.mark.parametrize("share", [1e-4, 1e-5, 1e-6, 1e-7, 1e-9, 1e-11, norm.sf(7.5), norm.sf(9.0)])
def test_the_tail_is_a_normals_out_to_nine_times_the_noise(normal, share):
    """The bits that leave a given share of all pixels further out give the normal's quantile of it to 0.0001."""
    beyond = _share_of_sums_beyond(normal, THRESHOLD)
    bits = np.uint64(share / beyond * 2.0**64)
    assert draw_far(bits, normal) == pytest.approx(norm.isf(share), abs=1e-4)


def test_the_tail_starts_where_the_sums_end(normal):
    """Between the last sum that is kept and the first number of the tail nothing is missing: a thousandth and a bit."""
    first = draw_far(np.uint64(2**64 - 1), normal)
    assert THRESHOLD <= first < THRESHOLD + 0.002
    assert _share_of_sums_beyond(normal, THRESHOLD) == pytest.approx(norm.sf(first), rel=1e-6)
    assert draw_far(np.uint64(0), normal) > 9.9


def test_a_line_is_that_of_the_slow_reading_of_its_rule(normal):
    """Pixel by pixel in plain numbers: the hash, the sum, and beyond the threshold the tail, give the same counts."""
    columns, word = 20_000, 0xFFFFFFFF
    for line in range(3):
        signal = np.linspace(50.0, 200.0, columns).astype(np.float32)
        key = np.uint64(mix(77, line))
        counts = np.empty(columns, dtype=np.uint8)
        lay_noise(signal, key, normal, counts)
        x = (np.arange(columns, dtype=np.uint64) * 0x9E3779B1 + (int(key) & word)) & word
        x = ((x ^ (x >> 16)) * 0x7FEB352D) & word
        x = ((x ^ (x >> 15)) + (int(key) >> 32)) & word
        x = (x * 0x846CA68B) & word
        x ^= x >> 16
        one, other = normal.halves[x & 0xFFFF].astype(float), normal.halves[x >> 16].astype(float)
        departure = one + other
        far = np.flatnonzero(np.abs(departure) > THRESHOLD)
        assert len(far) > 0
        departure[far] = [math.copysign(draw_far(np.uint64(mix(key, n)), normal), departure[n]) for n in far.tolist()]
        expected = np.clip(signal * (1.0 + 0.02 * departure) + 0.5, 0.0, 255.0)
        # Single precision may round the other way where the count is about to change.
        clear = np.abs(expected - np.round(expected)) > 1e-3
        assert np.array_equal(counts[clear], expected[clear].astype(np.uint8))
        assert clear.mean() > 0.99


@pytest.mark.parametrize("share", [1e-3, 1e-4, 1e-5, 1e-6, 1e-7])
def test_a_hundred_million_pixels_have_the_tails_of_a_normal(counted, share):
    """As many pixels lie beyond the quantile of a share, on both sides, as should, to four standard errors."""
    counts = math.ceil(norm.isf(share) * LEVEL * NOISE)
    middle = round(LEVEL)
    found = counted[middle + counts :].sum() + counted[: middle - counts + 1].sum()
    expected = 2.0 * counted.sum() * norm.sf((counts - 0.5) / (LEVEL * NOISE))
    assert found == pytest.approx(expected, abs=4.0 * math.sqrt(expected))


@pytest.fixture(scope="module")
def counted():
    """How many of a hundred million pixels have each count."""
    web = make_web(replace(FLAT, length_m=15.0))
    found = np.zeros(256, dtype=np.int64)
    for start in range(0, web.shape[0], 500):
        found += np.bincount(web.rows(start, start + 500).ravel(), minlength=256)
    return found
