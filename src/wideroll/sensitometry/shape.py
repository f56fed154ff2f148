"""The inner coordinates of a fit, in which least squares walks straight.

In (low, ln rise, place of greatest slope, ln |k|, ln (q − least q)) the parameters hardly pull against one another,
and rise and q can't leave their domain.
"""

import itertools
import math
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import LEAST_Q, share_and_slopes

__all__ = ["WIDEST", "inner_of", "natural_of", "starting_shapes"]

WIDEST: Final = 14.0
"""Bound on the logarithmic coordinates, so that a hopeless strip ends instead of overflowing."""
_PLACES: Final = (-0.1, 0.1, 0.35, 0.6, 0.85, 1.1, 1.4)
_RATES: Final = (1.0, 2.5, 6.0, 14.0, 32.0)
_SKEWS: Final = (0.1, 1.0)
_FAR_INSIDE: Final = 0.5
_GRID: Final = np.array(list(itertools.product(_PLACES, _RATES, _SKEWS)))
"""Place and rate in widths of the readings; skew."""
_LEAST_RISE: Final = 1e-3


@njit(cache=True, nogil=True)
def inner_of(parameters: Floats) -> tuple[Floats, float]:
    """Inner coordinates (5,) of (low, rise, place, k, q), and the sign of the slope."""
    theta = parameters.copy()
    theta[1] = math.log(parameters[1])
    theta[3] = math.log(abs(parameters[3]))
    theta[4] = math.log(max(parameters[4] - LEAST_Q, math.exp(-WIDEST)))
    return theta, math.copysign(1.0, parameters[3])


@njit(cache=True, nogil=True)
def natural_of(theta: Floats, sign: float) -> Floats:
    """(low, rise, place, k, q) of inner coordinates."""
    natural = np.empty(5)
    natural[0] = theta[0]
    natural[1] = math.exp(theta[1])
    natural[2] = theta[2]
    natural[3] = sign * math.exp(theta[3])
    natural[4] = LEAST_Q + math.exp(theta[4])
    return natural


@njit(cache=True, nogil=True)
def starting_shapes(x: Floats, y: Floats, low: float) -> tuple[Floats, Floats, float]:
    """The best of a coarse grid over place, rate and skew, the best of those far from the border of q, and the sign.

    Low and rise follow by linear least squares; low is held unless it is NaN.
    """
    sign = _sign(x, y)
    best, inside = _search(x, y, sign, low, _GRID)
    return best, inside, sign


@njit(cache=True, nogil=True)
def _sign(x: Floats, y: Floats) -> float:
    """1 where the readings rise with log H on the whole, else −1; by ranks, which a wild reading can't turn round."""
    total = 0.0
    for i in range(len(x)):
        for j in range(i):
            if y[i] != y[j]:
                total += x[i] - x[j] if y[i] > y[j] else x[j] - x[i]
    return 1.0 if total >= 0.0 else -1.0


@njit(cache=True, nogil=True)
def _search(x: Floats, y: Floats, sign: float, low: float, grid: Floats) -> tuple[Floats, Floats]:
    n = len(x)
    first, width = x[0], x[n - 1] - x[0]
    least, most = y[0], y[0]
    for i in range(n):
        least, most = min(least, y[i]), max(most, y[i])
    least_rise = _LEAST_RISE * (most - least)
    found = np.zeros((2, 5))
    misfits = np.full(2, np.inf)
    share = np.empty(n)
    for row in range(len(grid)):
        start, rate, skew = grid[row, 0], grid[row, 1] / width, grid[row, 2]
        # a falling curve is a rising one in the mirror
        place = first + width * (start if sign > 0.0 else 1.0 - start)
        for i in range(n):
            share[i] = share_and_slopes(sign * rate * (x[i] - place), skew)[0]
        level, rise, misfit = _linear(share, y, low)
        if not rise > 0.0:
            continue
        for rank in range(2):
            if misfit < misfits[rank] and (rank == 0 or skew >= _FAR_INSIDE):
                misfits[rank] = misfit
                found[rank, 0] = level
                found[rank, 1] = math.log(max(rise, least_rise))
                found[rank, 2] = place
                found[rank, 3] = math.log(rate)
                found[rank, 4] = math.log(skew - LEAST_Q)
    return found[0], found[1] if misfits[1] < math.inf else found[0]


@njit(cache=True, nogil=True)
def _linear(share: Floats, y: Floats, low: float) -> tuple[float, float, float]:
    """Low, rise and sum of squares of the readings against their shares; low is held unless it is NaN."""
    n = len(y)
    middle, level = 0.0, low
    if math.isnan(low):
        level = 0.0
        for i in range(n):
            middle += share[i] / n
            level += y[i] / n
    top = bottom = 0.0
    for i in range(n):
        top += (share[i] - middle) * (y[i] - level)
        bottom += (share[i] - middle) ** 2
    rise = top / max(bottom, 1e-300)
    misfit = 0.0
    for i in range(n):
        misfit += (y[i] - level - rise * (share[i] - middle)) ** 2
    return level - rise * middle, rise, misfit
