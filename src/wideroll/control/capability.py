"""Whether what a process does fits within what the product may be."""

import math
import statistics
from collections.abc import Sequence
from typing import Final

from scipy.special import betaincinv, chdtri, ndtri

from wideroll.control.freezing import base_values
from wideroll.control.individuals import individuals_chart
from wideroll.control.model import Capability, CapabilityIndex, FrozenValues, Normality
from wideroll.control.normality import normality
from wideroll.control.series import check_confidence, check_series
from wideroll.errors import ArgumentError

__all__ = ["capability"]

_LEAST: Final = 2
_FEW: Final = 25
_LEAST_NORMALITY: Final = 8


def capability(
    values: Sequence[float],
    *,
    low: float | None = None,
    high: float | None = None,
    frozen: FrozenValues | None = None,
    confidence: float = 0.95,
) -> Capability:
    """Capability indices with intervals, and what makes them doubtful; look at the control chart first.

    Cp = (high − low) ⁄ 6σ and Cpk = min(high − mean, mean − low) ⁄ 3σ with the scatter σ from point to point; Pp and
    Ppk likewise with the standard deviation of all values (NIST/SEMATECH e-Handbook, 6.1.6, which calls those Cp and
    Cpk). Intervals of Cp and Pp come from that of a variance: Cp √(χ²(α/2; ν) ⁄ ν) to Cp √(χ²(1 − α/2; ν) ⁄ ν), exact
    for Pp with ν = n − 1. Those of Cpk and Ppk are Cpk ± z √(1 ⁄ 9n + Cpk² ⁄ 2ν) (Bissell 1990, from memory), near
    enough from some 15 values on. The interval of the share outside is Clopper and Pearson's, and needs no
    distribution.

    Args:
        values: at least two, not all the same, in time order.
        low: least the product may have, in the unit of the values; None where only too much is bad.
        high: most it may have; None where only too little is bad.
        frozen: the scatter σ is taken from this base period; None takes the mean moving range of the values.
        confidence: two-sided, of the intervals.

    Raises:
        ArgumentError: when there are too few values, they don't vary, there is no limit or limits are inverted, or
            confidence isn't between 0 and 1.

    Example:
        >>> found = capability([14.0, 17.0, 15.0, 18.0, 16.0], low=8.0, high=20.0)
        >>> [round(one.value, 3) for one in (found.cp, found.cpk, found.pp, found.ppk)]
        [0.902, 0.602, 1.265, 0.843]
        >>> round(found.pp.low, 2), round(found.pp.high, 2), found.cautions
        (0.44, 2.11, ('only 5 values',))
    """
    points = check_series(values, where="values")
    _check_limits(low, high)
    check_confidence(confidence)
    base = _base(points, frozen)
    mean, overall, count = statistics.fmean(points), statistics.stdev(points), len(points)
    tail = (1.0 - confidence) / 2.0
    room = min(math.inf if one is None else side for one, side in _sides(low, high, mean))
    width = None if low is None or high is None else high - low
    outside, least, most = _outside(points, low, high, tail)
    shape = normality(points) if count >= _LEAST_NORMALITY else None
    return Capability(
        count=count,
        mean=mean,
        within=base.sigma,
        overall=overall,
        low=low,
        high=high,
        cp=_width_index(width, base.sigma, base.freedom, tail),
        cpk=_room_index(room, base.sigma, base.freedom, count, tail),
        pp=_width_index(width, overall, count - 1.0, tail),
        ppk=_room_index(room, overall, count - 1.0, count, tail),
        outside=outside,
        outside_low=least,
        outside_high=most,
        normality=shape,
        cautions=_cautions(points, base, shape, given=frozen),
        confidence=confidence,
    )


def _base(points: tuple[float, ...], frozen: FrozenValues | None) -> FrozenValues:
    if len(points) < _LEAST or min(points) == max(points):
        raise ArgumentError(
            where="values", rule="at least two that differ", value=points, mend="Give more values, read more finely."
        )
    base = base_values(points, None, frozen)
    if not base.sigma > 0.0:
        raise ArgumentError(
            where="frozen", rule="values of its base period must vary", value=base.sigma, mend="Read them more finely."
        )
    return base


def _outside(points: tuple[float, ...], low: float | None, high: float | None, tail: float) -> tuple[int, float, float]:
    """Values outside the limits, and the interval of their share."""
    count = len(points)
    outside = sum((low is not None and one < low) or (high is not None and one > high) for one in points)
    least = float(betaincinv(outside, count - outside + 1, tail)) if outside else 0.0
    most = float(betaincinv(outside + 1, count - outside, 1.0 - tail)) if outside < count else 1.0
    return outside, least, most


def _sides(low: float | None, high: float | None, mean: float) -> tuple[tuple[float | None, float], ...]:
    return (low, mean - (low or 0.0)), (high, (high or 0.0) - mean)


def _width_index(width: float | None, sigma: float, freedom: float, tail: float) -> CapabilityIndex | None:
    if width is None:
        return None
    value = width / (6.0 * sigma)
    low, high = (value * math.sqrt(float(chdtri(freedom, 1.0 - one)) / freedom) for one in (tail, 1.0 - tail))
    return CapabilityIndex(value=value, low=low, high=high)


def _room_index(room: float, sigma: float, freedom: float, count: int, tail: float) -> CapabilityIndex:
    value = room / (3.0 * sigma)
    half = -float(ndtri(tail)) * math.sqrt(1.0 / (9.0 * count) + value * value / (2.0 * freedom))
    return CapabilityIndex(value=value, low=value - half, high=value + half)


def _cautions(
    points: tuple[float, ...], base: FrozenValues, shape: Normality | None, *, given: FrozenValues | None
) -> tuple[str, ...]:
    chart = individuals_chart(points, frozen=base)
    beyond = len({found.index for found in chart.breaks if found.rule.startswith("one point")})
    others = len({found.index for found in chart.breaks}) - beyond
    whose = given.base.name if given else "these values"
    said = [f"only {len(points)} values"] if len(points) < _FEW else []
    if shape is not None and shape.words:
        said.append(f"not normal (p {shape.p_value:.2g}): {shape.words}; the indices say little of the share outside")
    if beyond:
        said.append(f"not steady: {_points(beyond)} beyond the control limits of {whose}")
    elif others:
        said.append(f"perhaps not steady: {_points(others)} within the control limits of {whose} but in a pattern")
    return tuple(said)


def _points(count: int) -> str:
    return "1 point" if count == 1 else f"{count} points"


def _check_limits(low: float | None, high: float | None) -> None:
    given = [one for one in (low, high) if one is not None]
    if not given or not all(math.isfinite(one) for one in given):
        raise ArgumentError(
            where="low, high", rule="at least one limit, and finite", value=(low, high), mend="Give low, high or both."
        )
    if low is not None and high is not None and not low < high:
        raise ArgumentError(where="low", rule="must lie below high", value=(low, high), mend="Give low < high.")
