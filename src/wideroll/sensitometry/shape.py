"""The inner coordinates of a fit, in which least squares walks straight.

The Richards parameters b, k and q pull against one another. In (low, ln rise, place of greatest slope, ln |k|,
ln (q − least q)) they hardly do, rise and q can't leave their domain, and the limit of small q is a smooth one
(Gompertz's curve).
"""

import itertools
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats

__all__ = ["LEAST_Q", "Shape", "shape_of", "starting_shapes"]

_ALL: Final = (0, 1, 2, 3, 4)

LEAST_Q: Final = 0.02
"""Next to the limit already: closer to it b and ln q grow without bound together, and only rounding is left."""
_EDGE: Final = -5.0
_WIDEST: Final = 14.0
"""Bound on the logarithmic coordinates, so that a hopeless strip ends instead of overflowing."""
_PLACES: Final = (-0.1, 0.1, 0.3, 0.5, 0.7, 0.9, 1.1, 1.4)
_RATES: Final = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
_SKEWS: Final = (0.1, 0.4, 1.0, 3.0)
_FAR_INSIDE: Final = 0.4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """A curve in inner coordinates ``theta`` (5,), of which those numbered in ``free`` are fitted, the others held."""

    theta: Floats
    sign: float
    free: tuple[int, ...] = _ALL

    @property
    def on_edge(self) -> bool:
        """Whether q lies on its lower border, where least squares may be stuck: the slope there is nil."""
        return bool(self.theta[4] < _EDGE)

    @property
    def held_low(self) -> float | None:
        """The minimum density if it is held."""
        return None if 0 in self.free else float(self.theta[0])

    @property
    def values(self) -> Floats:
        """The free coordinates."""
        return self.theta[list(self.free)]

    def at(self, values: Floats) -> "Shape":
        """The same kind of curve with other values of the free coordinates."""
        theta = values
        if self.free != _ALL:
            theta = self.theta.copy()
            theta[list(self.free)] = values
        return Shape(theta=theta, sign=self.sign, free=self.free)

    def parameters(self) -> Floats:
        """(low, rise, b, k, q)."""
        return np.array(_natural(self.theta, self.sign))

    def density(self, x: Floats) -> Floats:
        """Density (n,) at log H (n,)."""
        density: Floats = _density(self.theta, self.sign, x)
        return density

    def slopes(self, x: Floats) -> Floats:
        """Derivatives of density (free, n) by the free coordinates."""
        slopes: Floats = _slopes(self.theta, self.sign, x)
        return slopes if self.free == _ALL else slopes[list(self.free)]


def shape_of(parameters: Floats) -> Shape:
    """The shape of a curve whose (low, rise, b, k, q) are known."""
    low, rise, b, k, q = (float(value) for value in parameters)
    skew = max(q - LEAST_Q, math.exp(-_WIDEST))
    theta = np.array([low, math.log(rise), (b - math.log(q)) / k, math.log(abs(k)), math.log(skew)])
    return Shape(theta=theta, sign=math.copysign(1.0, k))


def starting_shapes(x: Floats, y: Floats, low: float | None) -> tuple[Shape, Shape]:
    """The best of a coarse grid over place, rate and skew, and the best of those far from the border of q.

    Low and rise follow by linear least squares.
    """
    ranks = np.sign(y[:, np.newaxis] - y).sum(axis=1)
    sign = 1.0 if ranks @ (x - x.mean()) >= 0.0 else -1.0
    width = float(np.ptp(x))
    start, rates, skews = (np.array(column)[:, np.newaxis] for column in zip(*_GRID, strict=True))
    # a falling curve is a rising one in the mirror
    places = x[0] + width * (start if sign > 0.0 else 1.0 - start)
    z = np.log(skews) - sign * rates / width * (x - places)
    share = np.exp(-np.logaddexp(0.0, z) / skews)
    lows, rises, misfits = _linear(share, y, low)
    misfits = np.where(rises > 0.0, misfits, np.inf)
    inside = np.where(skews[:, 0] >= _FAR_INSIDE, misfits, np.inf)
    rises = np.log(np.maximum(rises, np.ptp(y) * 1e-3))
    grid = np.stack([lows, rises, places[:, 0], np.log(rates[:, 0] / width), np.log(skews[:, 0])], axis=-1)
    free = _ALL if low is None else _ALL[1:]
    best, second = (Shape(theta=grid[int(np.argmin(m))], sign=sign, free=free) for m in (misfits, inside))
    return best, second


def _linear(share: Floats, y: Floats, low: float | None) -> tuple[Floats, Floats, Floats]:
    """Low, rise and sum of squares of each row of shares (grid, n)."""
    middle, level = (share.mean(axis=1), y.mean()) if low is None else (np.zeros(len(share)), low)
    centred = share - middle[:, np.newaxis]
    rises = centred @ (y - level) / np.maximum((centred**2).sum(axis=1), np.finfo(np.float64).tiny)
    misfits = ((y - level - rises[:, np.newaxis] * centred) ** 2).sum(axis=1)
    return level - rises * middle, rises, misfits


_GRID: Final = tuple(itertools.product(_PLACES, _RATES, _SKEWS))


# compiled, because least squares asks for the curve some fifty times a fit, and twenty readings are few for array
# operations; the same formulas over arrays are in richards.py


@njit(cache=True, nogil=True)
def _natural(theta: Floats, sign: float) -> tuple[float, float, float, float, float]:
    rise = math.exp(min(max(theta[1], -_WIDEST), _WIDEST))
    k = sign * math.exp(min(max(theta[3], -_WIDEST), _WIDEST))
    q = LEAST_Q + math.exp(min(max(theta[4], -_WIDEST), _WIDEST))
    return theta[0], rise, math.log(q) + k * theta[2], k, q


@njit(cache=True, nogil=True)
def _density(theta: Floats, sign: float, x: Floats) -> Floats:
    low, rise, b, k, q = _natural(theta, sign)
    density = np.empty(len(x))
    for i in range(len(x)):
        density[i] = low + rise * math.exp(-_softplus(b - k * x[i]) / q)
    return density


@njit(cache=True, nogil=True)
def _slopes(theta: Floats, sign: float, x: Floats) -> Floats:
    _, rise, b, k, q = _natural(theta, sign)
    place, skew = theta[2], q - LEAST_Q
    slopes = np.empty((5, len(x)))
    for i in range(len(x)):
        z = b - k * x[i]
        softplus = _softplus(z)
        share = math.exp(-softplus / q)
        by_b = -rise * share / q * math.exp(z - softplus)
        slopes[0, i] = 1.0
        slopes[1, i] = rise * share
        slopes[2, i] = k * by_b
        slopes[3, i] = k * by_b * (place - x[i])
        slopes[4, i] = skew * (rise * share * softplus / q**2 + by_b / q)
    return slopes


@njit(cache=True, nogil=True)
def _softplus(z: float) -> float:
    return max(z, 0.0) + math.log1p(math.exp(-abs(z)))
