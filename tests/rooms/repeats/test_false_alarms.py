"""Dirt that doesn't turn gives no series, even and uneven, on its own and in clusters."""

import numpy as np
import pytest

from wideroll.repeats import SeriesSettings, find_series
from wideroll.repeats.scattered import rarity_m

LENGTH_M = 30.0
ROLLS = 8
COARSE = SeriesSettings(false_alarm=0.05, spacing_step=0.001)


def even(rng):
    """The same density everywhere."""
    return rng.uniform(0.0, LENGTH_M, 200), rng.uniform(0.0, 60.0, 200)


def dirty_stretch(rng):
    """Two metres ten times as dirty as the rest."""
    along, across = even(rng)
    return np.concatenate((along, rng.uniform(11.0, 13.0, 130))), np.concatenate((across, rng.uniform(0.0, 60.0, 130)))


def dirty_place(rng):
    """One place across where 300 marks lie within five metres."""
    along, across = rng.uniform(0.0, LENGTH_M, 60), rng.uniform(0.0, 30.0, 60)
    return np.concatenate((along, rng.uniform(11.0, 16.0, 300))), np.concatenate((across, rng.uniform(20.0, 23.0, 300)))


def broken_streak(rng):
    """A streak seen as many marks at one place across, over half the roll."""
    along, across = even(rng)
    return np.concatenate((along, rng.uniform(10.0, 25.0, 40))), np.concatenate((across, np.full(40, 33.0)))


def clusters(rng):
    """Splashes of six marks within some centimetres."""
    centre = rng.uniform(0.5, LENGTH_M - 0.5, (40, 1)) + 0.1 * rng.standard_normal((40, 6))
    return centre.clip(0.0, LENGTH_M).ravel(), (rng.uniform(0.0, 60.0, (40, 1)) + rng.standard_normal((40, 6))).ravel()


@pytest.mark.parametrize("dirt", [even, dirty_stretch, dirty_place, broken_streak, clusters], ids=lambda d: d.__name__)
def test_dirt_alone_gives_no_series(dirt, rollers):
    """Eight rolls of dirt give at most one series where one in twenty is allowed, and none at one in a thousand."""
    found = []
    for roll in range(ROLLS):
        along, across = dirt(np.random.default_rng([17, roll]))
        found += list(find_series(along, across, length_m=LENGTH_M, rollers=rollers, settings=COARSE))
    assert len(found) <= 1
    assert all(series.false_alarm > 0.001 for series in found)


def test_density_of_even_dirt_is_the_mean():
    """Over even dirt the rarity lies about length / marks everywhere."""
    seen = np.sort(np.random.default_rng(3).uniform(0.0, 500.0, 250))
    rarity = rarity_m(seen, seen, 500.0, 3.0)
    assert np.mean(1.0 / rarity) == pytest.approx(0.5, rel=0.1)
    assert (rarity > 1.0).all()


def test_crowded_stretch_is_called_dense():
    """Thirty marks within a metre of one lane are dense there and nowhere else."""
    rng = np.random.default_rng(4)
    roll = np.sort(rng.uniform(0.0, 500.0, 2500))
    lane = np.sort(np.concatenate((roll[::10], rng.uniform(200.0, 201.0, 30))))
    density = 1.0 / rarity_m(lane, np.sort(np.concatenate((roll, lane))), 500.0, 3.0)
    crowded = (lane > 200.2) & (lane < 200.8)
    assert density[crowded].min() > 5.0
    assert np.median(density[crowded]) > 15.0
    assert density[np.abs(lane - 200.5) > 30.0].max() < 2.0


def test_a_series_is_not_its_own_background():
    """Marks at every turn are no denser than their mean, however near one another they lie."""
    lane = np.arange(0.1, 100.0, 0.25)
    assert rarity_m(lane, lane, 100.0, 3.0) == pytest.approx(0.25, rel=0.03)
