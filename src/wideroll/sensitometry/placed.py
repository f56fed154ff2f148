"""Deviations with their places on the roll: what is known of each strip, and what strips of one run share."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats, Record

__all__ = ["SUPPOSED_SCATTER", "Border", "DeviationSeries", "PlacedDeviation", "StripScatter", "measured_covariance"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedDeviation:
    """One strip's departure from aim in one measure of one record, at its place."""

    strip: str
    run: str
    """The process run; strips of one run share the error of its correction."""
    along_m: float
    across_mm: float
    value: float
    standard_uncertainty: float
    """Of the value, the shared part within it."""
    degrees_of_freedom: float = math.inf
    shared_uncertainty: float = 0.0
    """The part that all strips of the run have in common, with one sign."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StripScatter:
    """How much strips of one batch differ from place to place beyond their measurement, as known beforehand.

    ``sd`` is worth so many ``degrees_of_freedom``: as if that many strips more than levels had shown it. None at all
    with 0; then the strips at hand must show it.
    """

    sd: float
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Border:
    """Where a batch ends and the next begins."""

    along_m: float
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationSeries:
    """A roll's strips in one measure of one record.

    ``measure`` is ``speed``, ``contrast`` or ``minimum density``; ``unit`` is that of all its values.
    """

    measure: str
    record: Record
    unit: str
    points: tuple[PlacedDeviation, ...]
    scatter: StripScatter

    @property
    def along_m(self) -> Floats:
        """Places along (n,)."""
        return np.array([point.along_m for point in self.points], dtype=np.float64)

    @property
    def across_mm(self) -> Floats:
        """Places across (n,)."""
        return np.array([point.across_mm for point in self.points], dtype=np.float64)

    @property
    def values(self) -> Floats:
        """Departures from aim (n,)."""
        return np.array([point.value for point in self.points], dtype=np.float64)


SUPPOSED_SCATTER: Final = {
    "speed": StripScatter(sd=0.010, degrees_of_freedom=4.0),
    "contrast": StripScatter(sd=0.010, degrees_of_freedom=4.0),
    "minimum density": StripScatter(sd=0.005, degrees_of_freedom=4.0),
}
"""In log H, as a ratio, in density. Suppositions, with no source, until a product's own history gives better ones:
coated weight is held to about one per cent within a batch (common practice). Four degrees of freedom say that
it may be half or three times as much; where it is known to be twice as much, few strips can't see it, and 95 %
intervals hold 88 to 89 %."""


def measured_covariance(points: Sequence[PlacedDeviation]) -> Floats:
    """Covariance (n, n) of what measurement does to the values: own errors, and the one each run shares.

    Raises:
        ArgumentError: when a value isn't a number, an uncertainty is negative, or the shared part exceeds the whole.

    Example:
        >>> at = {"strip": "1", "run": "7", "along_m": 1.0, "across_mm": 0.0, "value": 0.0}
        >>> points = [PlacedDeviation(**at, standard_uncertainty=0.05, shared_uncertainty=0.03)] * 2
        >>> measured_covariance(points).round(6).tolist()
        [[0.0025, 0.0009], [0.0009, 0.0025]]
    """
    for point in points:
        _check(point)
    shared = np.array([point.shared_uncertainty for point in points])
    own = np.array([point.standard_uncertainty**2 for point in points]) - shared**2
    together = np.array([[one.run == other.run for other in points] for one in points], dtype=np.float64)
    covariance: Floats = np.diag(np.maximum(own, 0.0)) + together * np.outer(shared, shared)
    return covariance


def _check(point: PlacedDeviation) -> None:
    where = f"strip {point.strip}"
    for name in ("along_m", "across_mm", "value", "standard_uncertainty"):
        number = getattr(point, name)
        if not math.isfinite(number):
            raise ArgumentError(where=f"{where}, {name}", rule="a number", value=number, mend="Leave the strip out.")
    if not 0.0 <= point.shared_uncertainty <= point.standard_uncertainty * (1.0 + 1e-9):
        raise ArgumentError(
            where=f"{where}, shared_uncertainty",
            rule=f"from 0 to the whole, {point.standard_uncertainty:g}",
            value=point.shared_uncertainty,
            mend="Give the part of the uncertainty that the run's strips share.",
        )
