"""Limits of a rate, each one-sided at the criterion's confidence."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv, gammaincinv

__all__ = ["rate_at_least", "rate_at_most"]

Floats: TypeAlias = NDArray[np.float64]
Counts: TypeAlias = NDArray[np.int64]

# Garwood (1936). A room doesn't import another, so these two lines also stand in sampling, which has the two-sided
# interval; a test holds the two together.


def rate_at_least(count: Counts | int, area_m2: Floats | float, confidence: float) -> Floats:
    """Lower limit of a rate per m²: a Poisson count this high is rarer than 1 − confidence below it. 0 for no marks."""
    counts, numbers = np.unique(np.atleast_1d(count), return_inverse=True)
    bounds = np.where(counts > 0, gammaincinv(np.maximum(counts, 1), 1.0 - confidence), 0.0)
    return np.asarray(bounds[numbers] / area_m2, dtype=np.float64)


def rate_at_most(count: int, area_m2: float, confidence: float) -> float:
    """Upper limit of a rate per m²: a Poisson count this low is rarer than 1 − confidence above it."""
    return float(gammainccinv(count + 1, 1.0 - confidence)) / area_m2
