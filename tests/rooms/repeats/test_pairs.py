"""The ranking of trial spacings by pairs of marks: against all pairs counted one by one, and what it leaves out."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.repeats import SeriesSettings
from wideroll.repeats.chain import LaneMarks
from wideroll.repeats.pairs import lay_pairs, rank_spacings
from wideroll.repeats.weigh import by_spacing, gaits, log_sum

BIN_M = 0.001
SHARES = (0.07, 0.35)


def ranked(along, spacing: float, gait) -> float:
    """The rank of one spacing with one gait, straight from the words: whole bins, one pair after the other."""
    distances = [int((b - a) / BIN_M) for n, a in enumerate(along) for b in along[n + 1 :]]
    best = 0.0
    reach = min(60.5 * spacing, along[-1] - along[0])
    for share in SHARES:
        total = 0.0
        for m in range(1, 61):
            if (m + 0.5) * spacing / BIN_M >= int(reach / BIN_M) + 1:
                break
            sd = math.sqrt(2.0 * (gait.jitter_m / spacing) ** 2 + m * (gait.wander**2 + m * gait.drift**2))
            if 3.0 * sd > 0.5:
                continue
            half, middle = np.float32(1.5 * sd * spacing), m * spacing
            low, high = int((middle - half) / BIN_M + 0.5), int((middle + half) / BIN_M + 1.5)
            turn = [int((m - 0.5) * spacing / BIN_M), int((m + 0.5) * spacing / BIN_M)]
            within = sum(low <= d < high for d in distances)
            whole = sum(turn[0] <= d < turn[1] for d in distances)
            total += within * math.log1p(share**2 / (3.0 * sd)) - share**2 * whole
        best = max(best, total)
    return best


@given(
    places=st.lists(st.floats(0.0, 20.0), min_size=2, max_size=12, unique=True),
    spacing=st.floats(0.2, 1.5),
    kind=st.integers(0, 2),
)
def test_rank_is_the_sum_over_all_pairs(places, spacing, kind):
    """Counting by a table of distances gives what counting pair by pair gives."""
    gait = gaits(SeriesSettings(), 100.0, 0.0004)[kind]
    along = np.sort(np.array(places))
    found = rank_spacings(along, lay_pairs(np.array([spacing]), (gait,)))[0]
    assert found == pytest.approx(ranked(along, spacing, gait), abs=1e-3)


def test_one_mark_has_no_pairs():
    """Nothing is ranked without a pair."""
    pairs = lay_pairs(np.array([0.5, 1.0]), gaits(SeriesSettings(), 100.0, 0.0004))
    assert rank_spacings(np.array([3.0]), pairs).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("chance", [0.1, 0.3, 0.8])
def test_best_spacing_by_chains_is_among_the_best_by_pairs(prints, dirt, together, chance):
    """What the full weighing finds best ranks among the first 30 of 2,000 by pairs."""
    settings = SeriesSettings()
    along, _ = together(prints(3, 0.7006, chance, 600.0), dirt(4, 300, 600.0))
    along = np.sort(along)
    spacings = np.geomspace(0.3, 1.5, 2000)
    regular = gaits(settings, 600.0 / 0.3, 0.0008)
    lane = lane_of(along, 600.0)
    full = log_sum(by_spacing(lane, regular[1], spacings), 1)
    rank = rank_spacings(along, lay_pairs(spacings, regular))
    assert np.sum(rank > rank[np.argmax(full)]) < 30


def lane_of(along, length_m):
    """A lane seen all along, its scattered marks even."""
    return LaneMarks(along, along, np.full(along.size, length_m / along.size), np.empty((0, 2)), length_m)
