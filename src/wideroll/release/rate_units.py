"""Units that a rate of marks is stated in."""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from wideroll.release.model import Criterion

__all__ = ["RATE_UNITS", "RateUnit", "unit_m2"]

_FOOT_M: Final = 0.3048
"""Exact by definition, and with it the square foot, 0.09290304 m²."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RateUnit:
    """What marks are counted per: an area in m², or a length in m of a lane."""

    per: float
    per_length: bool = False


RATE_UNITS: Final = MappingProxyType(
    {
        "per m²": RateUnit(per=1.0),
        "per ft²": RateUnit(per=_FOOT_M**2),
        "per m": RateUnit(per=1.0, per_length=True),
        "per 100 m": RateUnit(per=100.0, per_length=True),
        "per ft": RateUnit(per=_FOOT_M, per_length=True),
        "per 100 ft": RateUnit(per=100.0 * _FOOT_M, per_length=True),
    }
)
"""Units by what they are called in a product file; those per length are of one lane."""


def unit_m2(criterion: Criterion) -> float:
    """The area in m² that the criterion's rate is per.

    Raises:
        KeyError: when its unit isn't one of ``RATE_UNITS``; ``check_criterion`` refuses such a criterion before.

    Example:
        >>> from wideroll.release.model import Consequence, Measurand, Region
        >>> spots = Criterion(
        ...     name="spots",
        ...     measurand=Measurand.MARK_RATE,
        ...     limit=2.0,
        ...     unit="per 100 ft",
        ...     consequence=Consequence.CUT_OUT,
        ...     region=Region.LANE,
        ...     lane_mm=35.0,
        ... )
        >>> round(unit_m2(spots), 4)
        1.0668
    """
    unit = RATE_UNITS[criterion.unit]
    return unit.per * criterion.lane_mm / 1000.0 if unit.per_length else unit.per
