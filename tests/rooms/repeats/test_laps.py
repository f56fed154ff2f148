"""Lap prints: the sum over chains against chains written out, what is found, and what isn't."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as tried
from hypothesis import strategies as st
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from wideroll.errors import ArgumentError
from wideroll.repeats import Roller, SeriesKind, SeriesSettings, Winding, find_laps, find_series, settle_rivals
from wideroll.repeats.laps_chain import LAP_PRINTS, MOST_LAPS, STEP, LapLane, LapTrial, chain_of, lap_evidence
from wideroll.repeats.laps_chain import last_lap_odds as odds
from wideroll.repeats.laps_describe import lap_trial

WIDEST = 3.5
WINDING = Winding(thickness_mm=0.13, tolerance_mm=0.004, least_radius_mm=75.0, most_radius_mm=320.0)
LOOSE = LapTrial(0.05, 0.8, 1.5, 0.3, 0.02, 0.004, 0.0, np.array([1.0, -1.0]), odds())
NOWHERE = np.empty((0, 2))


def log_density(places, laps, sign, trial, width) -> float:
    """Log density of prints at these laps, lap 0 anywhere with density 1 and its length even over ``width``.

    The normal density of the places less the first one's, summed over a fine grid of lengths of lap 0.
    """
    laps = np.asarray(laps, dtype=float)
    steps, bends = np.diff(laps), np.diff(sign * laps**2)
    spread = trial.jitter_m**2 * (2.0 * np.eye(steps.size) - np.eye(steps.size, k=1) - np.eye(steps.size, k=-1))
    spread += trial.bend_sd_m**2 * np.outer(bends, bends)
    middle = (places[-1] - places[0]) / laps[-1] - sign * trial.bend_m * laps[-1]
    lengths = np.linspace(middle - 1.0, middle + 1.0, 1001)
    off = np.diff(places) - trial.bend_m * bends - lengths[:, None] * steps
    each = np.atleast_1d(multivariate_normal(cov=spread).logpdf(off))
    return float(logsumexp(each)) + math.log((lengths[1] - lengths[0]) / width)


def predicted(places, laps, sign, trial, lap) -> tuple[float, float]:
    """Place of a lap and its standard deviation with jitter, by least squares on the prints so far."""
    laps = np.asarray(laps, dtype=float)
    design = np.column_stack((np.ones(laps.size), laps, sign * laps**2)) / trial.jitter_m
    design = np.vstack((design, [0.0, 0.0, 1.0 / trial.bend_sd_m]))
    seen = np.concatenate((np.asarray(places) / trial.jitter_m, [trial.bend_m / trial.bend_sd_m]))
    spread = np.linalg.inv(design.T @ design)
    at = np.array([1.0, lap, sign * lap * lap])
    return float(at @ spread @ design.T @ seen), math.sqrt(at @ spread @ at + trial.jitter_m**2)


def is_followed(chain, laps, sign, lane, trial) -> bool:
    """Whether a chain takes, lap by lap after its second print, the mark nearest to each lap that is near enough."""
    along = lane.along
    for lap in range(laps[1] + 1, laps[-1] + 1):
        known = [k for k, one in enumerate(laps) if one < lap]
        place, deviation = predicted(along[[chain[k] for k in known]], [laps[k] for k in known], sign, trial, lap)
        later = [row for row in range(chain[known[-1]] + 1, along.size) if abs(along[row] - place) < WIDEST * deviation]
        taken = min(later, key=lambda row: abs(along[row] - place)) if later else None
        if taken != (chain[laps.index(lap)] if lap in laps else None) or place > lane.end_m:
            return False
    return True


def written_out(lane, trial) -> float:
    """The sum of the likelihood ratios of all chains of two or more marks, each written out, over all last laps."""
    total = 0.0
    count = lane.along.size
    subsets = itertools.chain.from_iterable(itertools.combinations(range(count), k) for k in range(2, count + 1))
    for chain in subsets:
        for steps in itertools.product(range(1, STEP + 1), repeat=len(chain) - 1):
            laps = [0, *itertools.accumulate(steps)]
            if laps[-1] > 10:  # more than lie on 5 m
                continue
            for sign in trial.signs.tolist():
                total += one_chain(chain, laps, sign, lane, trial)
    return total


def one_chain(chain, laps, sign, lane, trial) -> float:
    """The likelihood ratio of one chain, with every last lap that its silent laps allow."""
    places = lane.along[list(chain)]
    first = (places[1] - places[0]) / laps[1] - sign * trial.bend_m * laps[1]
    if laps[-1] >= MOST_LAPS or not trial.least_m <= first <= trial.most_m:
        return 0.0
    if not is_followed(chain, laps, sign, lane, trial):
        return 0.0
    width = trial.most_m - trial.least_m + 2.0 * trial.margin_m
    ratio = math.exp(log_density(places, laps, sign, trial, width)) / lane.seen_m * lane.rarity[list(chain)].prod()
    ended = 0.0
    for last in range(laps[-1], MOST_LAPS):
        silent = last - len(laps) + 1
        place, deviation = predicted(places, laps, sign, trial, last) if last > laps[-1] else (0.0, 0.0)
        later = lane.along[chain[-1] + 1 :]
        if last - laps[-1] >= STEP or place > lane.end_m or (np.abs(later - place) < WIDEST * deviation).any():
            break
        kept = sum(p ** (len(laps) - 1) * (1.0 - p) ** silent for p in LAP_PRINTS) / len(LAP_PRINTS)
        ended += trial.ends[last] * kept / trial.signs.size
    return ratio * ended


@tried(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10**6), scattered=st.integers(0, 2), prints=st.integers(0, 4), sign=st.sampled_from([1.0, -1.0])
)
def test_evidence_is_the_sum_over_chains(seed, scattered, prints, sign):
    """The pass from print to print gives the sum over every followed chain, each by its joint normal density."""
    rng = np.random.default_rng(seed)
    lap = np.sort(rng.choice(5, prints, replace=False))
    printed = rng.uniform(0.0, 0.5) + 1.1 * lap + sign * 0.02 * lap**2 + 0.05 * rng.standard_normal(prints)
    along = np.sort(np.concatenate((np.abs(printed), rng.uniform(0.0, 5.0, scattered))))
    lane = LapLane(along, rng.uniform(0.3, 4.0, along.size), NOWHERE, 5.0, 5.0)
    found = float(np.exp(lap_evidence(lane, LOOSE, np.arange(along.size))[0]).sum())
    assert found == pytest.approx(written_out(lane, LOOSE), rel=1e-6, abs=1e-300)


@pytest.mark.parametrize(("count", "rolls"), [(8, 1500), (20, 1500), (40, 300)])
def test_ratio_averages_at_most_one_over_scattered_marks(count, rolls):
    """Over lanes of marks thrown down at random the likelihood ratio averages no more than 1."""
    rng = np.random.default_rng(20)
    ratios = []
    for _ in range(rolls):
        lane = LapLane(np.sort(rng.uniform(0.0, 40.0, count)), np.full(count, 40.0 / count), NOWHERE, 40.0, 40.0)
        ratios.append(np.exp(lap_evidence(lane, LOOSE, np.arange(count))[0]).sum())
    assert 0.05 < np.mean(ratios) < 1.05
    assert np.mean(np.array(ratios) > 20.0) < 1.0 / 20.0


def test_posterior_is_that_of_least_squares():
    """Place, lap and bend with their limits are those of a least-squares fit to the prints with the thickness known."""
    laps = np.array([0, 1, 3, 4, 7, 9])
    along = 2.0 + 1.1 * laps + 0.02 * laps**2 + 0.02 * np.array([1, -1, 0.5, 0, -0.5, 1])
    lane = LapLane(along, np.full(6, 100.0), NOWHERE, 20.0, 20.0)
    rows, found, mean, spread = chain_of(lane, LOOSE, (0, 1, 1, 1.0))
    assert rows.tolist() == list(range(6))
    assert found.tolist() == laps.tolist()
    at = predicted(along, laps, 1.0, LOOSE, 0)
    assert mean[0] == pytest.approx(at[0], abs=1e-9)
    assert math.sqrt(spread[0, 0] + LOOSE.jitter_m**2) == pytest.approx(at[1], abs=1e-9)
    assert mean[0] + mean[1] * 12 + mean[2] * 144 == pytest.approx(predicted(along, laps, 1.0, LOOSE, 12)[0], abs=1e-9)


def wound(rng, laps, chance=1.0, *, sign=1.0, radius_mm=200.0, start_m=40.0):
    """Places and laps of the prints of one particle, jitter 3 mm."""
    lap = np.arange(laps)
    places = start_m + 2e-3 * np.pi * radius_mm * lap + sign * np.pi * 0.00013 * lap**2
    printed = rng.random(laps) < chance
    return (places + 0.003 * rng.standard_normal(laps))[printed], lap[printed]


def among_dirt(rng, along, per_m=0.5, length_m=120.0):
    """The prints at 300 mm across, with dirt of so many marks a metre in a lane of 6 mm about them."""
    count = rng.poisson(per_m * length_m * 4.0)
    places = np.concatenate((along, rng.uniform(0.0, length_m, count)))
    across = np.concatenate((300.0 + 0.5 * rng.standard_normal(along.size), rng.uniform(288.0, 312.0, count)))
    return places, across


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("chance", [1.0, 0.8])
def test_particle_is_found_with_its_radius(sign, chance):
    """Sixteen laps among dirt are found, with their members, the radius within its limits, and the direction."""
    hits = 0
    for seed in range(6):
        rng = np.random.default_rng([3, seed])
        along, laps = wound(rng, 16, chance, sign=sign)
        found = find_laps(*among_dirt(rng, along), length_m=120.0, winding=WINDING)
        assert len(found) <= 1
        if not found or found[0].members[0] != 0:
            continue
        hits += 1
        one = found[0]
        assert one.kind is SeriesKind.LAP
        assert one.candidates == ()
        assert one.false_alarm <= 0.001
        assert len(set(one.members) & set(range(along.size))) >= 0.9 * along.size
        assert one.lap.per_lap_mm == pytest.approx(sign * 2.0 * math.pi * 0.13, rel=0.03)
        radius = 200.0 + sign * 0.13 * laps[0]
        assert one.lap.radius_mm == pytest.approx(radius, rel=0.001)
        assert one.lap.radius_low_mm < one.lap.radius_mm < one.lap.radius_high_mm
        assert one.spacing_m == pytest.approx(2e-3 * math.pi * one.lap.radius_mm)
    assert hits >= 5


def test_dirt_alone_gives_no_lap_print():
    """Thirty rolls of dirt give at most one lap print where one in twenty is allowed."""
    found = []
    for seed in range(30):
        rng = np.random.default_rng([4, seed])
        settings = SeriesSettings(false_alarm=0.05)
        found += find_laps(*among_dirt(rng, np.empty(0)), length_m=120.0, winding=WINDING, settings=settings)
    assert len(found) <= 1


@tried(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), sign=st.sampled_from([1.0, -1.0]), radius_mm=st.floats(90.0, 300.0))
def test_mirrored_web_gives_the_mirrored_print(seed, sign, radius_mm):
    """From the other end the same marks are members, and laps that grew shrink."""
    rng = np.random.default_rng(seed)
    along, laps = wound(rng, 18, 0.9, sign=sign, radius_mm=radius_mm, start_m=30.0)
    (here,) = find_laps(along, np.full(along.size, 300.0), length_m=120.0, winding=WINDING)
    (there,) = find_laps(120.0 - along, np.full(along.size, 300.0), length_m=120.0, winding=WINDING)
    assert len(set(there.members) & set(here.members)) >= along.size - 2
    assert there.lap.per_lap_mm == pytest.approx(-here.lap.per_lap_mm, rel=0.02)
    laps_between = laps[there.members[0]] - laps[here.members[0]]
    assert there.lap.radius_mm == pytest.approx(here.lap.radius_mm + sign * 0.13 * laps_between, abs=0.3)
    assert there.log_evidence == pytest.approx(here.log_evidence, abs=5.0)


def test_shifted_web_moves_the_print():
    """Marks 7 m further on give the same print 7 m further on."""
    along, _ = wound(np.random.default_rng(9), 14)
    across = np.full(14, 300.0)
    here = find_laps(along, across, length_m=120.0, winding=WINDING)[0]
    there = find_laps(along + 7.0, across, length_m=120.0, winding=WINDING)[0]
    assert there.phase_m - here.phase_m == pytest.approx(7.0)
    assert there.lap.radius_mm == pytest.approx(here.lap.radius_mm)


def test_laps_that_nobody_looked_at_are_not_silent():
    """With the laps between unseen, the print probability stays that of the laps looked at."""
    along, laps = wound(np.random.default_rng(5), 18)
    hidden = (laps >= 6) & (laps < 9)
    start, end = along[6] - 0.3, along[9] - 0.3
    seen = find_laps(along, np.full(18, 300.0), length_m=120.0, winding=WINDING, observed=[(0.0, start), (end, 120.0)])[
        0
    ]
    assert seen.turns == tuple(laps[~hidden].tolist())
    assert seen.print_probability == 1.0
    missed = find_laps(along[~hidden], np.full(15, 300.0), length_m=120.0, winding=WINDING)[0]
    assert missed.print_probability == pytest.approx(14 / 17)
    assert missed.log_evidence < seen.log_evidence


def test_two_particles_are_two_prints():
    """Two particles at one place across, far apart along, give two prints without a shared member."""
    rng = np.random.default_rng(6)
    first, second = wound(rng, 15)[0], wound(rng, 15, radius_mm=150.0, sign=-1.0, start_m=85.0)[0]
    places, across = among_dirt(rng, np.concatenate((first, second)), per_m=0.1)
    found = find_laps(places, across, length_m=120.0, winding=WINDING)
    assert len(found) == 2
    assert not set(found[0].members) & set(found[1].members)
    assert sorted(round(one.lap.radius_mm) for one in found) == [150, 200]


@pytest.mark.parametrize("turns", [25, 45, 90])
def test_a_roller_is_not_called_a_lap_print(prints, turns):
    """A roller that marks 25 turns or more stays a roller's series, whatever else claims its marks."""
    table = [Roller(name="T400", diameter_mm=400.0, tolerance_mm=0.6)]
    for seed in range(3):
        rng = np.random.default_rng([8, seed])
        places, _ = prints(seed, 0.4 * math.pi, 0.9, 0.4 * math.pi * turns)
        marks = among_dirt(rng, places + 2.0)
        left = settle_rivals(
            tuple(find_series(*marks, length_m=120.0, rollers=table)),
            find_laps(*marks, length_m=120.0, winding=WINDING),
        )
        assert [one.kind for one in left] == [SeriesKind.ROLLER]


