"""The likelihood of a chain of marks that a particle printed from lap to lap of a wound roll.

Web of thickness t that is wound lap on lap prints along one radius: lap n starts at s₀ + 2π r₀ n ± π t n², with r₀ the
radius of lap 0 (from the area of the wound web, r² = r₀² + s t / π), plus where laps grow along the web and minus where
they shrink. That is linear in s₀, r₀ and t. With normal jitter, an even prior of s₀ and r₀ and a normal one of t, the
likelihood of a set of prints has a closed form: a Kalman filter gives it print by print [@kalman1960].

A chain starts with any mark and a second one at most ``STEP`` laps on. From there each lap's place is predicted, and
the mark nearest to it, if one lies near enough, is taken as its print. Every such chain, ended after every number of
laps, is one term of the sum over all ways to choose prints among the marks; leaving the other ways out only makes the
sum less. Over marks scattered independently the whole sum averages at most 1, so this one does too.
"""

import math
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = ["LAP_PRINTS", "MOST_LAPS", "STEP", "LapLane", "LapTrial", "chain_of", "lap_evidence", "last_lap_odds"]

LAP_PRINTS: Final = (0.4, 0.7, 0.95)
"""Trial probabilities that a lap within reach of the particle prints, each as likely."""
MOST_LAPS: Final = 40
"""Laps of the longest chain."""
STEP: Final = 6
"""Most laps from one print to the next."""
MOST_LINKS: Final = 60
"""Most marks on to which a second print is looked for."""

_WIDEST: Final = 3.5  # a mark further than this many standard deviations from its lap isn't its print
_NONE: Final = -np.inf
_ROUNDING: Final = 1e-9


class LapLane(NamedTuple):
    """The marks of one lane in order along, and what could be seen."""

    along: NDArray[np.float64]
    """(n,) places in metres, ascending."""
    rarity: NDArray[np.float64]
    """(n,) metres of web looked at per scattered mark there."""
    gaps: NDArray[np.float64]
    """(g, 2) stretches from, to in metres that nobody looked at."""
    seen_m: float
    """Metres of web looked at."""
    end_m: float
    """Place of the last metre looked at."""


class LapTrial(NamedTuple):
    """What is known of the winding and of the prints before the marks are looked at."""

    jitter_m: float
    least_m: float
    """Length of the least lap."""
    most_m: float
    """Length of the greatest lap."""
    margin_m: float
    """Widening of the prior of lap lengths, either way, so that it holds nearly all of each chain's."""
    bend_m: float
    """π × thickness."""
    bend_sd_m: float
    walk: float
    """Standard deviation of one lap's length, as a fraction, adding up as a random walk: 0 in a wound roll."""
    signs: NDArray[np.float64]
    """(k,) +1 where laps grow along, −1 where they shrink, 0 for equal laps; each as likely."""
    ends: NDArray[np.float64]
    """(MOST_LAPS,) prior probability that lap n is the last within reach."""


class _State(NamedTuple):
    """A chain on its way: arrays, so that it can be passed on and changed."""

    mean: NDArray[np.float64]
    """Place of lap 0, length of lap 0, bend."""
    spread: NDArray[np.float64]
    """(3, 3) their covariance."""
    weight: NDArray[np.float64]
    """(3,) probability of prints and silent laps so far for each of ``LAP_PRINTS``, times its prior."""
    members: NDArray[np.int64]
    laps: NDArray[np.int64]
    told: NDArray[np.float64]
    """Evidence of the chain as it stands, greatest evidence ended at a print, prints until then, evidence in all."""


def last_lap_odds() -> NDArray[np.float64]:
    """Prior of the last lap within reach, lap 0 the first: falls as one over the number of laps, from three up."""
    odds = np.zeros(MOST_LAPS)
    odds[2:] = 1.0 / np.arange(3, MOST_LAPS + 1)
    odds /= odds.sum()
    return odds


