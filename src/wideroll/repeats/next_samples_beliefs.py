"""What is known of each candidate before a sample: its spacing, how often it prints, and its place along the web.

A candidate's spacing has a posterior on a fine grid: its prior (π × diameter, slip, tolerance) times the likelihood of
a chain among the lane's marks. Its place is followed from member to member: a random walk seen with jitter, filtered
from head to tail and from tail to head [@kalman1960]. Between or beyond the members both are carried on, and what isn't
known grows with the turns.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from wideroll.repeats.chain import PRINTS, Gait, LaneMarks, chain_evidence, print_odds
from wideroll.repeats.model import Roller, Series, SeriesSettings
from wideroll.repeats.path import most_likely_chain
from wideroll.repeats.web import Web

__all__ = ["Belief", "Forecast", "forecast", "hold_beliefs", "scattered_per_m"]

_FAR: Final = 4.0  # standard deviations of the prior to which spacings are tried
_WORTH: Final = 0.02  # spacings less likely than the best by this are left out
_REACH: Final = 80
_MOST_LINKS: Final = 60
_LOST: Final = 1e6  # variance, m², of a place nobody knows
_MULTIPLES: Final = (1 / 3, 1 / 2, 1.0, 2.0, 3.0)
_ROUND_SERIES: Final = 0.002
_GAITS: Final = ((1.0, 1.0), (0.2, 0.0), (2.5, 3.0))
"""Trial wander and drift, as multiples of the settings'; the first unless the marks clearly say otherwise."""
_CLEARLY: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """A candidate near one spacing. A candidate may have several."""

    candidate: int
    spacings: NDArray[np.float64]
    """(k,) metres."""
    weights: NDArray[np.float64]
    """(k,): over all beliefs of a candidate they sum to 1."""
    chance: float
    """That a turn prints."""
    members: NDArray[np.float64]
    """(c,) places along of the marks taken for prints, ascending."""
    turns: NDArray[np.int64]
    onward: tuple[NDArray[np.float64], NDArray[np.float64]]
    """(c, k) place of turn 0 and its variance, by the members up to each."""
    back: tuple[NDArray[np.float64], NDArray[np.float64]]
    """(c, k) the same by the members from each on."""
    settings: SeriesSettings


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Forecast:
    """The turn nearest to a place on the web, for each spacing of a belief."""

    turn: NDArray[np.int64]
    """(k,)"""
    along_m: NDArray[np.float64]
    sd_m: NDArray[np.float64]
    """(k,) of the turn's place; a mark's own jitter comes on top."""


def hold_beliefs(
    web: Web, series: Series, candidates: Sequence[str], rollers: Sequence[Roller], settings: SeriesSettings
) -> tuple[Belief, ...]:
    """What the lane's marks say of each candidate.

    Args:
        web: all marks, and the stretches looked at.
        series: found in it.
        candidates: names among the rollers, the likeliest first; any other means *another*.
        rollers: of the line.
        settings: of the search.
    """
    lane = _lane(web, series, settings)
    table = {roller.name: roller for roller in rollers}
    first = _grids(series, table.get(candidates[0]), settings)
    settings = _as_it_goes(lane, first, settings)
    beliefs: list[Belief] = []
    for number, name in enumerate(candidates):
        grids = _grids(series, table.get(name), settings)
        weighed = [_weigh(lane, grid, prior, settings) for grid, prior in grids]
        top = max(float(log_weight.max()) for log_weight in weighed)
        total = float(logsumexp(np.concatenate(weighed)))
        for (grid, _), log_weight in zip(grids, weighed, strict=True):
            kept = log_weight > top + math.log(_WORTH)
            if kept.any():
                beliefs.append(_follow(lane, number, np.exp(grid[kept]), np.exp(log_weight[kept] - total), settings))
    return tuple(beliefs)


def forecast(belief: Belief, at_m: float) -> Forecast:
    """Where the turn nearest to a place is, by the members on either side of it."""
    after = int(np.searchsorted(belief.members, at_m))
    sides: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = [
        _carried(belief, filtered, index, at_m)
        for filtered, index in ((belief.onward, after - 1), (belief.back, after))
        if 0 <= index < belief.members.size
    ]
    place, variance = sides[0]
    if len(sides) == 2:  # noqa: PLR2004  # between members
        other, wide = sides[1]
        off = other - place
        off -= np.round(off / belief.spacings) * belief.spacings
        place = place + off * variance / (variance + wide)
        variance = variance * wide / (variance + wide)
    turn = np.round((at_m - place) / belief.spacings)
    return Forecast(turn=turn.astype(np.int64), along_m=place + turn * belief.spacings, sd_m=np.sqrt(variance))


def scattered_per_m(web: Web, series: Series, settings: SeriesSettings) -> float:
    """Marks of the lane that aren't of the series, per metre looked at; never 0, as one may come yet."""
    lane = np.abs(web.across - series.across_mm) <= settings.lane_mm / 2.0
    return max(float(lane.sum()) - len(series.members), 0.5) / web.seen_m


def _lane(web: Web, series: Series, settings: SeriesSettings) -> LaneMarks:
    rows = np.flatnonzero(np.abs(web.across - series.across_mm) <= settings.lane_mm / 2.0)
    return LaneMarks(
        along=web.along[rows],
        seen=web.seen[rows],
        rarity=np.full(rows.size, web.seen_m / max(rows.size, 1)),
        gaps=web.gaps,
        seen_m=web.seen_m,
    )


