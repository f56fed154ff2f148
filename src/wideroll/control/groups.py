"""Charts of groups, such as the strips of one roll: their mean, and how far apart their values lie."""

import math
from collections.abc import Sequence

from wideroll.control.freezing import base_groups, check_groups
from wideroll.control.model import Chart, ControlLimits, FrozenValues, RuleBreak
from wideroll.control.ranges import range_constants
from wideroll.control.rules import RuleSet, beyond_limits, run_rules

__all__ = ["range_chart", "xbar_chart"]


def xbar_chart(
    groups: Sequence[Sequence[float]],
    *,
    baseline: int | None = None,
    frozen: FrozenValues | None = None,
    rules: RuleSet = "western electric",
) -> Chart:
    """Means of groups, with limits 3σ ⁄ √n from the mean of all; σ is the mean of R ⁄ d2 of the groups.

    For groups of one size that is X̿ ± A2 R̄ (Montgomery, Introduction to Statistical Quality Control; from memory).
    Where the groups of a roll differ less than the rolls do, as strips processed together, the limits are too narrow:
    then chart the means as individuals.

    Args:
        groups: in time order, each of 2 to 100 values.
        baseline: limits are set from so many of the first groups and then stay; None takes all.
        frozen: limits were set by these, in place of ``baseline``.
        rules: that are asked.

    Raises:
        ArgumentError: when a group is too small or large, or a value isn't finite.

    Example:
        >>> chart = xbar_chart([[5.0, 5.4], [4.9, 5.1], [5.2, 5.0]])
        >>> round(chart.limits.centre, 3), round(chart.limits.high, 3), chart.breaks
        (5.1, 5.601, ())
    """
    rows = check_groups(groups)
    base = base_groups(rows, baseline, frozen)
    means = tuple(math.fsum(row) / len(row) for row in rows)
    each = tuple(_mean_limits(base, len(row)) for row in rows)
    return _chart(means, each, run_rules(means, each, rules))


def range_chart(
    groups: Sequence[Sequence[float]], *, baseline: int | None = None, frozen: FrozenValues | None = None
) -> Chart:
    """Ranges of groups against D3 and D4 times their mean.

    Ranges lean to one side, so of the run rules only the first applies.

    Formula: Montgomery, Introduction to Statistical Quality Control (from memory); constants of ``range_constants``.

    Args:
        groups: in time order, each of 2 to 100 values.
        baseline: limits are set from so many of the first groups; None takes all.
        frozen: limits were set by these, in place of ``baseline``.

    Raises:
        ArgumentError: as ``xbar_chart``.

    Example:
        >>> round(range_chart([[5.0, 5.4], [4.9, 5.1], [5.2, 5.0]]).limits.high, 3)
        0.871
    """
    rows = check_groups(groups)
    base = base_groups(rows, baseline, frozen)
    ranges = tuple(max(row) - min(row) for row in rows)
    each = tuple(_range_limits(base, len(row)) for row in rows)
    return _chart(ranges, each, beyond_limits(ranges, each))


def _chart(points: tuple[float, ...], each: tuple[ControlLimits, ...], breaks: tuple[RuleBreak, ...]) -> Chart:
    """Limits of each point only where they differ; else those of the first, which are all points'."""
    alike = len(set(each)) == 1
    return Chart(points=points, limits=each[0], breaks=breaks, each=() if alike else each)


def _mean_limits(base: FrozenValues, size: int) -> ControlLimits:
    sigma = base.sigma / math.sqrt(size)
    return ControlLimits(
        centre=base.centre,
        low=base.centre - 3.0 * sigma,
        high=base.centre + 3.0 * sigma,
        sigma=sigma,
        basis=base.basis,
        base=base.base,
    )


def _range_limits(base: FrozenValues, size: int) -> ControlLimits:
    constants = range_constants(size)
    centre = base.sigma * constants.d2
    return ControlLimits(
        centre=centre,
        low=constants.low_factor * centre,
        high=constants.high_factor * centre,
        sigma=base.sigma * constants.d3,
        basis=base.basis.replace("mean and mean", "mean", 1),
        base=base.base,
    )