@njit(cache=True, nogil=True)
def lap_evidence(
    lane: LapLane, trial: LapTrial, firsts: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Log likelihood ratios over scattered marks of the chains that start at some marks.

    Args:
        lane: the marks.
        trial: what is known beforehand.
        firsts: int64 (f,), rows of the marks.

    Returns:
        float64 (f,): of all chains that start at each mark, so that the ratio of the lane is the sum of their
        exponentials over all marks; float64 (f,): of the one clearest chain ended at one of its prints; int64 (f, 3):
        that chain's second mark, its lap and the row of its sign.
    """
    count = firsts.size
    total, clearest, found = np.full(count, _NONE), np.full(count, _NONE), np.zeros((count, 3), np.int64)
    state = _blank()
    along = lane.along
    for at in range(count):
        i = firsts[at]
        for j in range(i + 1, min(along.size, i + 1 + MOST_LINKS)):
            gap = along[j] - along[i]
            if gap > STEP * (trial.most_m + STEP * trial.bend_m):
                break
            for lap in range(1, STEP + 1):
                for row in range(trial.signs.size):
                    first = gap / lap - trial.signs[row] * trial.bend_m * lap
                    if first < trial.least_m or first > trial.most_m:
                        continue
                    _follow(lane, trial, (i, j, lap, trial.signs[row]), state)
                    total[at] = _log_add(total[at], state.told[3])
                    if state.told[1] > clearest[at]:
                        clearest[at] = state.told[1]
                        found[at, 0], found[at, 1], found[at, 2] = j, lap, row
    return total, clearest, found


@njit(cache=True, nogil=True)
def chain_of(
    lane: LapLane, trial: LapTrial, start: tuple[int, int, int, float]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """The chain of a first mark, a second, its lap and the sign: marks, laps, and posterior mean and covariance.

    Returns:
        int64 (c,) rows, int64 (c,) laps, float64 (3,) place and length of lap 0 and bend in metres, float64 (3, 3).
    """
    state = _blank()
    _follow(lane, trial, start, state)
    prints = int(state.told[2])
    members, laps = state.members[:prints].copy(), state.laps[:prints].copy()
    _set_out(lane, trial, start, state)
    done = laps[1]
    for row in range(2, prints):
        for _ in range(laps[row] - done):
            state.spread[0, 0] += (trial.walk * state.mean[1]) ** 2
        done = laps[row]
        _learn(state, done, start[3], lane.along[members[row]], trial.jitter_m)
    return members, laps, state.mean.copy(), state.spread.copy()


@njit(cache=True, nogil=True)
def _blank() -> _State:
    return _State(
        np.zeros(3),
        np.zeros((3, 3)),
        np.zeros(len(LAP_PRINTS)),
        np.zeros(MOST_LAPS, np.int64),
        np.zeros(MOST_LAPS, np.int64),
        np.zeros(4),
    )


@njit(cache=True, nogil=True)
def _log_add(a: float, b: float) -> float:
    top, low = max(a, b), min(a, b)
    return top if low == _NONE else top + math.log1p(math.exp(low - top))


@njit(cache=True, nogil=True)
def _hidden(place: float, gaps: NDArray[np.float64]) -> bool:
    hidden = False
    for row in range(gaps.shape[0]):
        hidden = hidden or gaps[row, 0] <= place < gaps[row, 1]
    return hidden


@njit(cache=True, nogil=True)
def _set_out(lane: LapLane, trial: LapTrial, start: tuple[int, int, int, float], state: _State) -> None:
    """What the first two prints tell: place and length of lap 0, and their evidence."""
    mean, spread, weight, members, laps, told = state
    i, j, lap, sign = start
    along, rarity = lane.along, lane.rarity
    v, u = trial.jitter_m**2, trial.bend_sd_m**2
    mean[0], mean[2] = along[i], trial.bend_m
    mean[1] = (along[j] - along[i]) / lap - sign * trial.bend_m * lap
    walked = (trial.walk * mean[1]) ** 2
    spread[0, 0] = v + walked * lap
    spread[0, 1] = spread[1, 0] = -(v + walked * lap) / lap
    spread[0, 2] = spread[2, 0] = 0.0
    spread[1, 1] = (2.0 * v + walked * lap) / lap**2 + u * lap**2
    spread[1, 2] = spread[2, 1] = -sign * u * lap
    spread[2, 2] = u
    width = (trial.most_m - trial.least_m + 2.0 * trial.margin_m) * lap
    told[0] = math.log(rarity[i] / lane.seen_m) + math.log(rarity[j] / width)
    silent = 0
    for n in range(1, lap):
        if not _hidden(mean[0] + mean[1] * n + sign * mean[2] * n * n, lane.gaps):
            silent += 1
    for p in range(len(LAP_PRINTS)):
        chance = LAP_PRINTS[p]
        weight[p] = chance * (1.0 - chance) ** silent / (len(LAP_PRINTS) * trial.signs.size)
    members[0], members[1] = i, j
    laps[0], laps[1] = 0, lap
    told[1] = _NONE
    told[2] = 2.0
    told[3] = _NONE


@njit(cache=True, nogil=True)
def _learn(state: _State, n: int, sign: float, place: float, jitter_m: float) -> float:
    """Take a print of lap n into mean and covariance; its log density as predicted before."""
    mean, spread, _, _, _, _ = state
    bend = sign * n * n
    t0 = spread[0, 0] + n * spread[0, 1] + bend * spread[0, 2]
    t1 = spread[1, 0] + n * spread[1, 1] + bend * spread[1, 2]
    t2 = spread[2, 0] + n * spread[2, 1] + bend * spread[2, 2]
    variance = t0 + n * t1 + bend * t2 + jitter_m**2
    off = place - (mean[0] + mean[1] * n + bend * mean[2])
    mean[0] += t0 / variance * off
    mean[1] += t1 / variance * off
    mean[2] += t2 / variance * off
    spread[0, 0] -= t0 * t0 / variance
    spread[1, 1] -= t1 * t1 / variance
    spread[2, 2] -= t2 * t2 / variance
    spread[0, 1] = spread[1, 0] = spread[0, 1] - t0 * t1 / variance
    spread[0, 2] = spread[2, 0] = spread[0, 2] - t0 * t2 / variance
    spread[1, 2] = spread[2, 1] = spread[1, 2] - t1 * t2 / variance
    log_density: float = -0.5 * (off * off / variance + math.log(2.0 * math.pi * variance))
    return log_density


@njit(cache=True, nogil=True)
def _variance(spread: NDArray[np.float64], n: int, bend: float) -> float:
    """Of the place of lap n."""
    cross = n * spread[0, 1] + bend * (spread[0, 2] + n * spread[1, 2])
    variance: float = spread[0, 0] + n * n * spread[1, 1] + bend * bend * spread[2, 2] + 2.0 * cross
    return variance


@njit(cache=True, nogil=True)
def _nearest(along: NDArray[np.float64], start: int, spot: float, gate: float) -> tuple[int, int]:
    """The first mark from ``start`` on that isn't too far back, and the one nearest to the spot or -1."""
    while start < along.size and along[start] < spot - gate:
        start += 1
    nearest = -1
    for k in range(start, along.size):
        if along[k] > spot + gate:
            break
        gate, nearest = abs(along[k] - spot), k
    return start, nearest


@njit(cache=True, nogil=True)
def _follow(lane: LapLane, trial: LapTrial, start: tuple[int, int, int, float], state: _State) -> None:
    """Go on lap by lap from the first two prints until too many in a row are silent, summing over the last lap."""
    _set_out(lane, trial, start, state)
    mean, spread, weight, members, laps, told = state
    along, rarity, gaps, ends = lane.along, lane.rarity, lane.gaps, trial.ends
    _, j, lap, sign = start
    prints, silent, near = 2, 0, j + 1
    ended = ends[lap] * weight.sum()
    for n in range(lap + 1, MOST_LAPS):
        spread[0, 0] += (trial.walk * mean[1]) ** 2
        bend = sign * n * n
        spot = mean[0] + mean[1] * n + bend * mean[2]
        if spot > lane.end_m:
            break
        if not _hidden(spot, gaps):
            near, k = _nearest(along, near, spot, _WIDEST * math.sqrt(_variance(spread, n, bend) + trial.jitter_m**2))
            if k >= 0:
                _close(told, ended)
                ended = 0.0
                told[0] += _learn(state, n, sign, along[k], trial.jitter_m) + math.log(rarity[k])
                members[prints], laps[prints] = k, n
                prints, silent, near = prints + 1, 0, k + 1
            else:
                silent += 1
            here = 0.0
            for p in range(len(LAP_PRINTS)):
                weight[p] *= LAP_PRINTS[p] if k >= 0 else 1.0 - LAP_PRINTS[p]
                here += weight[p]
            if k >= 0 and ends[n] > 0.0 and told[0] + math.log(ends[n] * here) > told[1]:
                told[1], told[2] = told[0] + math.log(ends[n] * here), prints
            if silent == STEP:
                break
        ended += ends[n] * weight.sum()
    _close(told, ended)


@njit(cache=True, nogil=True)
def _close(told: NDArray[np.float64], ended: float) -> None:
    """Add the chains that end at one of the laps since the last print."""
    if ended > 0.0:
        told[3] = _log_add(told[3], told[0] + math.log(ended))
