"""Lanes that are worth a search while marks still come: the newest marks look back for others at equal steps.

It is quick and decides nothing: a lane that is picked is searched, one that isn't is tried again with its next mark.
Scattered marks rarely stand in step seven times; prints do before any search could be sure of them.
"""

from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.repeats.model import SeriesSettings

__all__ = ["pick_lanes"]

_IN_STEP: Final = 7
_MOST_SILENT: Final = 6
_WIDEST: Final = 3.0
"""Standard deviations to which a mark is in step."""
_PARTS: Final = 3
"""A gap may hold up to so many turns."""
_USUAL: Final = SeriesSettings()


def pick_lanes(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    *,
    since_m: float,
    settings: SeriesSettings = _USUAL,
    in_step: int = _IN_STEP,
) -> NDArray[np.bool_]:
    """The marks of lanes in which a mark seen since a place is in step with enough others.

    Args:
        along_m: float64 (n,), places along in metres, in any order.
        across_mm: float64 (n,), places across in millimetres.
        since_m: Marks from here on are new.
        settings: Width of a lane, jitter and the spacings tried.
        in_step: Marks in step that a lane needs.

    Returns:
        bool (n,), whether a mark lies in such a lane.

    Example:
        >>> prints, dirt = 0.3 + 0.7 * np.arange(9), np.array([0.5, 2.2, 5.3])
        >>> along = np.concatenate((prints, dirt))
        >>> across = np.concatenate((np.full(9, 300.0), np.full(3, 700.0)))
        >>> int(pick_lanes(along, across, since_m=5.0).sum())
        9
    """
    picked = np.zeros(along_m.size, np.bool_)
    if not along_m.size:
        return picked
    half = np.floor(across_mm / (settings.lane_mm / 2.0)).astype(np.int64)
    order = np.lexsort((along_m, half))
    used, starts = np.unique(half[order], return_index=True)
    rows = dict(zip(used.tolist(), np.split(order, starts[1:]), strict=True))
    lanes = sorted({number for one in rows for number in (one - 1, one)})
    none = np.empty(0, np.int64)
    for number in lanes:
        lane = np.concatenate((rows.get(number, none), rows.get(number + 1, none)))
        if lane.size >= in_step:
            lane = lane[np.argsort(along_m[lane], kind="stable")]
            places = along_m[lane]
            first = int(np.searchsorted(places, since_m))
            bounds = settings.least_spacing_m, settings.most_spacing_m
            if _most_in_step(places, first, settings.jitter_mm / 1000.0, bounds) >= in_step:
                picked[lane] = True
    return picked


@njit(cache=True, nogil=True)
def _most_in_step(places: NDArray[np.float64], first: int, jitter: float, bounds: tuple[float, float]) -> int:
    """Most marks in step that end at one of the marks from ``first`` on."""
    most = 0
    for j in range(first, places.size):
        for i in range(j - 1, -1, -1):
            gap = places[j] - places[i]
            if gap > _PARTS * bounds[1]:
                break
            for turns in range(1, _PARTS + 1):
                step = gap / turns
                if bounds[0] <= step <= bounds[1]:
                    most = max(most, _in_step(places, (j, i), turns, jitter))
    return most


@njit(cache=True, nogil=True)
def _in_step(places: NDArray[np.float64], pair: tuple[int, int], turns: int, jitter: float) -> int:
    """Marks that follow one another backwards at the step of a pair, the step mended at each."""
    newest, at = pair
    found, since = 2, 0
    step = (places[newest] - places[at]) / turns
    while since < _MOST_SILENT + 1 and at > 0:
        since += 1
        due = places[newest] - (turns + since) * step
        wide = _WIDEST * jitter * (1.0 + np.sqrt(2.0) * (turns + since) / turns)
        best = -1
        k = at - 1
        while k >= 0 and places[k] >= due - wide:
            if places[k] <= due + wide and (best < 0 or abs(places[k] - due) < abs(places[best] - due)):
                best = k
            k -= 1
        if best >= 0:
            turns, at, since, found = turns + since, best, 0, found + 1
            step = (places[newest] - places[at]) / turns
    return found
