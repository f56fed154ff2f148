"""The tabular cumulative sum, which sees small lasting changes and says when they began."""

import math
from collections.abc import Sequence

from wideroll.control.freezing import base_values
from wideroll.control.model import CusumChart, CusumSignal, FrozenValues, RuleBreak
from wideroll.control.series import check_series
from wideroll.errors import ArgumentError

__all__ = ["cusum_chart"]


def cusum_chart(
    values: Sequence[float],
    *,
    slack: float = 0.5,
    decision: float = 5.0,
    head_start: float = 0.0,
    target: float | None = None,
    baseline: int | None = None,
    frozen: FrozenValues | None = None,
) -> CusumChart:
    """Tabular CUSUM: what lies beyond the slack is added up on each side, and never below 0.

    C⁺ᵢ = max(0, xᵢ − (μ + K) + C⁺ᵢ₋₁) and C⁻ᵢ = max(0, (μ − K) − xᵢ + C⁻ᵢ₋₁), K = kσ, against H = hσ; the change
    began after the sum was last 0, N points ago, and the mean is μ ± (K + C ⁄ N) since, a head start left out
    (Montgomery, Introduction to Statistical Quality Control, tabular CUSUM; from memory). A head start lets both sums
    begin at a share of H, for a fast initial response after an adjustment (Lucas and Crosier 1982, from memory). Sums
    aren't set back after a signal.

    Args:
        values: in time order.
        slack: k, half the change to be seen, in sigma.
        decision: h, in sigma; 5 with a slack of 0.5 alarms about once in 465 points of a steady process, 4 in 168.
        head_start: share of H that the sums begin with, 0 to below 1; 0.5 is common.
        target: μ; None takes the centre of the base period.
        baseline: centre and sigma are set from so many of the first values; None takes all.
        frozen: centre and sigma were set by these, in place of ``baseline``.

    Raises:
        ArgumentError: when a value isn't finite, a setting is outside its range, or the base period is too short.

    Example:
        >>> steady = [0.2, -0.1, 0.1, -0.2, 0.0, 0.1, -0.1, 0.0]
        >>> chart = cusum_chart([*steady, 0.2, 0.25, 0.3, 0.2, 0.3, 0.25], baseline=8)
        >>> [(one.index, one.upwards, one.since, round(one.mean, 2)) for one in chart.signals]
        [(13, True, 8, 0.25)]
        >>> chart.breaks[0].rule
        'the sum above the aim is beyond its decision interval'
    """
    points = check_series(values, where="values")
    _check(slack, decision, head_start)
    base = base_values(points, baseline, frozen)
    aim = base.centre if target is None else check_series([target], where="target")[0]
    allowed, interval = slack * base.sigma, decision * base.sigma
    start = head_start * interval
    rises = _sums([value - aim - allowed for value in points], start)
    falls = _sums([aim - allowed - value for value in points], start)
    breaks: list[RuleBreak] = []
    signals: list[CusumSignal] = []
    for upwards, sums in ((True, rises), (False, falls)):
        broken, passed = _beyond(sums, interval, upwards=upwards)
        breaks += broken
        for index, since, gathered in passed:
            moved = allowed + (gathered - (0.0 if since else start)) / (index + 1 - since)
            mean = aim + moved if upwards else aim - moved
            signals.append(CusumSignal(index=index, upwards=upwards, since=since, mean=mean))
    return CusumChart(
        above=tuple(total for total, _ in rises),
        below=tuple(total for total, _ in falls),
        target=aim,
        sigma=base.sigma,
        slack=allowed,
        decision=interval,
        head_start=start,
        basis=base.basis,
        breaks=tuple(sorted(breaks, key=lambda one: one.index)),
        signals=tuple(sorted(signals, key=lambda one: one.index)),
        base=base.base,
    )


def _sums(excess: Sequence[float], start: float) -> list[tuple[float, int]]:
    """Each sum, and the first point after it was last 0."""
    total, since = start, 0
    sums: list[tuple[float, int]] = []
    for index, more in enumerate(excess):
        if total == 0.0:
            since = index
        total = max(0.0, total + more)
        sums.append((total, since))
    return sums


def _beyond(
    sums: Sequence[tuple[float, int]], interval: float, *, upwards: bool
) -> tuple[list[RuleBreak], list[tuple[int, int, float]]]:
    """Points beyond the interval, and those at which it is passed, each with where its sum began and how much it is."""
    rule = f"the sum {'above' if upwards else 'below'} the aim is beyond its decision interval"
    breaks = [
        RuleBreak(index=index, rule=rule, points=tuple(range(since, index + 1)))
        for index, (total, since) in enumerate(sums)
        if total > interval
    ]
    passed = [
        (one.index, one.points[0], sums[one.index][0])
        for one in breaks
        if one.index == 0 or sums[one.index - 1][0] <= interval
    ]
    return breaks, passed


def _check(slack: float, decision: float, head_start: float) -> None:
    for where, value, good in (
        ("slack", slack, 0.0 <= slack < math.inf),
        ("decision", decision, 0.0 < decision < math.inf),
    ):
        if not good:
            raise ArgumentError(
                where=where,
                rule="in sigma, not negative, and the decision above 0",
                value=value,
                mend="Give 0.5 and 5.",
            )
    if not 0.0 <= head_start < 1.0:
        raise ArgumentError(
            where="head_start",
            rule="a share of the decision interval, 0 to below 1",
            value=head_start,
            mend="Give 0.5.",
        )
