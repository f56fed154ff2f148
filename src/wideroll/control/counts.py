"""Charts of counted flaws: per piece of one size, or per area that differs from roll to roll."""

import math
from collections.abc import Sequence

from wideroll.control.model import Chart, ControlLimits
from wideroll.control.rules import run_rules
from wideroll.control.series import base_period, check_series
from wideroll.errors import ArgumentError

__all__ = ["c_chart", "u_chart"]


def c_chart(counts: Sequence[float], *, baseline: int | None = None) -> Chart:
    """Counts of flaws on pieces of one size, with limits three roots of the mean count from it, and not below 0.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.1 (Poisson counts).

    Args:
        counts: in time order.
        baseline: limits are set from so many of the first points; None takes all.

    Raises:
        ArgumentError: when a count is negative or not finite, or there is none.

    Example:
        >>> limits = c_chart([16, 14, 28, 16, 12, 10]).limits
        >>> limits.centre, limits.low, limits.high
        (16.0, 4.0, 28.0)
    """
    points = check_series(counts, where="counts", least=0.0)
    taken, words = base_period(len(points), baseline, least=1)
    limits = _poisson_limits(math.fsum(points[:taken]) / taken, 1.0, f"mean count of {words}")
    return Chart(points=points, limits=limits, breaks=run_rules(points, limits))


def u_chart(counts: Sequence[float], areas: Sequence[float], *, baseline: int | None = None) -> Chart:
    """Flaws per area, where each point has its own area and therefore its own limits.

    Limits are u ± 3 √(u / area), not below 0, u being all flaws of the base period over all its area (Montgomery,
    Introduction to Statistical Quality Control, control charts for nonconformities per unit; from memory).

    Args:
        counts: flaws, in time order.
        areas: what each was counted on, in m² or any one unit.
        baseline: limits are set from so many of the first points; None takes all.

    Raises:
        ArgumentError: when a count is negative, an area isn't greater than 0, or their numbers differ.

    Example:
        >>> chart = u_chart([12, 40], [10.0, 30.0])
        >>> chart.points, chart.limits.centre, round(chart.each[0].high, 3), round(chart.each[1].high, 3)
        ((1.2, 1.3333333333333333), 1.3, 2.382, 1.924)
    """
    flaws = check_series(counts, where="counts", least=0.0)
    sizes = check_series(areas, where="areas", least=0.0)
    if len(flaws) != len(sizes) or 0.0 in sizes:
        raise ArgumentError(
            where="areas",
            rule="each count needs the area it was counted on, greater than 0",
            value=areas,
            mend="Give one area for each count.",
        )
    taken, words = base_period(len(flaws), baseline, least=1)
    rate = math.fsum(flaws[:taken]) / math.fsum(sizes[:taken])
    basis = f"flaws over area of {words}"
    each = tuple(_poisson_limits(rate, size, basis) for size in sizes)
    points = tuple(count / size for count, size in zip(flaws, sizes, strict=True))
    average = _poisson_limits(rate, math.fsum(sizes[:taken]) / taken, basis)
    return Chart(points=points, limits=average, breaks=run_rules(points, each), each=each)


def _poisson_limits(rate: float, size: float, basis: str) -> ControlLimits:
    sigma = math.sqrt(rate / size)
    return ControlLimits(
        centre=rate, low=max(0.0, rate - 3.0 * sigma), high=rate + 3.0 * sigma, sigma=sigma, basis=basis
    )
