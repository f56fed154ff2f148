"""The evidence of one lane for a series, over the trial spacings that its marks make worth trying."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.repeats.chain import PRINTS, Gait, LaneMarks, chain_evidence, print_odds
from wideroll.repeats.model import SeriesSettings
from wideroll.repeats.pairs import PairTable, rank_spacings
from wideroll.repeats.rollers import Prior
from wideroll.repeats.scattered import rarity_m
from wideroll.repeats.web import Web

__all__ = ["GAITS", "Weighed", "by_spacing", "gaits", "lane_marks", "log_sum", "weigh"]

_REACH: Final = 80  # turns: at a print probability of 0.05, one gap in 60 is longer
_MOST_LINKS: Final = 60  # a series that prints more rarely than every 60th mark of its lane can't be told anyway
_REGULAR: Final = ((0.2, 0.0), (0.8, 1.0), (2.2, 3.0))
"""Trial gaits, as multiples of the settings' wander and drift; each as likely before."""
GAITS: Final = len(_REGULAR)
_USUAL: Final = 1
_TRIED: Final = 96  # spacings weighed with the usual gait, the best by pairs
_TRIED_AGAIN: Final = 16  # of these, weighed with all gaits
_BESIDE: Final = 6  # spacings on either side of the best, weighed too
_NEVER: Final = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """Log likelihood ratios of a series in a lane over scattered marks."""

    log_evidence: float
    """Averaged over the prior of spacings, gaits and print probabilities: the Bayes factor, or a little less."""
    by_spacing: NDArray[np.float64]
    """(k,) at each trial spacing; -inf where it wasn't tried."""
    gait: int = _USUAL
    """Which of the gaits has most evidence."""


def gaits(settings: SeriesSettings, turns: float, step: float) -> tuple[Gait, ...]:
    """How regular a series may be, when trial spacings lie ``step`` apart as a fraction; tables for so many turns."""
    silent, printed = print_odds(math.ceil(turns) + _REACH + 3)
    return tuple(
        Gait(
            jitter_m=settings.jitter_mm / 1000.0,
            wander=wander * settings.wander,
            drift=math.hypot(drift * settings.drift, step / math.sqrt(12.0)),  # the true spacing lies within the step
            reach=_REACH,
            most_links=_MOST_LINKS,
            silent=silent,
            printed=printed,
        )
        for wander, drift in _REGULAR
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


def weigh(
    lane: LaneMarks, regular: tuple[Gait, ...], prior: Prior, pairs: PairTable, *, every: bool = False
) -> Weighed:
    """The evidence of a lane, at the spacings that pairs of its marks and the prior speak for.

    Those left out count as if they had no evidence at all, so that the mean over scattered marks stays below 1. Where
    there is little evidence for any, what is left out would weigh in the names: then every spacing is to be tried.

    Args:
        lane: the marks.
        regular: the gaits of ``gaits``.
        prior: of the trial spacings.
        pairs: of the same spacings and gaits.
        every: try all, which takes as long as it takes.
    """
    given = lane, regular, prior
    table = np.full((len(regular), prior.spacings.size), -np.inf)
    if every:
        _fill(table, np.arange(prior.spacings.size), tuple(range(len(regular))), given)
    else:
        _fill_best(table, rank_spacings(lane.along, pairs), given)
    table -= math.log(len(regular))
    spacings = log_sum(table, axis=0)
    kind = int(np.argmax(log_sum(table, 1, prior.total)))
    return Weighed(log_evidence=float(log_sum(spacings, 0, prior.total)), by_spacing=spacings, gait=kind)


def _fill_best(
    table: NDArray[np.float64], ranks: NDArray[np.float64], given: tuple[LaneMarks, tuple[Gait, ...], Prior]
) -> None:
    """The best by pairs and prior with the usual gait, the best of these and what lies beside the best with all."""
    log_prior = np.log(np.maximum(given[2].total, _NEVER))
    ranked = ranks + log_prior
    chosen = np.sort(np.argpartition(-ranked, _TRIED)[:_TRIED]) if ranked.size > _TRIED else np.arange(ranked.size)
    _fill(table, chosen, (_USUAL,), given)
    again = chosen[np.argsort(-(table[_USUAL, chosen] + log_prior[chosen]), kind="stable")[:_TRIED_AGAIN]]
    _fill(table, again, tuple(kind for kind in range(len(table)) if kind != _USUAL), given)
    best = int(np.argmax(table.max(axis=0) + log_prior))
    near = np.arange(max(best - _BESIDE, 0), min(best + _BESIDE + 1, ranked.size))
    for kind in range(len(table)):
        _fill(table, near[np.isneginf(table[kind, near])], (kind,), given)


def _fill(
    table: NDArray[np.float64],
    cells: NDArray[np.int64],
    kinds: tuple[int, ...],
    given: tuple[LaneMarks, tuple[Gait, ...], Prior],
) -> None:
    lane, regular, prior = given
    for kind in kinds:
        if cells.size:
            table[kind, cells] = log_sum(by_spacing(lane, regular[kind], prior.spacings[cells]), axis=1)


def log_sum(logs: NDArray[np.float64], axis: int, weights: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Logarithm of the weighted sum of exponentials; -inf where nothing was tried."""
    top = np.maximum(logs.max(axis=axis, keepdims=True), -1e300)
    shares = np.exp(logs - top)
    with np.errstate(divide="ignore"):
        total: NDArray[np.float64] = np.log((shares if weights is None else shares * weights).sum(axis=axis))
    return np.asarray(total + np.squeeze(top, axis=axis))
