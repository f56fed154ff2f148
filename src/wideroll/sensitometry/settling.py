"""The steps of a fit: the best curve with what it leaves, and an aim laid over readings.

Put together here rather than compiled as a whole: compiled functions are compiled again inside each that calls them.
"""

import math
from typing import Final, NamedTuple

import numpy as np

from wideroll.sensitometry.descent import (
    NO_TIES,
    Problem,
    descend,
    evaluate,
    greatest_studentised,
    median_sd,
    weigh,
)
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import density_of, jacobian_of
from wideroll.sensitometry.shape import inner_of, natural_of, starting_shapes
from wideroll.sensitometry.small_matrices import pseudo_inverse

__all__ = ["LEAST_SD", "Settled", "lay", "settle"]

LEAST_SD: Final = 0.004
"""Repeatability of a good densitometer (common practice): smaller departures are never a fault of the step."""
_TOLERANCE: Final = 1e-12
_EDGE: Final = -5.0
"""Logarithm of q less its least value, beyond which q counts as lying on its border."""
_PARAMETERS: Final = 5


class Settled(NamedTuple):
    """The best curve of some readings."""

    curve: Floats
    """(low, rise, place, k, q)."""
    residual: Floats
    """Of each reading (n,)."""
    inverse: Floats
    """How the parameters answer to a change of each reading (5, n); zero for what was held."""
    scale: float
    """Robust standard deviation of the readings."""
    farthest: float
    """Greatest residual in the sense of ``greatest_studentised``."""


def settle(x: Floats, y: Floats, low: float) -> Settled:
    """Plain least squares from the best start; low is held unless it is NaN."""
    curve = _best_curve(x, y, low)
    residual = y - density_of(curve, x)
    first = 0 if math.isnan(low) else 1
    slopes = jacobian_of(curve, x)
    inverse = np.zeros((_PARAMETERS, len(x)))
    inverse[first:] = pseudo_inverse(slopes[:, first:].copy() if first else slopes)
    return Settled(
        curve=curve,
        residual=residual,
        inverse=inverse,
        scale=median_sd(residual, _PARAMETERS - first, LEAST_SD),
        farthest=greatest_studentised(residual, slopes, inverse),
    )


def _best_curve(x: Floats, y: Floats, low: float) -> Floats:
    """Once more from further inside if the walk ended on a border, where it may be stuck: the slope there is nil."""
    start, inside, sign = starting_shapes(x, y, low)
    first = 0 if math.isnan(low) else 1
    problem = Problem(sign=sign, x=x, y=y, whiten=np.ones((1, len(x))), ties=NO_TIES, first=first)
    theta, squares = descend(problem, start, _TOLERANCE)
    if theta[-1] < _EDGE:
        other, fewer = descend(problem, inside, _TOLERANCE)
        theta = other if fewer < squares else theta
    curve: Floats = natural_of(theta, sign)
    return curve


def lay(problem: Problem, start: Floats, free: Floats) -> tuple[Floats, float, float, Floats]:
    """The tied curve (5,) nearest the start, its sum of squares, that of the free curve, and answers (5, n + 2).

    Args:
        problem: readings, whitened, and ties.
        start: (low, rise, place, k, q) of the aim.
        free: those of the free fit, whose sum of squares leaves the ties out.
    """
    n = len(problem.x)
    inner, sign = inner_of(start)
    theta, squares = descend(problem, inner, _TOLERANCE)
    curve: Floats = natural_of(theta, sign)
    misfit, unused = np.empty(n + 2), np.empty((0, _PARAMETERS))
    free_squares = evaluate(problem._replace(ties=NO_TIES), inner_of(free)[0], misfit, unused)
    slopes = np.zeros((n + 2, _PARAMETERS))
    slopes[:n] = jacobian_of(curve, problem.x)
    weigh(problem.whiten, misfit, slopes, n)
    slopes[n, 1], slopes[n + 1, 4] = problem.ties[0, 1], problem.ties[1, 1]
    return curve, squares, free_squares, pseudo_inverse(slopes)
