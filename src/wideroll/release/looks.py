"""What sources counted in a region, and what a rate must be able to say to be judged by."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from wideroll.roll import Extent

__all__ = ["DetectedShare", "KnownRate", "Looked", "NamedPart", "RateOf"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectedShare:
    """The probability that a source finds a mark that is there, with its two-sided interval at ``confidence``."""

    value: float = 1.0
    low: float = 1.0
    high: float = 1.0
    confidence: float = 0.95
    why: str = ""
    """How it is known; or, where ``value`` is NaN, why it isn't."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedPart:
    """A part of the roll with a name, such as a batch."""

    name: str
    extent: Extent


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What one source counted in a region, ``parts`` of it one by one: (count, area in m²), each area above 0."""

    source: str
    parts: tuple[tuple[int, float], ...]
    detected: DetectedShare = DetectedShare()

    @property
    def count(self) -> int:
        """All marks counted."""
        return sum(count for count, _ in self.parts)

    @property
    def area_m2(self) -> float:
        """All that was looked at."""
        return math.fsum(area for _, area in self.parts)


class KnownRate(Protocol):
    """What looks say about a rate per m²."""

    @property
    def rate(self) -> float:
        """The likeliest."""

    @property
    def p_agree(self) -> float:
        """Probability of sources that differ so much when the rate is the same for all; NaN for one source."""

    @property
    def method(self) -> str:
        """How it is known, in a few words."""

    def at_most(self, confidence: float) -> float:
        """Upper limit, one-sided."""

    def at_least(self, confidence: float) -> float:
        """Lower limit, one-sided."""

    def within(self, limit: float) -> float:
        """The greatest confidence at which ``at_most`` stays within the limit: the conformance probability."""

    def beyond(self, limit: float) -> float:
        """The greatest confidence at which ``at_least`` lies above the limit."""

    def released_at(self, rate: float, *, limit: float, confidence: float) -> float:
        """Probability that looks like these find the rate within the limit, were it truly ``rate``; NaN if unknown."""


class RateOf(Protocol):
    """Makes a rate of looks, one source each, at areas that don't overlap."""

    def __call__(self, looks: Sequence[Looked]) -> KnownRate:
        """The rate of marks that are there, found or not."""
