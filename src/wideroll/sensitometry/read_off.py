"""Everything that is read off a curve by itself, in one go, with its standard errors.

By the delta method: each quantity is computed for the curve and for the curve moved a little along each axis of its
covariance; its standard error is the root of the summed squares of its slopes in standard deviations. Source: GUM (JCGM
100:2008) 5.2, from memory.
"""

import math
from collections.abc import Sequence
from enum import IntEnum
from functools import lru_cache
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.model import CurveFit, Floats
from wideroll.sensitometry.points import arc_angle_near, arc_angle_on, negative_chord, reversal_chord
from wideroll.sensitometry.richards import LEAST_Q, density_on, gradient_on, log_h_on, slope_place_on
from wideroll.sensitometry.small_matrices import principal_axes

__all__ = ["USEFUL_SHARE", "Quantity", "density_and_error", "errors_by", "read_off"]

USEFUL_SHARE: Final = 0.3
"""Of the greatest slope: the fractional-gradient criterion (L. A. Jones; from memory)."""
_STEP_SD: Final = 1e-3
_DOMAIN_SHARE: Final = 1e-3
_RISE, _Q = 1, 4
_DIAGONAL: Final = np.eye(5)
_FITS_KEPT: Final = 128
"""A dozen measures are read off one fit in turn, and the aims' fits come back with every strip."""


class Quantity(IntEnum):
    """Place of a quantity among those read off."""

    MINIMUM = 0
    MAXIMUM = 1
    DENSEST = 2
    """Density at the end of the readings where it is greatest."""
    GAMMA = 3
    """Greatest slope within the readings, without its sign."""
    CHORD_X1 = 4
    CHORD_Y1 = 5
    CHORD_X2 = 6
    CHORD_Y2 = 7
    CHORD_SLOPE = 8
    """Of the average gradient, without its sign: a negative's, or a reversal film's where density falls."""
    CHORD_MEAN = 9
    """Mean log H of the chord's ends."""
    ARC_ANGLE = 10
    ARC_SLOPE = 11
    """Contrast index; NaN where the curve has none or falls."""
    USEFUL_FIRST = 12
    USEFUL_LAST = 13
    USEFUL_SPAN = 14
    LOG_H_010 = 15
    LOG_H_015 = 16
    LOG_H_100 = 17
    """Log H at 0.10, 0.15 and 1.00 above the minimum."""


_COUNT: Final = len(Quantity)


@lru_cache(maxsize=_FITS_KEPT)
def read_off(fit: CurveFit) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Values and standard errors by ``Quantity``; errors are infinite when no reading is left to judge the noise by."""
    values, errors = _read_off(fit.parameters, fit.covariance, *fit.log_h_range)
    known = errors.tolist() if fit.degrees_of_freedom > 0 else [math.inf] * _COUNT
    return tuple(values.tolist()), tuple(known)


def errors_by(
    fit: CurveFit, parts: Sequence[Floats | None], quantities: Sequence[Quantity]
) -> tuple[tuple[float, ...], ...]:
    """Standard errors of some quantities by each part (5, 5) of the parameters' covariance; 0 where it has none."""
    none = (0.0,) * len(quantities)
    if all(part is None for part in parts):
        return (none,) * len(parts)
    # not along the part's own axes: where it is of lower rank than its size, those are rounding
    slopes = _slopes(fit.parameters, fit.covariance * _DIAGONAL, *fit.log_h_range)[list(quantities)]
    return tuple(
        none if part is None else tuple(math.sqrt(max(square, 0.0)) for square in _squares(slopes, part))
        for part in parts
    )


def _squares(slopes: Floats, part: Floats) -> list[float]:
    squares: list[float] = ((slopes @ part) * slopes).sum(axis=1).tolist()
    return squares


def density_and_error(fit: CurveFit, log_h: float) -> tuple[float, float]:
    """Density of the curve at log H, and its standard error."""
    value, error = _density(fit.parameters, fit.covariance, log_h)
    return float(value), float(error) if fit.degrees_of_freedom > 0 else math.inf


