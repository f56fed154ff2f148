"""The sum over chains, and the most likely one, against all chains written out one by one."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wideroll.repeats.chain import BURST, LONG, MOST_CROWDED, PRINTS, Gait, LaneMarks, chain_evidence, print_odds
from wideroll.repeats.path import most_likely_chain

WIDEST = 3.5


def hidden(start: float, step: float, between: int, gaps) -> int:
    """Turns after a print that fall where nobody looked, one by one; none so near a border that rounding decides."""
    turns = start + step * np.arange(1, between + 1)
    assume(not gaps.size or np.abs(turns[:, None] - gaps.ravel()).min(initial=1.0) > 1e-9)
    return sum(any(a <= start + k * step < b for a, b in gaps) for k in range(1, between + 1))


def prints_of(kind: int, count: int, turns: float) -> float:
    """Marks of a lane that a trial takes for prints: all that the web has room for, or a burst."""
    most = min(MOST_CROWDED * count, PRINTS[kind] * turns)
    return most if kind < LONG else min(most, BURST)


def log_weight(chain, lane: LaneMarks, gait: Gait, spacing: float, chance: float, prints: float | None = None) -> float:
    """Log likelihood ratio of one chain of rows, straight from the model's words."""
    turns = lane.seen_m / spacing
    turn = [min(int(lane.seen[row] * (1.0 / spacing)), int(turns)) for row in chain]
    count = len(lane.along)
    thinner = count / (count - (min(MOST_CROWDED * count, chance * turns) if prints is None else prints))

    def end(beyond: int) -> float:
        between = (1.0 - (1.0 - chance) ** (beyond + 1)) / (chance * (turns + 1.0))
        return 0.5 * (1.0 - chance) ** beyond + 0.5 * between

    weight = end(turn[0]) * end(int(turns) - turn[-1])
    for row in chain:
        weight *= chance / spacing * lane.rarity[row] * thinner
    for (i, j), (ti, tj) in zip(itertools.pairwise(chain), itertools.pairwise(turn), strict=True):
        if (lane.seen[j] - lane.seen[i]) / spacing > gait.reach or j - i > gait.most_links:
            weight *= (1.0 - chance) ** (tj - ti)
            continue
        gap = lane.along[j] - lane.along[i]
        m = math.floor(gap / spacing + 0.5)
        v = 2 * gait.jitter_m**2 + spacing**2 * (m * gait.wander**2 + m * m * gait.drift**2)
        off = gap - m * spacing
        if m < 1 or off * off > WIDEST**2 * v:
            return -math.inf
        missed = m - 1 - hidden(lane.along[i], gap / m, m - 1, lane.gaps)
        weight *= spacing * math.exp(-off * off / (2 * v)) / math.sqrt(2 * math.pi * v) * (1.0 - chance) ** missed
    return math.log(weight)


def all_chains(count: int):
    """Every way to choose prints among the marks."""
    return itertools.chain.from_iterable(itertools.combinations(range(count), size) for size in range(1, count + 1))


def norm(count: int, prints: float) -> float:
    """Log of the greatest mean ratio over scattered marks."""
    return math.lgamma(count + 1) - math.lgamma(count - prints + 1) - prints * math.log(count - prints)


@st.composite
def lanes(draw):
    """A lane of a few marks on 12 m, with or without a stretch that nobody looked at."""
    gap = draw(st.sampled_from([None, (4.0, 7.0), (1.0, 1.5)]))
    places = sorted(draw(st.lists(st.floats(0.0, 12.0), min_size=1, max_size=7, unique=True)))
    along = np.array([s for s in places if gap is None or not gap[0] < s < gap[1]] or [0.5])
    gaps = np.empty((0, 2)) if gap is None else np.array([gap])
    missing = 0.0 if gap is None else gap[1] - gap[0]
    seen = along - (0.0 if gap is None else missing * (along >= gap[1]))
    rarity = draw(st.floats(0.5, 5.0)) * np.linspace(1.0, 1.5, along.size)
    return LaneMarks(along=along, seen=seen, rarity=rarity, gaps=gaps, seen_m=12.0 - missing)


def regular(reach: int, most_links: int) -> Gait:
    """A gait loose enough that marks thrown down at random link often."""
    return Gait(0.08, 0.01, 0.005, reach, most_links, *print_odds(200))


@settings(max_examples=150, deadline=None)
@given(lane=lanes(), spacing=st.floats(0.3, 2.5), reach=st.sampled_from([4, 80]), most_links=st.sampled_from([2, 60]))
def test_evidence_is_the_sum_over_all_chains(lane, spacing, reach, most_links):
    """The forward pass gives the sum over every chain written out, at each print probability."""
    gait = regular(reach, most_links)
    found = chain_evidence(lane, gait, np.array([spacing]))[0]
    count = len(lane.along)
    for kind, (chance, log_ratio) in enumerate(zip(PRINTS, found, strict=True)):
        prints = prints_of(kind, count, lane.seen_m / spacing)
        ratios = [math.exp(log_weight(c, lane, gait, spacing, chance, prints)) for c in all_chains(count)]
        expected = math.log(sum(ratios)) - norm(count, prints)
        assert log_ratio == pytest.approx(expected, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(lane=lanes(), spacing=st.floats(0.3, 2.5), reach=st.sampled_from([4, 80]), chance=st.sampled_from(PRINTS))
def test_most_likely_chain_is_the_best_of_all(lane, spacing, reach, chance):
    """No chain written out is more likely than the one found, and its turns follow from its gaps."""
    gait = regular(reach, 60)
    chain = most_likely_chain(lane, gait, spacing, chance)
    best = max(log_weight(c, lane, gait, spacing, chance) for c in all_chains(len(lane.along)))
    assert log_weight(tuple(chain.rows.tolist()), lane, gait, spacing, chance) == pytest.approx(best, abs=1e-9)
    gaps = np.diff(lane.along[chain.rows]) / spacing
    assert np.all(np.diff(chain.turns) == np.maximum(np.round(gaps), 1))
    assert chain.could_print <= chain.turns[-1]


@pytest.mark.parametrize("count", [6, 20, 60])
def test_ratio_averages_at_most_one_over_scattered_marks(count):
    """Over lanes of marks thrown down at random the likelihood ratio averages no more than 1, whatever their number."""
    rng = np.random.default_rng(20)
    spacings = np.geomspace(0.2, 2.0, 12)
    gait = Gait(0.003, 0.001, 0.0003, 80, 60, *print_odds(300))
    ratios = []
    for _ in range(1500):
        along = np.sort(rng.uniform(0.0, 20.0, count))
        lane = LaneMarks(along, along, np.full(count, 20.0 / count), np.empty((0, 2)), 20.0)
        ratios.append(np.exp(chain_evidence(lane, gait, spacings)))
    assert np.mean(ratios) < 1.05
    assert np.mean(np.mean(ratios, axis=(1, 2)) > 20.0) < 1.0 / 20.0


def test_long_chains_stay_within_range():
    """A series of thousands of prints gives a finite log ratio, about the same for each print it holds."""
    gait = Gait(0.003, 0.001, 0.0003, 80, 60, *print_odds(9000))
    logs = []
    for turns in (1000, 4000):
        along = 0.1 + 0.5 * np.arange(turns)
        length = 0.5 * turns
        lane = LaneMarks(along, along, np.full(turns, 0.5), np.empty((0, 2)), length)
        logs.append(chain_evidence(lane, gait, np.array([0.5]))[0].max())
    assert np.isfinite(logs).all()
    assert logs[1] / logs[0] == pytest.approx(4.0, rel=0.01)
