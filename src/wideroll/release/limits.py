"""Limits of a rate, each one-sided at the criterion's confidence."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, gammainc, gammaincc, gammainccinv, gammaincinv, pdtr, xlogy

from wideroll.errors import ArgumentError
from wideroll.release.looks import KnownRate, Looked

__all__ = ["PoissonRate", "acceptable_count", "area_for", "poisson_rate", "rate_at_least", "rate_at_most"]

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


def area_for(count: int, limit: float, confidence: float) -> float:
    """Area in m² in which so many marks just prove a rate of ``limit`` per m²."""
    return float(gammainccinv(count + 1, 1.0 - confidence)) / limit


def acceptable_count(limit: float, area_m2: float, confidence: float) -> int:
    """The most marks on an area that still prove a rate of ``limit`` per m²; −1 where even none doesn't."""
    mean, count = limit * area_m2, -1
    if not gammainc(1, mean) >= confidence:
        return count
    low, high = 0, math.ceil(mean) + 1  # with as many marks as the limit lets expect nothing is proven from a half on
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if gammainc(middle + 1, mean) >= confidence else (low, middle)
    return low


@dataclass(frozen=True, slots=True, kw_only=True)
class PoissonRate:
    """Marks that fall independently, found with known probability, on an effective area in m²."""

    count: int
    area_m2: float
    p_agree: float = math.nan
    method: str = "Poisson (Garwood)"

    @property
    def rate(self) -> float:
        """Found."""
        return self.count / self.area_m2

    def at_most(self, confidence: float) -> float:
        """Upper limit, one-sided."""
        return rate_at_most(self.count, self.area_m2, confidence)

    def at_least(self, confidence: float) -> float:
        """Lower limit, one-sided."""
        return float(rate_at_least(self.count, self.area_m2, confidence)[0])

    def within(self, limit: float) -> float:
        """Confidence at which the upper limit is the limit: χ² of 2·limit·A with 2k + 2 degrees of freedom."""
        return float(gammainc(self.count + 1, limit * self.area_m2))

    def beyond(self, limit: float) -> float:
        """Confidence at which the lower limit is the limit."""
        return float(gammaincc(self.count, limit * self.area_m2)) if self.count else 0.0

    def released_at(self, rate: float, *, limit: float, confidence: float) -> float:
        """Probability of at most as many marks as still prove the limit."""
        count = acceptable_count(limit, self.area_m2, confidence)
        return float(pdtr(count, rate * self.area_m2)) if count >= 0 else 0.0


def poisson_rate(looks: Sequence[Looked]) -> KnownRate:
    """The rate where each probability of detection is known and marks don't come in clusters.

    Raises:
        ArgumentError: when a probability is uncertain; then ``decide`` needs a ``rate_of`` that allows for it.
    """
    if any(not look.detected.low == look.detected.value == look.detected.high for look in looks):
        raise ArgumentError(
            where="rate_of",
            rule="an uncertain probability of detection needs a reckoning that allows for it",
            value=[look.detected.value for look in looks],
            mend="Give decide a rate_of, as workflow does.",
        )
    areas = [look.area_m2 * look.detected.value for look in looks]
    count, area = sum(look.count for look in looks), math.fsum(areas)
    agree = math.nan
    if len(looks) > 1:
        expected = [count * one / area for one in areas]
        drop = math.fsum(float(xlogy(k.count, k.count / e if e else 1.0)) for k, e in zip(looks, expected, strict=True))
        agree = float(chdtrc(len(looks) - 1, max(2.0 * drop, 0.0)))
    return PoissonRate(count=count, area_m2=area, p_agree=agree)
