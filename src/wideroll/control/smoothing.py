"""Values smoothed by an exponentially weighted moving average, which sees small lasting changes."""

import math
from collections.abc import Sequence

from wideroll.control.freezing import base_values
from wideroll.control.model import Chart, ControlLimits, FrozenValues
from wideroll.control.rules import beyond_limits
from wideroll.control.series import check_series
from wideroll.errors import ArgumentError

__all__ = ["ewma_chart"]


def ewma_chart(
    values: Sequence[float],
    *,
    weight: float = 0.2,
    width: float = 3.0,
    target: float | None = None,
    baseline: int | None = None,
    frozen: FrozenValues | None = None,
) -> Chart:
    """Exponentially weighted moving average, with limits that widen from the first point to where they settle.

    zᵢ = λ xᵢ + (1 − λ) zᵢ₋₁ from z₀ = target; limits are target ± L σ √(λ ⁄ (2 − λ) · (1 − (1 − λ)²ⁱ))
    (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4; limits that vary in time: Montgomery, from memory).
    ``limits`` of the chart are the settled ones, ``each`` those of every point. Averages hang together, so of the run
    rules only the first applies. λ of 0.2 with L of 3, or 0.1 with 2.7, are common.

    Args:
        values: in time order.
        weight: λ of the newest value, above 0 and at most 1; 1 gives a chart of individuals.
        width: L, limits in standard deviations of the average.
        target: what the average starts from and is held against; None takes the centre of the base period.
        baseline: centre and sigma are set from so many of the first values; None takes all.
        frozen: centre and sigma were set by these, in place of ``baseline``.

    Raises:
        ArgumentError: when a value isn't finite, a setting is outside its range, or the base period is too short.

    Example:
        >>> steady = [0.2, -0.1, 0.1, -0.2, 0.0, 0.1, -0.1, 0.0]
        >>> chart = ewma_chart([*steady, 0.3, 0.25, 0.3, 0.3, 0.25], baseline=8)
        >>> round(chart.limits.high, 3), [found.index for found in chart.breaks]
        (0.177, [12])
    """
    points = check_series(values, where="values")
    if not 0.0 < weight <= 1.0:
        raise ArgumentError(where="weight", rule="must lie above 0, and at most 1", value=weight, mend="Give 0.2.")
    if not 0.0 < width < math.inf:
        raise ArgumentError(where="width", rule="must be greater than 0", value=width, mend="Give 3.")
    base = base_values(points, baseline, frozen)
    aim = base.centre if target is None else check_series([target], where="target")[0]
    settled = base.sigma * math.sqrt(weight / (2.0 - weight))
    smoothed: list[float] = []
    for value in points:
        before = smoothed[-1] if smoothed else aim
        smoothed.append(before + weight * (value - before))
    each = tuple(
        _limits(base, aim, settled * math.sqrt(1.0 - (1.0 - weight) ** (2 * number)), width)
        for number in range(1, len(points) + 1)
    )
    return Chart(
        points=tuple(smoothed),
        limits=_limits(base, aim, settled, width),
        breaks=beyond_limits(smoothed, each),
        each=each,
    )


def _limits(base: FrozenValues, aim: float, sigma: float, width: float) -> ControlLimits:
    aimed = "" if aim == base.centre else f", about the target {aim:g}"
    return ControlLimits(
        centre=aim,
        low=aim - width * sigma,
        high=aim + width * sigma,
        sigma=sigma,
        basis=f"{base.basis}{aimed}",
        base=base.base,
    )