def _gait(settings: SeriesSettings, turns: float) -> Gait:
    silent, printed = print_odds(math.ceil(turns) + _REACH + 3)
    return Gait(
        jitter_m=settings.jitter_mm / 1000.0,
        wander=settings.wander,
        drift=math.hypot(settings.drift, settings.spacing_step / math.sqrt(12.0)),
        reach=_REACH,
        most_links=_MOST_LINKS,
        silent=silent,
        printed=printed,
    )


def _as_it_goes(
    lane: LaneMarks, grids: Sequence[tuple[NDArray[np.float64], NDArray[np.float64]]], settings: SeriesSettings
) -> SeriesSettings:
    """The settings with wander and drift as the marks show them, where they show it clearly."""
    trials = [replace(settings, wander=w * settings.wander, drift=d * settings.drift) for w, d in _GAITS]
    evidence = [logsumexp(np.concatenate([_weigh(lane, *grid, trial) for grid in grids])) for trial in trials]
    best = int(np.argmax(evidence))
    return trials[best] if evidence[best] > evidence[0] + _CLEARLY else trials[0]


def _grids(
    series: Series, roller: Roller | None, settings: SeriesSettings
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Logarithms of the spacings tried, and the logarithm of their prior (up to a constant)."""
    if roller is not None:
        # a tolerance is a pair of limits, any diameter between as likely: standard deviation tolerance / √3 (JCGM 100)
        sd = max(settings.spacing_step, math.hypot(settings.slip, roller.tolerance_mm / 3**0.5 / roller.diameter_mm))
        steps = math.ceil(_FAR * sd / settings.spacing_step)
        off = _steps(steps, settings)
        return [(math.log(roller.pitch_m) + off, -0.5 * (off / sd) ** 2)]
    wide = math.log(series.spacing_high_m / series.spacing_low_m)
    steps = math.ceil(max(wide, _ROUND_SERIES) / settings.spacing_step)
    off = _steps(steps, settings)
    return [
        (math.log(series.spacing_m * times) + off, np.zeros(off.size))
        for times in _MULTIPLES
        if settings.least_spacing_m <= series.spacing_m * times <= settings.most_spacing_m
    ]


def _steps(count: int, settings: SeriesSettings) -> NDArray[np.float64]:
    steps: NDArray[np.float64] = np.arange(-count, count + 1, dtype=np.float64) * settings.spacing_step
    return steps


def _weigh(
    lane: LaneMarks, grid: NDArray[np.float64], prior: NDArray[np.float64], settings: SeriesSettings
) -> NDArray[np.float64]:
    spacings: NDArray[np.float64] = np.exp(grid)
    evidence = chain_evidence(lane, _gait(settings, lane.seen_m / spacings[0]), spacings)
    weight: NDArray[np.float64] = prior + logsumexp(evidence, axis=1)
    return weight


def _follow(
    lane: LaneMarks,
    candidate: int,
    spacings: NDArray[np.float64],
    weights: NDArray[np.float64],
    settings: SeriesSettings,
) -> Belief:
    """The chain at the likeliest spacing, and its place by the members on either side."""
    best = float(spacings[int(np.argmax(weights))])
    regular = _gait(settings, lane.seen_m / best)
    chance = PRINTS[int(np.argmax(chain_evidence(lane, regular, np.array([best]))[0]))]
    chain = most_likely_chain(lane, regular, best, chance)
    members = lane.along[chain.rows]
    turns = chain.turns + int(np.floor(members[0] / best))
    ahead = _filter(members, turns, spacings, settings)
    behind = _filter(members[::-1], turns[::-1], spacings, settings)
    return Belief(
        candidate=candidate,
        spacings=spacings,
        weights=weights,
        chance=min(max((members.size - 0.5) / max(chain.could_print + 1.0, 1.0), 0.02), 0.98),
        members=members,
        turns=turns,
        onward=ahead,
        back=(behind[0][::-1], behind[1][::-1]),
        settings=settings,
    )


def _filter(
    members: NDArray[np.float64], turns: NDArray[np.int64], spacings: NDArray[np.float64], settings: SeriesSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Place of turn 0 and its variance after each member, float64 (c, k)."""
    jitter2 = (settings.jitter_mm / 1000.0) ** 2
    seen = members[:, None] - turns[:, None] * spacings
    place, variance = np.empty_like(seen), np.empty_like(seen)
    place[0], variance[0] = seen[0], jitter2
    for row in range(1, members.size):
        before = variance[row - 1] + _grown(abs(int(turns[row] - turns[row - 1])), spacings, settings)
        gain = before / (before + jitter2)
        place[row] = place[row - 1] + gain * (seen[row] - place[row - 1])
        variance[row] = (1.0 - gain) * before
    return place, variance


def _carried(
    belief: Belief, filtered: tuple[NDArray[np.float64], NDArray[np.float64]], index: int, at_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    turns = abs(at_m - float(belief.members[index])) / belief.spacings
    step2 = (turns * belief.settings.spacing_step * belief.spacings) ** 2 / 12.0  # any spacing within the step
    grown = _spread(turns, belief.spacings, belief.settings)
    return filtered[0][index], filtered[1][index] + grown + step2


def _grown(turns: int, spacings: NDArray[np.float64], settings: SeriesSettings) -> NDArray[np.float64]:
    if turns > _REACH:
        return np.full(spacings.size, _LOST)
    return _spread(np.full(spacings.size, float(turns)), spacings, settings)


def _spread(turns: NDArray[np.float64], spacings: NDArray[np.float64], settings: SeriesSettings) -> NDArray[np.float64]:
    """Variance that so many turns add to a place, m²."""
    spread: NDArray[np.float64] = spacings**2 * turns * (settings.wander**2 + turns * settings.drift**2)
    return spread
