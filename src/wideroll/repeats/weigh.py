"""The evidence of one lane for a series, over all trial spacings."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from wideroll.repeats.chain import PRINTS, Gait, LaneMarks, chain_evidence, print_odds
from wideroll.repeats.model import SeriesSettings
from wideroll.repeats.rollers import Prior
from wideroll.repeats.scattered import rarity_m
from wideroll.repeats.web import Web

__all__ = ["Weighed", "by_spacing", "gait", "lane_marks", "weigh"]

_REACH: Final = 80  # turns: at a print probability of 0.05, one gap in 60 is longer
_MOST_LINKS: Final = 60  # a series that prints more rarely than every 60th mark of its lane can't be told anyway


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """Log likelihood ratios of a series in a lane over scattered marks."""

    log_evidence: float
    """Averaged over the prior of spacings and print probabilities: the Bayes factor."""
    by_spacing: NDArray[np.float64]
    """(k,) at each trial spacing."""


def gait(settings: SeriesSettings, turns: float, step: float) -> Gait:
    """How regular a series is, when trial spacings lie ``step`` apart as a fraction, and tables for so many turns."""
    silent, printed = print_odds(math.ceil(turns) + _REACH + 3)
    return Gait(
        jitter_m=settings.jitter_mm / 1000.0,
        wander=settings.wander,
        drift=math.hypot(settings.drift, step / math.sqrt(12.0)),  # the true spacing lies anywhere within the step
        reach=_REACH,
        most_links=_MOST_LINKS,
        silent=silent,
        printed=printed,
    )


def lane_marks(web: Web, rows: NDArray[np.int64], left: NDArray[np.bool_], settings: SeriesSettings) -> LaneMarks:
    """The marks of a lane against the marks ``left`` on the roll."""
    seen = web.seen[rows]
    return LaneMarks(
        along=web.along[rows],
        seen=seen,
        rarity=rarity_m(seen, web.seen[left], web.seen_m, settings.most_spacing_m),
        gaps=web.gaps,
        seen_m=web.seen_m,
    )


def by_spacing(lane: LaneMarks, regular: Gait, spacings: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log likelihood ratio at each trial spacing (rows) and of each of ``PRINTS`` (columns), each as likely before."""
    table: NDArray[np.float64] = chain_evidence(lane, regular, spacings) - math.log(len(PRINTS))
    return table


def weigh(lane: LaneMarks, regular: Gait, prior: Prior, among: NDArray[np.bool_] | None = None) -> Weighed:
    """The evidence of a lane, at all trial spacings or only ``among`` some, bool (k,)."""
    chosen = np.ones(prior.spacings.size, dtype=bool) if among is None else among
    spacings = np.full(prior.spacings.size, -np.inf)
    spacings[chosen] = logsumexp(by_spacing(lane, regular, prior.spacings[chosen]), axis=1)
    return Weighed(log_evidence=float(logsumexp(spacings, b=prior.total)), by_spacing=spacings)
