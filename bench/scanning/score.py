"""Found marks against the truth, one to one."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from scanning.webs import BLOCK, SETS

__all__ = ["Score", "score_sets"]

_SLACK = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How one set of marks was found; distances in pixels."""

    recall: float
    precision: float
    off_median: float
    """Distance from centre to centre."""
    off_most: float
    """The same, the 95th of a hundred."""
    within_half: float
    """Share placed within half a pixel both along and across."""


def score_sets(found: NDArray[np.float64], truth: NDArray[np.float64]) -> list[Score]:
    """One score for each of ``SETS``, told apart by the block they lie in."""
    kinds = [(places[:, 0] // BLOCK % len(SETS)).astype(int) for places in (found, truth)]
    return [_score(found[kinds[0] == k, :2], truth[kinds[1] == k]) for k in range(len(SETS))]


def _score(found: NDArray[np.float64], truth: NDArray[np.float64]) -> Score:
    """A mark counts when a centre lies on it or within a pixel of it; a second one there is a false mark."""
    if not len(found) or not len(truth):
        nothing = float("nan")
        return Score(recall=0.0, precision=0.0, off_median=nothing, off_most=nothing, within_half=nothing)
    _, nearest = cKDTree(found).query(truth[:, :2])
    away = np.abs(found[nearest] - truth[:, :2])
    hit = (away <= truth[:, 2:] / 2.0 + _SLACK).all(axis=1)
    taken = np.unique(nearest[hit])
    off = np.hypot(*away[hit].T)
    return Score(
        recall=float(hit.mean()),
        precision=len(taken) / len(found),
        off_median=float(np.median(off)) if len(off) else float("nan"),
        off_most=float(np.percentile(off, 95)) if len(off) else float("nan"),
        within_half=float((away[hit] <= 0.5).all(axis=1).mean()) if len(off) else float("nan"),
    )
