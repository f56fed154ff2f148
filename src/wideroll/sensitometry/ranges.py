"""The part of an aim's useful range that readings cover, and how well a curve is known along it."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numba import njit

from wideroll.sensitometry.levels import useful_range
from wideroll.sensitometry.model import CurveFit, Floats, Measure, Record
from wideroll.sensitometry.richards import jacobian_of

__all__ = ["covered_places", "errors_along", "not_covered", "useful_range_of"]

_SHARES: Final = np.linspace(0.0, 1.0, 61)
_STEP_LOG_H: Final = 0.15
"""Readings may end this much (one step of the usual tablet) inside the aim's useful range before a measure over it
counts as extrapolated."""
_MOST_AIMS_KEPT: Final = 64

useful_range_of = lru_cache(maxsize=_MOST_AIMS_KEPT)(useful_range)
"""``useful_range``, kept: the same few aims come back with every strip."""


def covered_places(wanted: tuple[float, float], fits: Sequence[CurveFit]) -> tuple[Floats, bool]:
    """Log H (m,) over what all readings cover of the wanted range, and whether a step or more of it is missing.

    None, (0,), where they cover nothing.
    """
    first = max(wanted[0], *(fit.log_h_range[0] for fit in fits))
    last = min(wanted[1], *(fit.log_h_range[1] for fit in fits))
    if last < first:
        return np.empty(0), True
    return first + (last - first) * _SHARES, first - wanted[0] > _STEP_LOG_H or wanted[1] - last > _STEP_LOG_H


def errors_along(fit: CurveFit, log_h: Floats) -> Floats:
    """Standard error (m,) of the curve's density at log H (m,)."""
    errors: Floats = _errors(jacobian_of(fit.parameters, log_h), fit.covariance)
    return errors


@njit(cache=True, nogil=True, error_model="numpy")
def _errors(slopes: Floats, covariance: Floats) -> Floats:
    errors = np.empty(len(slopes))
    size = len(covariance)
    for row in range(len(slopes)):
        variance = 0.0
        for i in range(size):
            for j in range(size):
                variance += slopes[row, i] * covariance[i, j] * slopes[row, j]
        errors[row] = math.nan if math.isnan(variance) else math.sqrt(max(variance, 0.0))
    return errors


def not_covered(name: str, unit: str, record: Record | None) -> Measure:
    """The measure that says that the readings don't reach."""
    return Measure(
        name=name,
        value=math.nan,
        low=math.nan,
        high=math.nan,
        unit=unit,
        record=record,
        extrapolated=True,
        note="the readings don't cover the aim's useful range",
    )
