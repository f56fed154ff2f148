"""From a lane with evidence to its series: spacing with limits, members, phase, print probability, drift."""

import math
from dataclasses import dataclass
from math import inf, nextafter
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from wideroll.repeats.chain import PRINTS, LaneMarks
from wideroll.repeats.course import spacing_limits
from wideroll.repeats.model import SeriesSettings
from wideroll.repeats.path import Chain, most_likely_chain
from wideroll.repeats.rollers import Prior
from wideroll.repeats.weigh import GAITS, Weighed, by_spacing, gaits
from wideroll.roll import Extent

__all__ = ["Found", "describe", "drift_of", "extent_of", "phase_of"]

_TRIALS: Final = 49
_NEVER: Final = 1e-300
_FALLS_TO: Final = 10.0  # the peak of the evidence is followed down to e^-10 of its height
_LIMITS: Final = (0.025, 0.5, 0.975)
_FIRST_MEMBERS: Final = 9
_LEAST_FOR_DRIFT: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """A chain with its spacing."""

    chain: Chain
    spacing_m: float
    low_m: float
    high_m: float
    print_probability: float


def describe(lane: LaneMarks, weighed: Weighed, prior: Prior, settings: SeriesSettings) -> Found:
    """The most likely chain at the spacing with most evidence, and the spacing with 95 % limits from its members.

    Where the members say nothing of it together, the limits are those of the evidence about its peak.
    """
    low, spacing, high, chance = _spacing(lane, weighed, prior, settings)
    regular = gaits(settings, lane.seen_m / low, 0.0)[weighed.gait]
    chain = most_likely_chain(lane, regular, spacing, chance)
    chain = most_likely_chain(lane, regular, spacing, min(max(_share_printed(chain), 0.02), 0.98))
    if not lane.gaps.size:  # over a gap the turns may be others than the chain's: then the evidence tells the limits
        exact = spacing_limits(lane.along[chain.rows], chain.turns, spacing, settings.jitter_mm / 1000.0)
        low, spacing, high = exact or (low, spacing, high)
    return Found(chain=chain, spacing_m=spacing, low_m=low, high_m=high, print_probability=_share_printed(chain))


def phase_of(along: NDArray[np.float64], turns: NDArray[np.int64], spacing_m: float) -> tuple[float, NDArray[np.int64]]:
    """Place of the first turn on the web, from the first members, and the members' turn numbers counted from it."""
    phase = float(np.median((along - turns * spacing_m)[:_FIRST_MEMBERS]))
    shift = int(np.floor(phase / spacing_m))
    return phase - shift * spacing_m, turns + shift


def drift_of(along: NDArray[np.float64], turns: NDArray[np.int64]) -> float:
    """Change of the spacing from the first turn to the last, as a fraction, of a parabola through the members."""
    if along.size < _LEAST_FOR_DRIFT:
        return 0.0
    share = (turns - turns[0]) / (turns[-1] - turns[0])
    bend, slope, _ = np.polynomial.Polynomial.fit(share, along, 2, domain=[0, 1], window=[0, 1]).coef[::-1]
    return float(2.0 * bend / (slope + bend))


def extent_of(along: NDArray[np.float64], across: NDArray[np.float64]) -> Extent:
    """The rectangle that holds all members."""
    return Extent(
        along_from_m=float(along.min()),
        along_to_m=nextafter(float(along.max()), inf),
        across_from_mm=float(across.min()),
        across_to_mm=nextafter(float(across.max()), inf),
    )


def _spacing(
    lane: LaneMarks, weighed: Weighed, prior: Prior, settings: SeriesSettings
) -> tuple[float, float, float, float]:
    """Lower limit, middle, upper limit, and the most likely of the trial print probabilities."""
    start, end = _about_peak(
        weighed.by_spacing + np.log(np.maximum(prior.total, _NEVER)), np.log(prior.spacings), settings.spacing_step
    )
    kinds = tuple(range(GAITS)) if lane.gaps.size else (weighed.gait,)
    grid, table = _curve(lane, settings, (start, end), kinds)
    for _ in range(3):
        evidence = logsumexp(table, axis=1)
        inside = np.flatnonzero(evidence > evidence.max() - _FALLS_TO)
        if inside.size > _TRIALS // 3:
            break
        about = float(grid[max(inside[0] - 1, 0)]), float(grid[min(inside[-1] + 1, _TRIALS - 1)])
        grid, table = _curve(lane, settings, about, kinds)
    evidence = logsumexp(table, axis=1)
    share = np.cumsum(np.exp(evidence - logsumexp(evidence)))
    low, middle, high = np.exp(np.interp(_LIMITS, share, grid + 0.5 * (grid[1] - grid[0])))
    chance = PRINTS[int(np.argmax(logsumexp(table, axis=0)))]
    return float(low), float(middle), float(high), chance


def _curve(
    lane: LaneMarks, settings: SeriesSettings, about: tuple[float, float], kinds: tuple[int, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Evidence between two spacings given by their logarithms, over some of the gaits."""
    grid = np.linspace(*about, _TRIALS)
    regular = gaits(settings, lane.seen_m / math.exp(about[0]), float(grid[1] - grid[0]))
    tables = [by_spacing(lane, regular[kind], np.exp(grid)) for kind in kinds]
    return grid, np.asarray(logsumexp(tables, axis=0))


def _share_printed(chain: Chain) -> float:
    """Share of the turns after the first that printed."""
    return (chain.rows.size - 1) / max(chain.could_print, 1)


def _about_peak(evidence: NDArray[np.float64], log_spacings: NDArray[np.float64], step: float) -> tuple[float, float]:
    peak = int(np.argmax(evidence))
    low = high = peak
    floor = evidence[peak] - _FALLS_TO
    while low > 0 and evidence[low - 1] > floor and log_spacings[low] - log_spacings[low - 1] < 1.5 * step:
        low -= 1
    while (
        high + 1 < evidence.size
        and evidence[high + 1] > floor
        and log_spacings[high + 1] - log_spacings[high] < 1.5 * step
    ):
        high += 1
    return float(log_spacings[low] - step), float(log_spacings[high] + step)
