"""What a stretch would tell: samples are made up from what is believed, and each is judged by Bayes.

A made-up sample draws a candidate, its spacing and place, and prints each turn in the stretch with its probability,
jitter and wander; dirt falls as often as in the lane so far. How likely the sample is under each candidate is summed
over spacings and places on a grid as fine as the jitter. In each turn either nothing was printed or one of the marks
near it was, so a silent turn tells too. The mean fall in entropy is the mutual information of candidate and marks
[@lindley1956].
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.repeats.model import SeriesSettings
from wideroll.repeats.next_samples_beliefs import Belief, Forecast, forecast

__all__ = ["Told", "entropy_bits", "what_it_tells"]

_REACH_SD: Final = 3.0
_WIDEST2: Final = 30.0  # a mark's squared distance in variances beyond which it isn't the turn's
_EDGE_SD: Final = 4.0
_LEAST_POINTS: Final = 7
_POINT_JITTERS: Final = 1.6  # normals so many deviations apart sum to a flat line within a thousandth
_NOTHING: Final = 40.0  # e^-40 of the greatest adds nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a stretch is expected to tell."""

    bits: float
    error_bits: float
    probability: float
    """That the candidate likeliest afterwards is the right one."""


class _Points(NamedTuple):
    """Places and spacings a candidate may have, on a grid."""

    spacing: NDArray[np.float64]
    place: NDArray[np.float64]
    """(n,) of a turn near the middle of the stretch."""
    chance: NDArray[np.float64]
    log_weight: NDArray[np.float64]
    candidate: NDArray[np.int64]


class _Web(NamedTuple):
    """The stretch, and how marks come to lie in it."""

    start: float
    end: float
    dirt: float
    jitter2: float
    wander: float
    drift: float


def entropy_bits(probabilities: NDArray[np.float64]) -> NDArray[np.float64]:
    """Entropy over the last axis, in bits."""
    some = np.maximum(probabilities, 1e-300)
    entropy: NDArray[np.float64] = -(probabilities * np.log2(some)).sum(axis=-1)
    return entropy


def what_it_tells(
    beliefs: Sequence[Belief],
    probabilities: NDArray[np.float64],
    stretch: tuple[float, float],
    dirt_per_m: float,
    draws: tuple[int, int],
) -> Told:
    """Expected information of a stretch on which candidate it is.

    Args:
        beliefs: of all candidates.
        probabilities: float64 (c,), of the candidates before.
        stretch: from, to in metres.
        dirt_per_m: marks of the lane that aren't of the series.
        draws: how many samples are made up, and their seed.
    """
    settings = beliefs[0].settings
    web = _Web(*stretch, dirt_per_m, (settings.jitter_mm / 1000.0) ** 2, settings.wander, settings.drift)
    middle = 0.5 * (web.start + web.end)
    ahead = [forecast(belief, middle) for belief in beliefs]
    marks, ends = _made_up(beliefs, ahead, probabilities, web, draws)
    likely = _likelihoods(marks, ends, _grid(beliefs, ahead, settings), web, probabilities.size)
    joint = likely + np.log(probabilities)
    joint -= joint.max(axis=1, keepdims=True)
    after = np.exp(joint)
    after /= after.sum(axis=1, keepdims=True)
    left = entropy_bits(after)
    return Told(
        bits=max(0.0, float(entropy_bits(probabilities)) - float(left.mean())),
        error_bits=float(left.std() / math.sqrt(left.size)),
        probability=float(after.max(axis=1).mean()),
    )


def _grid(beliefs: Sequence[Belief], ahead: Sequence[Forecast], settings: SeriesSettings) -> _Points:
    """Places about each forecast, nearly as dense as a mark jitters; round the whole turn where the phase is lost."""
    step = _POINT_JITTERS * settings.jitter_mm / 1000.0
    columns: list[NDArray[np.float64]] = []
    for belief, fore in zip(beliefs, ahead, strict=True):
        for spacing, weight, place, sd in zip(belief.spacings, belief.weights, fore.along_m, fore.sd_m, strict=True):
            reach = min(_REACH_SD * sd, spacing / 2.0)
            count = max(math.ceil(2.0 * reach / step), _LEAST_POINTS)
            off = (np.arange(count) + 0.5) / count * 2.0 * reach - reach
            round_ = off[:, None] + np.arange(-2, 3) * spacing  # turns that lie one or two further on
            density = np.exp(-0.5 * (round_ / sd) ** 2).sum(axis=1) if sd < spacing else np.ones(count)
            columns.append(
                np.column_stack(
                    np.broadcast_arrays(
                        spacing, place + off, belief.chance, np.log(weight * density / density.sum()), belief.candidate
                    )
                )
            )
    spacing, place, chance, log_weight, candidate = np.ascontiguousarray(np.vstack(columns).T)
    return _Points(spacing, place, chance, log_weight, candidate.astype(np.int64))


