"""Lanes worth a search while marks still come."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.repeats import pick_lanes


def prints(rng, spacing, chance, turns):
    """Where a roller prints, with jitter and slip."""
    places = np.cumsum(spacing * (1.0 + 0.001 * rng.standard_normal(turns)))
    places = places + 0.003 * rng.standard_normal(turns)
    return places[rng.random(turns) < chance]


@pytest.mark.parametrize("spacing", [0.25, 0.7, 1.9])
def test_prints_are_picked_before_they_could_be_sure(spacing):
    """Of a roller that prints six turns of ten, the lane is picked by the time of ten prints, nearly always."""
    picked = 0
    for seed in range(50):
        rng = np.random.default_rng(seed)
        along = prints(rng, spacing, 0.6, 40)[:10]
        dirt = rng.uniform(0.0, along[-1], rng.poisson(0.5 * along[-1]))
        places = np.concatenate((along, dirt))
        across = np.full(places.size, 301.0)
        picked += pick_lanes(places, across, since_m=along[6]).any()
    assert picked >= 48


def test_dirt_is_left_out():
    """Of lanes with scattered marks, a few in a hundred are picked: the time for searches is kept."""
    rng = np.random.default_rng(5)
    along, across = rng.uniform(0.0, 60.0, 6000), rng.uniform(0.0, 1200.0, 6000)
    picked = pick_lanes(along, across, since_m=58.0)
    assert picked.mean() < 0.1


@given(order=st.permutations(range(12)), shift=st.floats(0.0, 500.0))
def test_order_and_place_along_do_not_matter(order, shift):
    """Marks may come in any order, and a roll may be looked at anywhere."""
    along = np.array([0.3, 1.0, 1.7, 2.4, 3.1, 3.8, 4.5, 5.2, 0.9, 2.2, 2.9, 4.1])
    across = np.array([9.0] * 8 + [400.0] * 4)
    picked = pick_lanes(along[list(order)] + shift, across[list(order)], since_m=5.0 + shift)
    assert picked.tolist() == (across[list(order)] < 10.0).tolist()


def test_only_new_marks_ask():
    """A lane without a mark since the last look isn't searched again."""
    along = 0.3 + 0.7 * np.arange(20)
    picked = pick_lanes(along, np.full(20, 50.0), since_m=15.0)
    assert not picked.any()


def test_nothing_gives_nothing():
    """No marks, nothing picked."""
    assert pick_lanes(np.empty(0), np.empty(0), since_m=0.0).size == 0
