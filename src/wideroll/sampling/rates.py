"""Rates of marks with exact limits (Garwood 1936)."""

import math

from scipy.special import gammainccinv, gammaincinv

from wideroll.errors import ArgumentError
from wideroll.sampling.model import RateLimits

__all__ = ["area_needed", "check_confidence", "rate_limits"]


def rate_limits(count: int, extent: float, confidence: float = 0.95) -> RateLimits:
    """Rate per unit of extent, with exact two-sided limits for a Poisson count.

    low = χ²(α/2; 2k)/2 and high = χ²(1 − α/2; 2k + 2)/2, each over the extent, where k is the count and
    α = 1 − confidence; low is 0 for k = 0 (Garwood 1936, *Biometrika* 28:437–442).

    Args:
        count: marks found, 0 or more.
        extent: what was looked at (m², or m for a rate along), greater than 0.
        confidence: of the interval between both limits, between 0 and 1.

    Raises:
        ArgumentError: when an argument is outside its range.

    Example:
        >>> rate = rate_limits(10, 2.0)
        >>> rate.rate, round(rate.low, 3), round(rate.high, 3)
        (5.0, 2.398, 9.195)
    """
    if count < 0:
        raise ArgumentError(where="count", rule="must be 0 or more", value=count, mend="Give the number of marks.")
    if not (math.isfinite(extent) and extent > 0.0):
        raise ArgumentError(
            where="extent", rule="must be greater than 0", value=extent, mend="Give the area or length looked at."
        )
    check_confidence(confidence)
    tail = (1.0 - confidence) / 2.0
    low = float(gammaincinv(count, tail)) if count else 0.0
    high = float(gammainccinv(count + 1, tail))
    return RateLimits(
        count=count,
        extent=extent,
        confidence=confidence,
        rate=count / extent,
        low=low / extent,
        high=high / extent,
    )


def area_needed(limit: float, confidence: float = 0.95, *, count: int = 0) -> float:
    """Extent in which no more than ``count`` marks must be found to prove that the rate is at most ``limit``.

    For no mark −ln(1 − confidence) / limit: the probability of no mark there at a rate of ``limit`` is 1 − confidence
    (Poisson). For k marks χ²(confidence; 2k + 2) / (2 limit), where Garwood's one-sided upper limit is the limit.

    Args:
        limit: greatest allowed rate per unit of extent, greater than 0.
        confidence: one-sided, between 0 and 1.
        count: marks that may be found, 0 or more.

    Returns:
        Extent in the unit that the rate is per: m² for a limit in marks per m².

    Raises:
        ArgumentError: when an argument is outside its range.

    Example:
        >>> round(area_needed(2.0), 3), round(area_needed(2.0, count=1), 3)
        (1.498, 2.372)
    """
    if not (math.isfinite(limit) and limit > 0.0):
        raise ArgumentError(
            where="limit", rule="must be greater than 0", value=limit, mend="No area proves that there are none at all."
        )
    check_confidence(confidence)
    if count < 0:
        raise ArgumentError(where="count", rule="must be 0 or more", value=count, mend="Give the number of marks.")
    return float(gammainccinv(count + 1, 1.0 - confidence)) / limit if count else -math.log1p(-confidence) / limit


def check_confidence(confidence: float) -> None:
    """Refuse a confidence that isn't one.

    Raises:
        ArgumentError: when it isn't between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="must lie between 0 and 1", value=confidence, mend="Give for example 0.95."
        )
