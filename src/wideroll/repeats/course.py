"""The spacing of a chain from all of its members at once: their places as a random walk seen with jitter.

The evidence of a chain looks from one print to the next and takes the jitter of each for new; over a whole chain jitter
doesn't add up. Here the places are filtered from head to tail [kalman1960]: the spacing is the same throughout, each
turn wanders by a part of it, each print jitters by itself. How much they do is left open within wide limits and weighed
by its likelihood.
"""

from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["filter_course", "spacing_limits"]

_WANDERS: Final = (0.0, 0.0005, 0.001, 0.002, 0.003, 0.005)
_JITTERS: Final = (0.25, 0.5, 0.75, 1.0, 1.5)
_TRIALS: Final = np.array([(jitter, wander) for jitter in _JITTERS for wander in _WANDERS])
_WIDE: Final = 0.02  # standard deviation of the spacing before, about what the chain was found with
_LOST: Final = 0.15  # of a turn: where a place is known no better, its turn may be another
_LIMITS: Final = (0.025, 0.5, 0.975)
_HALVINGS: Final = 60
_LEAST: Final = 3


def spacing_limits(
    along: NDArray[np.float64], turns: NDArray[np.int64], spacing_m: float, jitter_m: float
) -> tuple[float, float, float] | None:
    """Lower 95 % limit, middle and upper limit of the spacing, in metres.

    Args:
        along: float64 (n,), ascending: places of the members, metres.
        turns: int64 (n,), ascending: turn of each.
        spacing_m: what the chain was found with.
        jitter_m: usual standard deviation of a place; a quarter to one and a half times as much is tried.

    Returns:
        None for fewer than three members, or where no two lie near enough for their turns to be sure.
    """
    if along.size < _LEAST:
        return None
    found = np.array([filter_course(along, turns, spacing_m, jitter * jitter_m, wander) for jitter, wander in _TRIALS])
    log_likelihood, mean, sd = found.T
    if not (sd < 0.99 * _WIDE * spacing_m).any():
        return None
    weights = np.exp(log_likelihood - log_likelihood.max())
    low, middle, high = (_quantile(share, weights / weights.sum(), mean, sd) for share in _LIMITS)
    return low, middle, high


@njit(cache=True, nogil=True)
def filter_course(
    along: NDArray[np.float64], turns: NDArray[np.int64], spacing_m: float, jitter_m: float, wander: float
) -> tuple[float, float, float]:
    """Log likelihood, and mean and standard deviation of the spacing, at one jitter and wander.

    Args:
        along: float64 (n,), metres.
        turns: int64 (n,).
        spacing_m: about what it is.
        jitter_m: standard deviation of each place.
        wander: standard deviation of each turn, as a fraction of the spacing.
    """
    noise, walk = jitter_m**2, (wander * spacing_m) ** 2
    place, spacing = along[0], spacing_m
    p_place, p_both, p_spacing = noise, 0.0, (_WIDE * spacing_m) ** 2
    total = 0.0
    for n in range(1, along.size):
        gap = float(turns[n] - turns[n - 1])
        place += gap * spacing
        p_place += gap * (2.0 * p_both + gap * p_spacing + walk)
        p_both += gap * p_spacing
        variance = p_place + noise
        if variance > (_LOST * spacing_m) ** 2:
            place, p_place, p_both = along[n], noise, 0.0
            continue
        off = along[n] - place
        gain_place, gain_spacing = p_place / variance, p_both / variance
        place += gain_place * off
        spacing += gain_spacing * off
        p_spacing -= gain_spacing * p_both
        p_both -= gain_place * p_both
        p_place -= gain_place * p_place
        total -= 0.5 * (np.log(2.0 * np.pi * variance) + off * off / variance)
    return total, spacing, np.sqrt(p_spacing)


def _quantile(share: float, weights: NDArray[np.float64], mean: NDArray[np.float64], sd: NDArray[np.float64]) -> float:
    """Of a mixture of normal distributions, by halving."""
    low, high = float((mean - 8.0 * sd).min()), float((mean + 8.0 * sd).max())
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if float(weights @ ndtr((middle - mean) / sd)) < share:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
