"""Several quantities of one process charted together, so that many charts don't give many false alarms."""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final

from wideroll.control.model import Chart, ControlLimits, JointChart, RuleBreak
from wideroll.control.prediction import outlier_limit, prediction_factor, single_level
from wideroll.control.rules import run_rules
from wideroll.control.series import check_series
from wideroll.errors import ArgumentError

__all__ = ["joint_chart"]

_LEAST_BASELINE: Final = 5
_MOST_OFF: Final = 0.25
_OFF_LEVEL: Final = 0.01
"""Chance that a good base period loses a point that is no outlier (common practice: 1 %)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Base:
    kept: tuple[int, ...]
    excluded: tuple[int, ...]


def joint_chart(
    quantities: Sequence[Sequence[float]],
    *,
    baseline: int,
    false_alarm: float = 0.0027,
    restarts: Collection[int] = (),
) -> JointChart:
    """The newest point of a process that is charted by several quantities, against limits from its earlier points.

    The base period is the first ``baseline`` points since the last restart, without the newest and without those that
    lie off their fellows in any quantity (generalised extreme studentised deviates at 1 % for all quantities together,
    at most a quarter of the points: NIST/SEMATECH e-Handbook 1.3.5.17.3; a point left out is made up for by the next).
    Once it is full it stays, so that a slow drift doesn't drag its own limits along.

    A quantity's limits are mean ± f·s of the base period, f that of the prediction interval of one further value, at a
    level such that a steady process passes a limit of any of the k quantities with a chance of ``false_alarm``:
    1 − (1 − false_alarm)^(1/k) each. That holds for independent quantities, and is less for normal ones that go
    together. The other run rules are asked of each quantity for itself, with zones of a third of the way to its limits:
    they warn, and more often by chance.

    Args:
        quantities: each with one value a point, in time order; at least one quantity and one point.
        baseline: points that the base period must have, at least 5.
        false_alarm: as above, between 0 and 1; 0.27 % is that of a single chart with limits of three sigma.
        restarts: points, counted from 0, before which the process was adjusted.

    Raises:
        ArgumentError: when a value isn't finite, quantities have different numbers of points, a quantity doesn't vary
            over the base period, or a setting is outside its range.

    Example:
        >>> steady = [0.01, -0.02, 0.0, 0.02, -0.01, 0.01, -0.01, 0.0, 0.02, -0.02]
        >>> chart = joint_chart([[*steady, 0.01], [*steady, 0.12]], baseline=10)
        >>> chart.beyond, chart.charts[1].breaks[-1].rule, chart.excluded
        ((1,), 'one point above the upper limit', ())
        >>> joint_chart([[*steady, 0.12]], baseline=20).charts
        ()
    """
    rows = _checked(quantities, baseline)
    last = len(rows[0]) - 1
    start = max((point for point in restarts if 0 <= point <= last), default=0)
    base = _base_period(rows, range(start, last), baseline)
    each = single_level(false_alarm, len(rows))
    charts: tuple[Chart, ...] = ()
    if len(base.kept) == baseline:
        factor = prediction_factor(baseline, each)
        charts = tuple(_chart(row, number, start, base, factor=factor) for number, row in enumerate(rows))
    return JointChart(
        charts=charts,
        start=start,
        baseline=base.kept,
        excluded=base.excluded,
        wanted=baseline,
        false_alarm=false_alarm,
    )


def _base_period(rows: Sequence[tuple[float, ...]], candidates: Sequence[int], baseline: int) -> _Base:
    """The first points that agree with one another; the candidates as they are while there are too few of them."""
    excluded: set[int] = set()
    while True:
        kept = tuple([point for point in candidates if point not in excluded][:baseline])
        off = _off_the_others(rows, kept) if len(kept) == baseline else ()
        if not off:
            return _Base(kept=kept, excluded=tuple(sorted(excluded)))
        excluded.update(off)


def _off_the_others(rows: Sequence[tuple[float, ...]], kept: Sequence[int]) -> tuple[int, ...]:
    """Points that lie off their fellows: the farthest is taken away again and again, and judged by where that ends.

    So two that lie together don't hide one another (Rosner 1983: generalised extreme studentised deviate).
    """
    level = single_level(_OFF_LEVEL, len(rows))
    left, taken, found = list(kept), [], 0
    for _ in range(int(len(kept) * _MOST_OFF)):
        far, where = max((_farthest(row, left, number) for number, row in enumerate(rows)), key=lambda one: one[0])
        limit = outlier_limit(len(left), level)
        left.remove(where)
        taken.append(where)
        if far > limit:
            found = len(taken)
    return tuple(taken[:found])


def _farthest(row: Sequence[float], points: Sequence[int], number: int) -> tuple[float, int]:
    """How many standard deviations from the mean the farthest point lies, and which it is."""
    values = [row[point] for point in points]
    centre, sigma = _centre_and_spread(values, number)
    where = max(points, key=lambda point: abs(row[point] - centre))
    return abs(row[where] - centre) / sigma, where


def _chart(row: tuple[float, ...], number: int, start: int, base: _Base, *, factor: float) -> Chart:
    values = [row[point] for point in base.kept]
    centre, sigma = _centre_and_spread(values, number)
    reach = factor * sigma
    out = f", {len(base.excluded)} left out" if base.excluded else ""
    limits = ControlLimits(
        centre=centre,
        low=centre - reach,
        high=centre + reach,
        sigma=sigma,
        basis=f"mean ± {factor:.2f} standard deviations of {len(values)} points{out}",
    )
    points = row[start:]
    zones = run_rules(points, replace(limits, sigma=reach / 3.0))
    return Chart(points=points, limits=limits, breaks=tuple(_in_thirds(found) for found in zones))


def _in_thirds(found: RuleBreak) -> RuleBreak:
    """The rule in words that are true of limits that don't lie at three sigma."""
    rule = found.rule
    for side, limit in (("above", "upper"), ("below", "lower")):
        for sigmas, thirds in (("2", "two thirds"), ("1", "a third")):
            said = f"more than {thirds} of the way to the {limit} limit"
            rule = rule.replace(f"more than {sigmas} sigma {side} the centre", said)
    return replace(found, rule=rule)


def _centre_and_spread(values: Sequence[float], number: int) -> tuple[float, float]:
    """Mean and sample standard deviation."""
    centre = math.fsum(values) / len(values)
    sigma = math.sqrt(math.fsum((value - centre) ** 2 for value in values) / (len(values) - 1))
    if not sigma > math.ulp(max(abs(value) for value in values)) * len(values):
        raise ArgumentError(
            where=f"quantities[{number}]",
            rule="values must vary over the base period, or no limit can be set by them",
            value=values[0],
            mend="Read and write them more finely.",
        )
    return centre, sigma


def _checked(quantities: Sequence[Sequence[float]], baseline: int) -> list[tuple[float, ...]]:
    rows = [check_series(row, where=f"quantities[{number}]") for number, row in enumerate(quantities)]
    if not rows or not rows[0] or any(len(row) != len(rows[0]) for row in rows):
        raise ArgumentError(
            where="quantities",
            rule="at least one quantity, each with one value for each point",
            value=[len(row) for row in rows],
            mend="Leave out the points that lack a quantity.",
        )
    if baseline < _LEAST_BASELINE:
        raise ArgumentError(
            where="baseline", rule=f"at least {_LEAST_BASELINE} points", value=baseline, mend="Give 20 or more."
        )
    return rows
