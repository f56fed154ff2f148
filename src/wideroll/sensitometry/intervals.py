"""Intervals of anything computed from a curve, by the delta method.

The measure is evaluated with the parameters moved a little along each axis of their covariance; the standard error is
the root of the summed squares of its slopes in standard deviations. Source: GUM (JCGM 100:2008) 5.2; from memory.
"""

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numba import njit
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import CurveFit, Floats
from wideroll.sensitometry.richards import LEAST_Q

__all__ = ["check_confidence", "effective_freedom", "half_width", "value_and_error"]

_STEP_SD: Final = 1e-3
_DOMAIN_SHARE: Final = 1e-3
_RISE, _Q = 1, 4
_FITS_KEPT: Final = 32
"""A dozen measures are read off one fit in turn."""


def value_and_error(fit: CurveFit, measure: Callable[[Floats], Floats]) -> tuple[float, float]:
    """A measure of the fitted curve and its standard error; infinite when no reading is left to judge the noise by.

    Args:
        fit: the curve.
        measure: from parameters (m, 5) to values (m,).
    """
    # a strip that says nothing can send a point of construction to infinity; what comes of it is NaN and extrapolated
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if fit.degrees_of_freedom < 1:
            return float(measure(fit.parameters[np.newaxis])[0]), np.inf
        step, moved = _moved(fit)
        values = measure(moved)
        return float(values[0]), _error_of(values, step)


def half_width(error: Floats | float, degrees_of_freedom: float, confidence: float) -> Floats | float:
    """Half the width of the interval: Student's t times the standard error.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.
    """
    check_confidence(confidence)
    if degrees_of_freedom < 1:
        return np.full_like(error, np.inf)
    return error * _student(degrees_of_freedom, confidence)


@lru_cache(maxsize=_FITS_KEPT)
def _student(degrees_of_freedom: float, confidence: float) -> float:
    return float(special.stdtrit(degrees_of_freedom, 0.5 + confidence / 2.0))


def effective_freedom(errors: Sequence[float], freedoms: Sequence[float]) -> float:
    """Degrees of freedom of the root of the summed squares of independent standard errors.

    Formula: Welch and Satterthwaite, GUM (JCGM 100:2008) G.4.1, from memory. The least of them where an error isn't
    finite, 0 where one has none.
    """
    if min(freedoms) < 1:
        return 0.0
    squares = [error**2 for error in errors]
    below = math.fsum(square**2 / freedom for square, freedom in zip(squares, freedoms, strict=True))
    return math.fsum(squares) ** 2 / below if 0.0 < below < math.inf else min(freedoms)


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that isn't a probability.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="between 0 and 1", value=confidence, mend="Give a probability such as 0.95."
        )


@njit(cache=True, nogil=True, error_model="numpy")
def _error_of(values: Floats, step: float) -> float:
    """Standard error from values at the fit (first) and moved up and down each axis (2 × 5)."""
    size = (len(values) - 1) // 2
    squares = 0.0
    for i in range(size):
        squares += ((values[1 + i] - values[1 + size + i]) / (2.0 * step)) ** 2
    return math.sqrt(squares)


@lru_cache(maxsize=_FITS_KEPT)
def _moved(fit: CurveFit) -> tuple[float, Floats]:
    """The step in standard deviations, and parameters (11, 5) at the fit and up and down each axis."""
    step, moved = _axes(fit.parameters, fit.covariance)
    return step, moved


@njit(cache=True, nogil=True, error_model="numpy")
def _axes(parameters: Floats, covariance: Floats) -> tuple[float, Floats]:
    size = len(parameters)
    scale = np.empty(size)
    for i in range(size):
        scale[i] = math.sqrt(covariance[i, i]) if covariance[i, i] > 0.0 else 1.0
    correlation = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            correlation[i, j] = covariance[i, j] / scale[i] / scale[j]
    variances, axes = np.linalg.eigh(correlation)
    # a badly known rise or q is moved by less than its own size, where the slopes are still straight
    step = min(_STEP_SD, _DOMAIN_SHARE * parameters[_RISE] / scale[_RISE])
    step = min(step, _DOMAIN_SHARE * (parameters[_Q] - LEAST_Q) / scale[_Q])
    moved = np.empty((2 * size + 1, size))
    moved[0] = parameters
    for j in range(size):
        for i in range(size):
            move = step * axes[i, j] * math.sqrt(max(variances[j], 0.0)) * scale[i]
            moved[1 + j, i] = parameters[i] + move
            moved[1 + size + j, i] = parameters[i] - move
    return step, moved
