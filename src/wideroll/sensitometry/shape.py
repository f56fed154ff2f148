"""The inner coordinates of a fit, in which least squares walks straight.

The Richards parameters b, k and q pull against one another. In (low, ln rise, place of greatest slope, ln |k|,
ln (q − least q)) they hardly do, rise and q can't leave their domain, and the limit of small q is a smooth one
(Gompertz's curve).
"""

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import jacobian_of

__all__ = ["Shape", "starting_shapes"]

_LEAST_Q: Final = 0.02
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
    """A curve in inner coordinates ``theta`` (5,), or (4,) when ``low`` is held."""

    theta: Floats
    sign: float
    low: float | None

    @property
    def free(self) -> int:
        """How many coordinates are fitted."""
        return len(self.theta)

    @property
    def on_edge(self) -> bool:
        """Whether q lies on its lower border, where least squares may be stuck: the slope there is nil."""
        return bool(self.theta[-1] < _EDGE)

    def at(self, theta: Floats) -> "Shape":
        """The same kind of curve elsewhere."""
        return Shape(theta=theta, sign=self.sign, low=self.low)

    def parameters(self) -> Floats:
        """(low, rise, b, k, q)."""
        low = self.theta[0] if self.low is None else self.low
        place = self.theta[-3]
        rise, rate, skew = np.exp(np.clip(self.theta[[-4, -2, -1]], -_WIDEST, _WIDEST))
        k, q = self.sign * rate, _LEAST_Q + skew
        return np.array([low, rise, np.log(q) + k * place, k, q])

    def jacobian(self, x: Floats) -> Floats:
        """Derivatives of density (n,) by the coordinates."""
        parameters = self.parameters()
        _, rise, _, k, q = parameters
        by_low, by_rise, by_b, by_k, by_q = jacobian_of(parameters, x).T
        place, skew = self.theta[-3], q - _LEAST_Q
        columns = [by_rise * rise, by_b * k, k * (by_k + by_b * place), skew * (by_q + by_b / q)]
        return np.stack(columns if self.low is not None else [by_low, *columns], axis=-1)


def starting_shapes(x: Floats, y: Floats, low: float | None) -> tuple[Shape, Shape]:
    """The best of a coarse grid over place, rate and skew, and the best of those far from the border of q.

    Low and rise follow by linear least squares.
    """
    sign = 1.0 if stats.rankdata(y) @ (x - x.mean()) >= 0.0 else -1.0
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
    best, second = (grid[int(np.argmin(m)), 0 if low is None else 1 :] for m in (misfits, inside))
    return Shape(theta=best, sign=sign, low=low), Shape(theta=second, sign=sign, low=low)


def _linear(share: Floats, y: Floats, low: float | None) -> tuple[Floats, Floats, Floats]:
    """Low, rise and sum of squares of each row of shares (grid, n)."""
    middle, level = (share.mean(axis=1), y.mean()) if low is None else (np.zeros(len(share)), low)
    centred = share - middle[:, np.newaxis]
    rises = centred @ (y - level) / np.maximum((centred**2).sum(axis=1), np.finfo(np.float64).tiny)
    misfits = ((y - level - rises[:, np.newaxis] * centred) ** 2).sum(axis=1)
    return level - rises * middle, rises, misfits


_GRID: Final = tuple(itertools.product(_PLACES, _RATES, _SKEWS))
