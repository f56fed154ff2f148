"""From a chain of lap prints to its series: the radius with limits, members, and whether a roller fits better."""

from dataclasses import dataclass
from math import hypot, log, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats.describe import extent_of
from wideroll.repeats.laps_chain import STEP, LapLane, LapTrial, chain_of, lap_evidence, last_lap_odds
from wideroll.repeats.model import Lap, Series, SeriesKind, SeriesSettings, Winding
from wideroll.repeats.web import Web

__all__ = ["LapChain", "beside", "equal_laps", "lap_trial", "laps_seen", "series_of", "trace", "turning_instead"]

SHORT_RUN_ODDS: Final = 10.0
"""Prior odds that a run of some ten prints, with nothing before or after, comes from a wound particle, not a roller.

Judgement, not measurement: a roller with a nick seldom falls silent after a few turns.
"""

_TWO_SIDED: Final = 1.959964  # standard deviations of 95 % limits
_LEAST_WEIGHT: Final = 0.05  # a direction less likely than this has no say in the limits
_STARTS: Final = 5  # members of a chain that a roller's turns are tried from
_SAME_PRINT: Final = 4.0  # jitters
_MARGIN: Final = 6.0  # standard deviations of a lap's length told by two prints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LapChain:
    """The clearest chain from a mark of a lane."""

    rows: NDArray[np.int64]
    """(c,) row of each print among the marks of the lane."""
    laps: NDArray[np.int64]
    """(c,) lap of each print, 0 the first."""
    sign: float
    mean: NDArray[np.float64]
    """(3,) place and length of lap 0 and bend, metres."""
    spread: NDArray[np.float64]
    """(3, 3) their covariance."""
    low_m: float
    """Limits of the length of lap 0, whichever way the roll may have been wound."""
    high_m: float


def lap_trial(winding: Winding, settings: SeriesSettings) -> LapTrial:
    """What is known of lap prints beforehand."""
    jitter = settings.jitter_mm / 1000.0
    bend_sd = pi * winding.tolerance_mm / sqrt(3.0) / 1000.0  # limits, any value between as likely (JCGM 100)
    return LapTrial(
        jitter_m=jitter,
        least_m=2.0 * pi * winding.least_radius_mm / 1000.0,
        most_m=2.0 * pi * winding.most_radius_mm / 1000.0,
        margin_m=_MARGIN * hypot(sqrt(2.0) * jitter, STEP * bend_sd),
        bend_m=pi * winding.thickness_mm / 1000.0,
        bend_sd_m=bend_sd,
        walk=0.0,
        signs=np.array([1.0, -1.0]),
        ends=last_lap_odds(),
    )


def equal_laps(trial: LapTrial, settings: SeriesSettings) -> LapTrial:
    """The same for the turns of a roller that prints for a short while: equal but for slip."""
    return trial._replace(signs=np.array([0.0]), walk=settings.wander)


def trace(lane: LapLane, trial: LapTrial, first: int) -> LapChain:
    """The clearest chain that starts at a mark, with the limits of its first lap."""
    row = int(lap_evidence(lane, trial, np.array([first]))[2][0, 2])
    ways = [_one_way(lane, trial, first, way) for way in range(trial.signs.size)]
    chosen = ways[row][1]
    top = max(weight for weight, _ in ways)
    told = [chain for weight, chain in ways if weight > top + log(_LEAST_WEIGHT)] + [chosen]
    return LapChain(
        rows=chosen.rows,
        laps=chosen.laps,
        sign=chosen.sign,
        mean=chosen.mean,
        spread=chosen.spread,
        low_m=min(chain.low_m for chain in told),
        high_m=max(chain.high_m for chain in told),
    )


def turning_instead(lane: LapLane, turning: LapTrial, chain: LapChain, evidence: float) -> NDArray[np.int64] | None:
    """Rows of the marks that equal laps, as a roller's turns are, explain clearly better than a chain; None if not."""
    firsts = chain.rows[:_STARTS]
    clearest = lap_evidence(lane, turning, firsts)[1]
    if clearest.max() <= evidence + log(SHORT_RUN_ODDS):
        return None
    return trace(lane, turning, int(firsts[np.argmax(clearest)])).rows


def laps_seen(chain: LapChain, lane: LapLane) -> int:
    """Laps after the first, up to the last member's, that lie where marks could be seen."""
    lap = np.arange(1, chain.laps[-1] + 1)
    place = chain.mean[0] + chain.mean[1] * lap + chain.sign * chain.mean[2] * lap**2
    hidden = ((lane.gaps[:, :1] <= place) & (place < lane.gaps[:, 1:])).any(axis=0)
    return int((~hidden).sum())


def series_of(chain: LapChain, web: Web, could_print: int) -> Series:
    """The series of a chain whose rows are those of the web, its evidence still to be filled in."""
    place, length, bend = chain.mean.tolist()
    along, across = web.along[chain.rows], web.across[chain.rows]
    return Series(
        spacing_m=length,
        spacing_low_m=chain.low_m,
        spacing_high_m=chain.high_m,
        phase_m=place,
        across_mm=float(np.median(across)),
        extent=extent_of(along, across),
        members=tuple(chain.rows.tolist()),
        turns=tuple(chain.laps.tolist()),
        print_probability=(chain.rows.size - 1) / max(could_print, 1),
        drift=0.0,
        log_evidence=0.0,
        false_alarm=1.0,
        candidates=(),
        kind=SeriesKind.LAP,
        lap=Lap(
            radius_mm=_radius_mm(length),
            radius_low_mm=_radius_mm(chain.low_m),
            radius_high_mm=_radius_mm(chain.high_m),
            per_lap_mm=2000.0 * chain.sign * bend,
        ),
    )


def beside(web: Web, members: NDArray[np.int64], settings: SeriesSettings) -> NDArray[np.bool_]:
    """The members, and marks so near to one that they are parts of the same print."""
    lane = np.abs(web.across - np.median(web.across[members])) <= settings.lane_mm
    places = web.along[members]
    after = np.searchsorted(places, web.along)
    gap = np.minimum(
        np.abs(web.along - places[np.minimum(after, places.size - 1)]),
        np.abs(web.along - places[np.maximum(after - 1, 0)]),
    )
    same: NDArray[np.bool_] = lane & (gap <= _SAME_PRINT * settings.jitter_mm / 1000.0)
    same[members] = True
    return same


def _one_way(lane: LapLane, trial: LapTrial, first: int, way: int) -> tuple[float, LapChain]:
    """Evidence and chain where laps change as one sign says."""
    alone = trial._replace(signs=trial.signs[way : way + 1])
    _, clearest, found = lap_evidence(lane, alone, np.array([first]))
    second, lap = int(found[0, 0]), int(found[0, 1])
    sign = float(trial.signs[way])
    rows, laps, mean, spread = chain_of(lane, alone, (first, second, max(lap, 1), sign))
    half = _TWO_SIDED * float(np.sqrt(spread[1, 1]))
    length = float(mean[1])
    return float(clearest[0]), LapChain(
        rows=rows, laps=laps, sign=sign, mean=mean, spread=spread, low_m=length - half, high_m=length + half
    )


def _radius_mm(lap_m: float) -> float:
    return 1000.0 * lap_m / (2.0 * pi)