def _made_up(
    beliefs: Sequence[Belief],
    ahead: Sequence[Forecast],
    probabilities: NDArray[np.float64],
    web: _Web,
    draws: tuple[int, int],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The marks of each made-up sample in order along, one sample after another, and where each ends."""
    count, seed = draws
    rng = np.random.default_rng(seed)
    atoms = np.array([(b, k) for b, belief in enumerate(beliefs) for k in range(belief.spacings.size)])
    share = np.concatenate([belief.weights * probabilities[belief.candidate] for belief in beliefs])
    # evenly spread draws: each candidate comes as often as its probability says
    drawn = np.searchsorted(np.cumsum(share / share.sum()), (np.arange(count) + rng.random()) / count)
    samples: list[NDArray[np.float64]] = []
    for b, k in atoms[np.minimum(drawn, share.size - 1)]:
        belief, fore = beliefs[b], ahead[b]
        start = float(fore.along_m[k] + fore.sd_m[k] * rng.standard_normal())
        prints = _prints(start, float(belief.spacings[k]), belief.chance, web, rng)
        dirt = rng.uniform(web.start, web.end, rng.poisson(web.dirt * (web.end - web.start)))
        samples.append(np.sort(np.concatenate((prints, dirt))))
    return np.concatenate(samples), np.cumsum([sample.size for sample in samples])


def _prints(place: float, spacing: float, chance: float, web: _Web, rng: np.random.Generator) -> NDArray[np.float64]:
    """Prints of one roller in a stretch, whose turns wander away from the one at its middle."""
    middle = 0.5 * (web.start + web.end)
    place -= round((place - middle) / spacing) * spacing
    turns = math.ceil((web.end - web.start) / spacing / 2.0) + 1
    sides = []
    for sign in (-1.0, 1.0):
        steps = spacing * (1.0 + web.wander * rng.standard_normal(turns))
        sides.append(place + sign * np.cumsum(steps) * (1.0 + web.drift * rng.standard_normal()))
    turning = np.concatenate((sides[0], [place], sides[1]))
    printed = turning[rng.random(turning.size) < chance]
    marks = printed + math.sqrt(web.jitter2) * rng.standard_normal(printed.size)
    return marks[(marks >= web.start) & (marks <= web.end)]


@njit(cache=True, nogil=True)
def _likelihoods(
    marks: NDArray[np.float64], ends: NDArray[np.int64], points: _Points, web: _Web, candidates: int
) -> NDArray[np.float64]:
    """Log likelihood of each sample (rows) under each candidate (columns), up to what is common to a row."""
    spacings, places, chances, log_weights, of = points
    quiet = np.empty(spacings.size)
    for n in range(spacings.size):
        quiet[n] = log_weights[n] + _all_silent(spacings[n], places[n], chances[n], web)
    out = np.empty((ends.size, candidates))
    each = np.empty(spacings.size)
    begin = 0
    for row in range(ends.size):
        sample = marks[begin : ends[row]]
        top = np.full(candidates, -np.inf)
        for n in range(spacings.size):
            each[n] = quiet[n] + _marks_told(sample, spacings[n], places[n], chances[n], web)
            top[of[n]] = max(top[of[n]], each[n])
        total = np.zeros(candidates)
        for n in range(spacings.size):
            if each[n] > top[of[n]] - _NOTHING:
                total[of[n]] += math.exp(each[n] - top[of[n]])
        out[row] = top + np.log(total)
        begin = ends[row]
    return out


@njit(cache=True, nogil=True)
def _variance(turns: float, spacing: float, web: _Web) -> float:
    return web.jitter2 + spacing**2 * turns * (web.wander**2 + turns * web.drift**2)


@njit(cache=True, nogil=True)
def _inside(at: float, variance: float, web: _Web) -> float:
    """Probability that a print meant for a place lies in the stretch."""
    sd = math.sqrt(variance)
    if web.start + _EDGE_SD * sd < at < web.end - _EDGE_SD * sd:
        return 1.0
    root = sd * math.sqrt(2.0)
    return 0.5 * (math.erf((web.end - at) / root) - math.erf((web.start - at) / root))


@njit(cache=True, nogil=True)
def _all_silent(spacing: float, place: float, chance: float, web: _Web) -> float:
    """Log probability that no turn in the stretch prints."""
    first, last = math.floor((web.start - place) / spacing), math.ceil((web.end - place) / spacing)
    total = 0.0
    for k in range(int(first), int(last) + 1):
        total += math.log1p(-chance * _inside(place + k * spacing, _variance(abs(k), spacing, web), web))
    return total


@njit(cache=True, nogil=True)
def _marks_told(marks: NDArray[np.float64], spacing: float, place: float, chance: float, web: _Web) -> float:
    """What the marks change: in each turn nothing was printed, or one of the marks near it."""
    per = 1.0 / spacing
    half = (web.end - web.start) * per / 2.0 + 1.0
    widest = math.sqrt(_WIDEST2 * _variance(half, spacing, web)) * per
    total, near, now = 0.0, 0.0, 0.0
    for row in range(marks.size):
        turns = (marks[row] - place) * per
        turn = np.floor(turns + 0.5)
        off = turns - turn
        if off > widest or off < -widest:
            continue
        if near > 0.0 and turn != now:
            total += _turn_told(near, now, (spacing, place, chance), web)
            near = 0.0
        now = turn
        near += math.exp(-0.5 * (off * spacing) ** 2 / _variance(abs(turn), spacing, web))
    if near > 0.0:
        total += _turn_told(near, now, (spacing, place, chance), web)
    return total


@njit(cache=True, nogil=True)
def _turn_told(near: float, turn: float, point: tuple[float, float, float], web: _Web) -> float:
    spacing, place, chance = point
    variance = _variance(abs(turn), spacing, web)
    silent = 1.0 - chance * _inside(place + turn * spacing, variance, web)
    return math.log1p(chance * near / math.sqrt(2.0 * math.pi * variance) / web.dirt / silent)