@pytest.mark.parametrize("laps", [14, 18, 24])
def test_a_lap_print_is_not_called_a_roller(laps):
    """A lap print stays one, even where its first laps have a roller's spacing."""
    table = [Roller(name="T400", diameter_mm=400.0, tolerance_mm=0.6)]
    for seed in range(3):
        rng = np.random.default_rng([9, seed])
        marks = among_dirt(rng, wound(rng, laps)[0])
        left = settle_rivals(
            tuple(find_series(*marks, length_m=120.0, rollers=table)),
            find_laps(*marks, length_m=120.0, winding=WINDING),
        )
        assert [one.kind for one in left] == [SeriesKind.LAP]


def test_a_short_run_leaves_both_kinds_open():
    """Where ten marks could be laps or turns of a roller of that size, what is said second has a probability too."""
    table = [Roller(name="T400", diameter_mm=400.0, tolerance_mm=0.6)]
    rng = np.random.default_rng([9, 1])
    marks = among_dirt(rng, wound(rng, 10)[0])
    (one,) = find_series(*marks, length_m=120.0, rollers=table, winding=WINDING)
    assert 0.001 < one.other_kind < 0.5
    (alone,) = find_series(*marks, length_m=120.0, rollers=table)
    assert alone.other_kind == 0.0


