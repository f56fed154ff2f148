"""Intervals from standard errors."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats

__all__ = ["check_confidence", "effective_freedom", "half_width", "scheffe_factor"]

_QUANTILES_KEPT: Final = 1024


def half_width(error: Floats | float, degrees_of_freedom: float, confidence: float) -> Floats | float:
    """Half the width of the interval: Student's t times the standard error.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.
    """
    if degrees_of_freedom < 1:
        check_confidence(confidence)
        return np.full_like(error, np.inf)
    return error * _student(round(degrees_of_freedom, 1), confidence)


def scheffe_factor(dimensions: int, degrees_of_freedom: float, confidence: float) -> float:
    """What a standard error is multiplied by for intervals that hold at all places at once.

    √(m·F), F the quantile with m and the error's degrees of freedom, m the dimensions of what is looked at: H. Scheffé,
    Biometrika 40 (1953) 87, from memory.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.
    """
    check_confidence(confidence)
    if degrees_of_freedom < 1:
        return math.inf
    return _scheffe(dimensions, round(degrees_of_freedom, 1), confidence) if dimensions else 0.0


@lru_cache(maxsize=_QUANTILES_KEPT)
def _scheffe(dimensions: int, degrees_of_freedom: float, confidence: float) -> float:
    return math.sqrt(dimensions * float(special.fdtri(dimensions, degrees_of_freedom, confidence)))


@lru_cache(maxsize=_QUANTILES_KEPT)
def _student(degrees_of_freedom: float, confidence: float) -> float:
    check_confidence(confidence)
    return float(special.stdtrit(degrees_of_freedom, 0.5 + confidence / 2.0))


def effective_freedom(errors: Sequence[float], freedoms: Sequence[float]) -> float:
    """Degrees of freedom of the root of the summed squares of independent standard errors.

    Formula: Welch and Satterthwaite, GUM (JCGM 100:2008) G.4.1, from memory. The least of them where an error isn't
    finite, 0 where one has none.
    """
    if min(freedoms) < 1:
        return 0.0
    total = below = 0.0
    for error, freedom in zip(errors, freedoms, strict=True):
        square = error * error
        total += square
        below += square * square / freedom
    return total * total / below if 0.0 < below < math.inf else min(freedoms)


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that isn't a probability.

    Raises:
        ArgumentError: when confidence doesn't lie between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="between 0 and 1", value=confidence, mend="Give a probability such as 0.95."
        )
