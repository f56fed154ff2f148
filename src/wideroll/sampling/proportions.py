"""Shares with exact limits (Clopper and Pearson 1934)."""

from scipy.special import betaincinv

from wideroll.errors import ArgumentError
from wideroll.sampling.rates import check_confidence

__all__ = ["share_limits"]


def share_limits(count: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Least and greatest share that ``count`` out of ``of`` agrees with, exact, two-sided.

    Quantiles of the beta distribution: low = B(α/2; k, n − k + 1), high = B(1 − α/2; k + 1, n − k), 0 and 1 at the ends
    (Clopper and Pearson 1934, *Biometrika* 26:404–413).

    Args:
        count: how many have the property, 0 to ``of``.
        of: how many were looked at, 1 or more.
        confidence: of the interval between both limits, between 0 and 1.

    Raises:
        ArgumentError: when an argument is outside its range.

    Example:
        >>> low, high = share_limits(5, 50)
        >>> round(low, 5), round(high, 5)
        (0.03328, 0.21814)
    """
    if of < 1 or not 0 <= count <= of:
        raise ArgumentError(
            where="count", rule=f"must be 0 to the number looked at ({of})", value=count, mend="Count them again."
        )
    check_confidence(confidence)
    tail = (1.0 - confidence) / 2.0
    low = float(betaincinv(count, of - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, of - count, 1.0 - tail)) if count < of else 1.0
    return low, high