def test_rivals_for_the_same_marks():
    """Of two that claim the same marks the likelier stays; with most of its marks its own, each stays."""
    lap = find_laps(wound(np.random.default_rng(1), 12)[0], np.full(12, 5.0), length_m=120.0, winding=WINDING)[0]
    roller = replace(lap, kind=SeriesKind.ROLLER, lap=None)
    worse = replace(lap, log_evidence=roller.log_evidence + 2.0)
    (stays,) = settle_rivals((roller,), (worse,))
    assert stays == replace(roller, other_kind=stays.other_kind)
    assert stays.other_kind == pytest.approx(math.exp(2.0) / (math.exp(2.0) + 10.0))
    better = replace(lap, log_evidence=roller.log_evidence + 3.0)
    (stays,) = settle_rivals((roller,), (better,))
    assert stays == replace(better, other_kind=stays.other_kind)
    assert stays.other_kind == pytest.approx(10.0 / (math.exp(3.0) + 10.0))
    apart = replace(roller, members=(*lap.members[:5], *range(100, 110)))
    assert settle_rivals((apart,), (better,)) == (better, apart)
    long = replace(apart, members=(*lap.members, *range(100, 200)), log_evidence=300.0)
    assert settle_rivals((long,), (lap,)) == (long,)


@pytest.mark.parametrize("marks", [0, 1, 4])
def test_too_few_marks_give_nothing(marks):
    """With fewer marks than a series needs there is none."""
    along = 10.0 + np.arange(marks)
    assert find_laps(along, np.full(marks, 5.0), length_m=50.0, winding=WINDING) == ()


