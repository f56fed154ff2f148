"""Charts of single values: the value itself, and how far it moves from one to the next."""

import itertools
import math
from collections.abc import Sequence
from typing import Final

from wideroll.control.model import Chart, ControlLimits
from wideroll.control.rules import run_rules
from wideroll.control.series import base_period, check_series

__all__ = ["individuals_chart", "moving_range_chart"]

_D2: Final = 1.128
"""Mean range of two values from a normal distribution of sigma 1, as tabled in ASTM E2587."""
_D4: Final = 3.267
"""Upper limit of the range of two values as a multiple of its mean, as tabled in ASTM E2587."""
_LEAST: Final = 2


def individuals_chart(values: Sequence[float], *, baseline: int | None = None) -> Chart:
    """Single values, with limits three sigma from the mean; sigma is the mean moving range over 1.128.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        values: in time order, in any unit.
        baseline: limits are set from so many of the first points and then stay; None takes all.

    Raises:
        ArgumentError: when a value isn't finite or the base period has fewer than two points.

    Example:
        >>> chart = individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
        >>> round(chart.limits.low, 3), chart.limits.centre, round(chart.limits.high, 3), chart.breaks
        (45.816, 50.81, 55.804, ())
    """
    points = check_series(values, where="values")
    taken, words = base_period(len(points), baseline, least=_LEAST)
    centre = math.fsum(points[:taken]) / taken
    sigma = _mean_range(points[:taken]) / _D2
    limits = ControlLimits(
        centre=centre,
        low=centre - 3.0 * sigma,
        high=centre + 3.0 * sigma,
        sigma=sigma,
        basis=f"mean and mean moving range of {words}",
    )
    return Chart(points=points, limits=limits, breaks=run_rules(points, limits))


def moving_range_chart(values: Sequence[float], *, baseline: int | None = None) -> Chart:
    """How far each value lies from the one before, against 3.267 times the mean; one point fewer than values.

    Ranges lean to one side, so of the run rules only the first applies.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        values: in time order.
        baseline: limits are set from so many of the first values; None takes all.

    Raises:
        ArgumentError: as ``individuals_chart``.

    Example:
        >>> round(moving_range_chart([49.6, 47.6, 49.9, 51.3, 47.8]).limits.high, 3)
        7.514
    """
    points = check_series(values, where="values")
    taken, words = base_period(len(points), baseline, least=_LEAST)
    centre = _mean_range(points[:taken])
    limits = ControlLimits(
        centre=centre, low=0.0, high=_D4 * centre, sigma=(_D4 - 1.0) * centre / 3.0, basis=f"mean range of {words}"
    )
    ranges = tuple(abs(after - before) for before, after in itertools.pairwise(points))
    breaks = tuple(found for found in run_rules(ranges, limits) if found.rule.startswith("one point"))
    return Chart(points=ranges, limits=limits, breaks=breaks)


def _mean_range(points: Sequence[float]) -> float:
    return math.fsum(abs(after - before) for before, after in itertools.pairwise(points)) / (len(points) - 1)
