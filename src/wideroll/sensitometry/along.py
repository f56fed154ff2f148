"""Curves held against one another along log H: differences, their standard errors, and the shift that aligns two.

Compiled, as a strip asks for six such comparisons at some sixty places each.
"""

import math
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.richards import density_on, gradient_on, log_h_on, slopes_on

__all__ = ["align", "errors_between", "held_against", "pair_differences"]

_TURNS: Final = 6
_SETTLED: Final = 1e-10
_MOST_STEP: Final = 0.5
_TINY: Final = 1e-300


@njit(cache=True, nogil=True, error_model="numpy")
def held_against(curve: Floats, covariance: Floats, aim: Floats, x: Floats) -> Floats:
    """A curve less its aim at log H (m,), (4, m).

    Rows: of density, its standard error, of log H at the aim's density (NaN where the curve never has it), its error.
    """
    found = np.empty((4, len(x)))
    slopes = np.empty(len(curve))
    for i in range(len(x)):
        wanted = density_on(aim, x[i])
        found[0, i] = density_on(curve, x[i]) - wanted
        slopes_on(curve, x[i], slopes)
        found[1, i] = _error(slopes, covariance)
        place = log_h_on(curve, wanted - curve[0])
        found[2, i] = place - x[i]
        slopes_on(curve, place, slopes)
        found[3, i] = _error(slopes, covariance) / abs(gradient_on(curve, place))
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def pair_differences(curves: Floats, covariances: Floats, aims: Floats, x: Floats) -> Floats:
    """Density of the first curve less the second's, less the aims' difference, at log H (m,), and its error: (2, m).

    Args:
        curves: parameters (2, 5).
        covariances: theirs (2, 5, 5).
        aims: the aims' parameters (2, 5); (0, 5) for none.
        x: log H (m,).
    """
    found = np.empty((2, len(x)))
    slopes = np.empty(curves.shape[1])
    for i in range(len(x)):
        found[0, i] = density_on(curves[0], x[i]) - density_on(curves[1], x[i])
        if len(aims):
            found[0, i] -= density_on(aims[0], x[i]) - density_on(aims[1], x[i])
        squares = 0.0
        for which in range(2):
            slopes_on(curves[which], x[i], slopes)
            squares += _error(slopes, covariances[which]) ** 2
        found[1, i] = math.sqrt(squares)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def errors_between(curves: Floats, covariances: Floats, x: Floats) -> Floats:
    """Standard error (2,) that each curve gives the change of its density from one log H to another, x (2,)."""
    errors = np.empty(2)
    here, there = np.empty(curves.shape[1]), np.empty(curves.shape[1])
    for which in range(2):
        slopes_on(curves[which], x[0], here)
        slopes_on(curves[which], x[1], there)
        for j in range(len(here)):
            here[j] -= there[j]
        errors[which] = _error(here, covariances[which])
    return errors


@njit(cache=True, nogil=True, error_model="numpy")
def align(curves: Floats, covariances: Floats, aims: Floats, x: Floats) -> tuple[float, Floats]:
    """How far along log H the first curve must be read to lie best over the second, and the errors (2,) each gives.

    Best: with the least scatter of their difference less the aims', by Gauss and Newton's method. Arguments as
    ``pair_differences``.
    """
    first, second = curves[0], curves[1]
    level, weight = np.empty(len(x)), np.empty(len(x))
    for i in range(len(x)):
        level[i] = density_on(second, x[i])
        if len(aims):
            level[i] += density_on(aims[0], x[i]) - density_on(aims[1], x[i])
    moved = 0.0
    for _ in range(_TURNS):
        for i in range(len(x)):
            weight[i] = gradient_on(first, x[i] + moved)
        _centre(weight)
        step = 0.0
        for i in range(len(x)):
            step += weight[i] * (density_on(first, x[i] + moved) - level[i])
        step = min(max(step, -_MOST_STEP), _MOST_STEP)
        moved += step
        if abs(step) < _SETTLED:
            break
    errors = np.empty(2)
    for which in range(2):
        answer, slopes = np.zeros(curves.shape[1]), np.empty(curves.shape[1])
        for i in range(len(x)):
            slopes_on(curves[which], x[i] + (moved if which == 0 else 0.0), slopes)
            for j in range(len(slopes)):
                answer[j] += weight[i] * slopes[j]
        errors[which] = _error(answer, covariances[which])
    return moved, errors


@njit(cache=True, nogil=True, error_model="numpy")
def _centre(slope: Floats) -> None:
    """Turn slopes (m,), in place, into the weights by which least squares about a free mean answers."""
    middle = squares = 0.0
    for one in slope:
        middle += one / len(slope)
    for one in slope:
        squares += (one - middle) ** 2
    for i in range(len(slope)):
        slope[i] = (middle - slope[i]) / max(squares, _TINY)


@njit(cache=True, nogil=True, error_model="numpy")
def _error(slopes: Floats, covariance: Floats) -> float:
    """Standard error of what answers so (5,) to parameters with this covariance (5, 5)."""
    variance = 0.0
    for i in range(len(slopes)):
        for j in range(len(slopes)):
            variance += slopes[i] * covariance[i, j] * slopes[j]
    return math.nan if math.isnan(variance) else math.sqrt(max(variance, 0.0))
