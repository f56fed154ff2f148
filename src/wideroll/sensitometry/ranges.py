"""The part of an aim's useful range that readings cover."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from wideroll.sensitometry.levels import useful_range
from wideroll.sensitometry.model import CurveFit, Floats, Measure, Record

__all__ = ["covered_places", "not_covered", "useful_range_of"]

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
