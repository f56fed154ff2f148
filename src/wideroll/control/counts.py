"""Charts of counted flaws: per piece of one size, or per area that differs from roll to roll."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal, TypeAlias

from scipy.special import bdtrc

from wideroll.control.freezing import base_rate, check_counts
from wideroll.control.model import Chart, ControlLimits, FrozenRate, Overdispersion
from wideroll.control.rules import RuleSet, beyond_limits, run_rules
from wideroll.control.series import check_series
from wideroll.errors import ArgumentError

__all__ = ["Correction", "c_chart", "u_chart"]

Correction: TypeAlias = Literal["tested", "always", "never"]
"""Whether limits follow Laney: where counts are overdispersed, in any case, or not."""

_IMPROBABLE: Final = 0.00135
"""As likely as a normal value above three sigma."""
_NOT_KNOWN: Final = "sigma of z needs at least two points of the base period, and a flaw among them"


def c_chart(
    counts: Sequence[float],
    *,
    baseline: int | None = None,
    frozen: FrozenRate | None = None,
    correction: Correction = "tested",
    rules: RuleSet = "western electric",
) -> Chart:
    """Counts of flaws on pieces of one size, with limits three roots of the mean count from it, and not below 0.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.1 (Poisson counts), widened as by ``u_chart`` where
    they vary more.

    Args:
        counts: in time order.
        baseline: limits are set from so many of the first points; None takes all.
        frozen: limits were set by these, in place of ``baseline``.
        correction: as for ``u_chart``.
        rules: that are asked.

    Raises:
        ArgumentError: when a count is negative or not finite, or there is none.

    Example:
        >>> limits = c_chart([16, 14, 28, 16, 12, 10]).limits
        >>> limits.centre, limits.low, limits.high
        (16.0, 4.0, 28.0)
    """
    points = check_series(counts, where="counts", least=0.0)
    base = base_rate(points, (1.0,) * len(points), baseline, frozen)
    spread, factor, words = _corrected(base, correction)
    limits = _limits(base, 1.0, factor, f"mean count of {base.basis}{words}")
    return Chart(points=points, limits=limits, breaks=run_rules(points, limits, rules), spread=spread)


def u_chart(
    counts: Sequence[float],
    areas: Sequence[float],
    *,
    baseline: int | None = None,
    frozen: FrozenRate | None = None,
    correction: Correction = "tested",
    rules: RuleSet = "western electric",
    few: float = 0.0,
) -> Chart:
    """Flaws per area, where each point has its own area and therefore its own limits.

    Limits are u ± 3 s √(u / area), not below 0, u being all flaws of the base period over all its area (Montgomery,
    Introduction to Statistical Quality Control, control charts for nonconformities per unit; from memory). s is 1 for
    Poisson counts and Laney's sigma of z where the base period is overdispersed (``freeze_counts`` has the formula).

    Args:
        counts: flaws, in time order.
        areas: what each was counted on, in m² or any one unit.
        baseline: limits are set from so many of the first points; None takes all.
        frozen: limits were set by these, in place of ``baseline``.
        correction: ``tested`` widens limits where counts are overdispersed, ``always`` takes s as found, wider or
            narrower, ``never`` keeps to Poisson's law.
        rules: that are asked.
        few: where fewer flaws than this are to be expected on an average area, three sigma are no more than a rule of
            thumb. Then the upper limit is half a flaw below the least count x that one further area a gives with a
            chance of at most 0.135 % after N flaws on A: P(X ≥ x), X binomial of N + x and a ⁄ (A + a) (conditional
            test of two Poisson counts, Przyborowski and Wilenski 1940, from memory), and only this limit is asked. 5
            is common; 0 for never.

    Raises:
        ArgumentError: when a count is negative, an area isn't greater than 0, their numbers differ, or s is asked for
            and can't be found.

    Example:
        >>> chart = u_chart([12, 40], [10.0, 30.0])
        >>> chart.points, chart.limits.centre, round(chart.each[0].high, 3), round(chart.each[1].high, 3)
        ((1.2, 1.3333333333333333), 1.3, 2.382, 1.924)
        >>> clustered = u_chart([2, 30, 3, 28, 5], [10.0] * 5)
        >>> round(clustered.spread.sigma_z, 2), clustered.spread.corrected, clustered.breaks
        (6.19, True, ())
    """
    flaws, sizes = check_counts(counts, areas)
    base = base_rate(flaws, sizes, baseline, frozen)
    spread, factor, words = _corrected(base, correction)
    basis = f"flaws over area of {base.basis}{words}"
    taken = sizes if frozen else sizes[: base.base.count]
    mean_area = math.fsum(taken) / len(taken) if taken else 1.0
    rare = base.rate * mean_area < few and base.extent > 0.0
    if rare:
        basis = f"{basis}, few flaws on each: limit by the chance of a further count"
    make = _rare_limits if rare else _limits
    shared = {size: make(base, size, factor, basis) for size in set(sizes)}
    each = tuple(shared[size] for size in sizes)
    points = tuple(count / size for count, size in zip(flaws, sizes, strict=True))
    average = make(base, mean_area, factor, basis)
    breaks = beyond_limits(points, each) if rare else run_rules(points, each, rules)
    return Chart(points=points, limits=average, breaks=breaks, each=each, spread=spread)


def _corrected(base: FrozenRate, correction: Correction) -> tuple[Overdispersion | None, float, str]:
    """What is said of the spread, by how much limits are widened, and that in words."""
    spread = base.spread
    if spread is None:
        if correction == "always":
            raise ArgumentError(where="correction", rule=_NOT_KNOWN, value=base.base.count, mend="Give more points.")
        return None, 1.0, ""
    corrected = correction == "always" or (correction == "tested" and spread.corrected)
    words = f", limits {spread.sigma_z:.2f} times as wide as Poisson's (Laney)" if corrected else ""
    return replace(spread, corrected=corrected), spread.sigma_z if corrected else 1.0, words


def _limits(base: FrozenRate, size: float, factor: float, basis: str) -> ControlLimits:
    sigma = factor * math.sqrt(base.rate / size)
    return ControlLimits(
        centre=base.rate,
        low=max(0.0, base.rate - 3.0 * sigma),
        high=base.rate + 3.0 * sigma,
        sigma=sigma,
        basis=basis,
        base=base.base,
    )


def _rare_limits(base: FrozenRate, size: float, factor: float, basis: str) -> ControlLimits:
    """With the least count that is improbable after the base period; wider where counts are overdispersed."""
    usual = _limits(base, size, factor, basis)
    seen, share, count = round(base.rate * base.extent), size / (base.extent + size), 1
    while bdtrc(count - 1, seen + count, share) > _IMPROBABLE:
        count += 1
    return replace(usual, low=0.0, high=max(usual.high if factor > 1.0 else 0.0, (count - 0.5) / size))
