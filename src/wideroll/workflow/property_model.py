"""Measured properties: what a product is measured for, and what was measured on a roll."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from wideroll.release.model import Missing, Reading
from wideroll.roll import Extent, Place

__all__ = [
    "Gauge",
    "GaugeCalibration",
    "Judged",
    "Measurement",
    "PropertyEvidence",
    "PropertySpec",
    "PropertySummary",
    "gauge_calibration_on",
]


class Judged(StrEnum):
    """What of a batch a limit is about."""

    EACH_PLACE = "each place"
    """The value at any one place, one that nobody measured too."""
    MEAN = "mean"
    """The mean over the batch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertySpec:
    """A property that a product is measured for; ``scatter`` is the known standard deviation between places, or NaN."""

    name: str
    unit: str
    judged: Judged = Judged.EACH_PLACE
    scatter: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeCalibration:
    """What a calibration found: what is to be added to each value, in the gauge's unit, and the days it holds."""

    on: str
    expires: str
    correction: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """An instrument for measured properties; all numbers in its ``unit``, none of them with a temperature's zero."""

    name: str
    measures: tuple[str, ...]
    unit: str
    common_standard_uncertainty: float = 0.0
    """Of the error that all its values share: that of its calibration."""
    repeatability: float = 0.0
    """Standard deviation of one value."""
    calibrations: tuple[GaugeCalibration, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One value of the property ``subject`` at one place, in the product's unit and corrected by its calibration.

    ``own_uncertainty`` is the standard uncertainty of its own error, ``shared_uncertainty`` of the error that all
    values of the instrument have in common. ``why_unusable`` says why the value can't be believed, with ``mend``;
    empty where it can.
    """

    subject: str
    place: Place
    value: float
    own_uncertainty: float
    instrument: str
    on: str
    shared_uncertainty: float = 0.0
    calibration: str = ""
    """How the instrument stood that day, in words."""
    sample: str = ""
    note: str = ""
    line: int = 0
    """In the file it came in."""
    why_unusable: str = ""
    mend: str = ""

    @property
    def usable(self) -> bool:
        """Whether it is evidence."""
        return not self.why_unusable


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertySummary:
    """What a batch's usable values of a property say; numbers in the product's unit.

    ``mean`` is that of the places, ``scatter`` the standard deviation between them as found. ``standard_uncertainty``
    and the 95 % interval are of what is judged. Where ``why`` isn't empty, it says why nothing can be judged.
    """

    spec: PropertySpec
    batch: str
    extent: Extent
    values: int
    places: int
    mean: float
    scatter: float
    standard_uncertainty: float
    degrees_of_freedom: float
    low: float
    high: float
    source: str
    why: str = ""
    mend: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PropertyEvidence:
    """The properties of a roll as evidence, batch by batch.

    ``counts`` maps each property to (stretch, places with a usable value in it).
    """

    readings: tuple[Reading, ...] = ()
    missing: tuple[Missing, ...] = ()
    counts: Mapping[str, tuple[tuple[Extent, int], ...]]
    summaries: tuple[PropertySummary, ...] = ()


def gauge_calibration_on(calibrations: Sequence[GaugeCalibration], day: str) -> GaugeCalibration | None:
    """The newest calibration made on or before a day, expired or not; None where there is none.

    Example:
        >>> old = GaugeCalibration(on="2026-01-01", expires="2026-06-30")
        >>> new = GaugeCalibration(on="2026-06-01", expires="2026-12-31")
        >>> gauge_calibration_on([old, new], "2026-06-15") is new, gauge_calibration_on([old, new], "2025-12-31")
        (True, None)
    """
    return max((made for made in calibrations if made.on <= day), key=lambda made: made.on, default=None)
