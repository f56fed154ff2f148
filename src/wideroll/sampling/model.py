"""Rates inferred from samples."""

from dataclasses import dataclass

__all__ = ["RateLimits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLimits:
    """A rate per unit of extent with its exact (Garwood) limits at a two-sided confidence."""

    count: int
    extent: float
    confidence: float
    rate: float
    low: float
    high: float