def test_order_of_marks_makes_no_difference():
    """Shuffled marks give the same print, its members by their new rows."""
    rng = np.random.default_rng(2)
    marks = np.array(among_dirt(rng, wound(rng, 16)[0]))
    order = rng.permutation(marks.shape[1])
    (here,) = find_laps(*marks, length_m=120.0, winding=WINDING)
    (there,) = find_laps(*marks[:, order], length_m=120.0, winding=WINDING)
    assert tuple(order[list(there.members)].tolist()) == here.members
    assert replace(there, members=()) == replace(here, members=())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"thickness_mm": 0.0}, r"winding\.thickness_mm: must be greater than 0"),
        ({"thickness_mm": math.nan}, r"winding\.thickness_mm"),
        ({"tolerance_mm": 0.13}, r"winding\.tolerance_mm: must lie from 0 to below the thickness"),
        ({"tolerance_mm": -0.1}, r"winding\.tolerance_mm"),
        ({"least_radius_mm": 0.0}, r"winding\.least_radius_mm: must be greater than 0"),
        ({"most_radius_mm": 75.0}, r"winding\.most_radius_mm: must be greater than the core's"),
        ({"most_radius_mm": math.inf}, r"winding\.most_radius_mm"),
    ],
)
def test_impossible_windings_are_refused(change, words):
    """Each impossible winding gives one error that names its field."""
    with pytest.raises(ArgumentError, match=words):
        find_laps(np.array([1.0]), np.array([1.0]), length_m=10.0, winding=replace(WINDING, **change))


def test_thickness_sets_the_prior():
    """The bend is π × thickness, its standard deviation the tolerance over √3."""
    trial = lap_trial(WINDING, SeriesSettings())
    assert trial.bend_m == pytest.approx(math.pi * 0.00013)
    assert trial.bend_sd_m == pytest.approx(math.pi * 4e-6 / math.sqrt(3.0))
    assert trial.ends.sum() == pytest.approx(1.0)