@njit(cache=True, nogil=True, error_model="numpy")
def _read_off(parameters: Floats, covariance: Floats, first: float, last: float) -> tuple[Floats, Floats]:
    size = len(parameters)
    step, moved = _axes(parameters, np.ascontiguousarray(covariance))
    table = _table(moved, first, last)
    errors = np.empty(_COUNT)
    for column in range(_COUNT):
        squares = 0.0
        for i in range(size):
            squares += ((table[1 + i, column] - table[1 + size + i, column]) / (2.0 * step)) ** 2
        errors[column] = math.sqrt(squares)
    return table[0], errors


@njit(cache=True, nogil=True, error_model="numpy")
def _slopes(parameters: Floats, variances: Floats, first: float, last: float) -> Floats:
    """Slopes (quantities, 5) by each parameter; 0 for one that was held. Variances are a diagonal matrix (5, 5)."""
    size = len(parameters)
    step, moved = _axes(parameters, variances)
    table = _table(moved, first, last)
    slopes = np.zeros((_COUNT, size))
    for i in range(size):
        if variances[i, i] > 0.0:
            for column in range(_COUNT):
                change = table[1 + i, column] - table[1 + size + i, column]
                slopes[column, i] = change / (2.0 * step * math.sqrt(variances[i, i]))
    return slopes


@njit(cache=True, nogil=True, error_model="numpy")
def _table(moved: Floats, first: float, last: float) -> Floats:
    """All quantities of curves (m, 5), the first of which the others lie near."""
    table = np.empty((len(moved), _COUNT))
    angle = arc_angle_on(moved[0]) if moved[0, 3] > 0.0 else math.nan
    for row in range(len(moved)):
        table[row, 10] = arc_angle_near(moved[row], angle) if row > 0 else angle
        _fill(moved[row], first, last, table[row])
    return table


@njit(cache=True, nogil=True, error_model="numpy")
def _fill(p: Floats, first: float, last: float, out: Floats) -> None:
    """Write all quantities but the angle, which must be there already."""
    rising = p[3] > 0.0
    out[0] = p[0]
    out[1] = p[0] + p[1]
    out[2] = density_on(p, last if rising else first)
    out[3] = abs(gradient_on(p, min(max(p[2], first), last)))
    out[4], out[5], out[6], out[7] = negative_chord(p) if rising else reversal_chord(p)
    out[8] = abs((out[7] - out[5]) / (out[6] - out[4]))
    out[9] = 0.5 * (out[4] + out[6])
    out[11] = math.tan(out[10])
    for i, side in ((12, -1.0), (13, 1.0)):
        out[i] = min(max(slope_place_on(p, USEFUL_SHARE, side), first), last)
    out[14] = out[13] - out[12]
    out[15], out[16], out[17] = log_h_on(p, 0.10), log_h_on(p, 0.15), log_h_on(p, 1.0)


@njit(cache=True, nogil=True, error_model="numpy")
def _density(parameters: Floats, covariance: Floats, x: float) -> tuple[float, float]:
    step, moved = _axes(parameters, np.ascontiguousarray(covariance))
    squares = 0.0
    for i in range(1, 1 + len(parameters)):
        change = density_on(moved[i], x) - density_on(moved[i + len(parameters)], x)
        squares += (change / (2.0 * step)) ** 2
    return density_on(parameters, x), math.sqrt(squares)


@njit(cache=True, nogil=True, error_model="numpy")
def _axes(parameters: Floats, covariance: Floats) -> tuple[float, Floats]:
    """The step in standard deviations, and parameters (11, 5) at the fit and up and down each axis."""
    size = len(parameters)
    scale = np.empty(size)
    for i in range(size):
        scale[i] = math.sqrt(covariance[i, i]) if covariance[i, i] > 0.0 else 1.0
    correlation = np.empty((size, size))
    for i in range(size):
        for j in range(size):
            correlation[i, j] = covariance[i, j] / scale[i] / scale[j]
            if not math.isfinite(correlation[i, j]):
                correlation[i, j] = 0.0
    variances, axes = principal_axes(correlation)
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
