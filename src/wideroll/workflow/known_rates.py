"""What sampling knows of a rate, in the form that release judges by."""

from collections.abc import Sequence

from wideroll.release import KnownRate, Looked
from wideroll.sampling import Detected, Look, know_rate

__all__ = ["rate_of"]


def rate_of(looks: Sequence[Looked]) -> KnownRate:
    """The rate of marks that are there, clusters and misses allowed for (``sampling.know_rate``)."""
    return know_rate(
        [
            Look(
                source=look.source,
                count=look.count,
                area_m2=look.area_m2,
                detected=Detected(
                    value=look.detected.value,
                    low=look.detected.low,
                    high=look.detected.high,
                    confidence=look.detected.confidence,
                ),
                parts=look.parts,
            )
            for look in looks
        ]
    )
