"""Charts of single values: the value itself, and how far it moves from one to the next."""

import itertools
from collections.abc import Sequence
from typing import Final

from wideroll.control.freezing import D2_OF_TWO, base_values
from wideroll.control.model import Chart, ControlLimits, FrozenValues
from wideroll.control.rules import RuleSet, beyond_limits, run_rules
from wideroll.control.series import check_series

__all__ = ["individuals_chart", "moving_range_chart"]

_D4: Final = 3.267
"""Upper limit of the range of two values as a multiple of its mean, as tabled in ASTM E2587."""


def individuals_chart(
    values: Sequence[float],
    *,
    baseline: int | None = None,
    frozen: FrozenValues | None = None,
    rules: RuleSet = "western electric",
) -> Chart:
    """Single values, with limits three sigma from the mean; sigma is the mean moving range over 1.128.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        values: in time order, in any unit.
        baseline: limits are set from so many of the first points and then stay; None takes all.
        frozen: limits were set by these, in place of ``baseline``.
        rules: that are asked.

    Raises:
        ArgumentError: when a value isn't finite, the base period has fewer than two points, or both a baseline and
            frozen limits are given.

    Example:
        >>> chart = individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
        >>> round(chart.limits.low, 3), chart.limits.centre, round(chart.limits.high, 3), chart.breaks
        (45.816, 50.81, 55.804, ())
    """
    points = check_series(values, where="values")
    base = base_values(points, baseline, frozen)
    limits = ControlLimits(
        centre=base.centre,
        low=base.centre - 3.0 * base.sigma,
        high=base.centre + 3.0 * base.sigma,
        sigma=base.sigma,
        basis=base.basis,
        base=base.base,
    )
    return Chart(points=points, limits=limits, breaks=run_rules(points, limits, rules))


def moving_range_chart(
    values: Sequence[float], *, baseline: int | None = None, frozen: FrozenValues | None = None
) -> Chart:
    """How far each value lies from the one before, against 3.267 times the mean; one point fewer than values.

    Ranges lean to one side, so of the run rules only the first applies.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        values: in time order.
        baseline: limits are set from so many of the first values; None takes all.
        frozen: limits were set by these, in place of ``baseline``.

    Raises:
        ArgumentError: as ``individuals_chart``.

    Example:
        >>> round(moving_range_chart([49.6, 47.6, 49.9, 51.3, 47.8]).limits.high, 3)
        7.514
    """
    points = check_series(values, where="values")
    base = base_values(points, baseline, frozen)
    centre = base.sigma * D2_OF_TWO
    limits = ControlLimits(
        centre=centre,
        low=0.0,
        high=_D4 * centre,
        sigma=(_D4 - 1.0) * centre / 3.0,
        basis=base.basis.replace("mean and mean", "mean", 1),
        base=base.base,
    )
    ranges = tuple(abs(after - before) for before, after in itertools.pairwise(points))
    return Chart(points=ranges, limits=limits, breaks=beyond_limits(ranges, limits))
