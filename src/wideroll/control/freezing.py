"""Limits are frozen: what a named base period says of the process, kept to judge later points by."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from scipy.special import chdtrc

from wideroll.control.model import BasePeriod, FrozenRate, FrozenValues, Overdispersion
from wideroll.control.ranges import moving_range_freedom, range_constants
from wideroll.control.series import base_period, check_series, first_points, named_period
from wideroll.errors import ArgumentError

__all__ = [
    "D2_OF_TWO",
    "base_groups",
    "base_rate",
    "base_values",
    "check_counts",
    "check_groups",
    "freeze_counts",
    "freeze_groups",
    "freeze_values",
    "mean_move",
]

D2_OF_TWO: Final = 1.128
"""Mean range of two values from a normal distribution of sigma 1, as tabled in ASTM E2587."""
_LEAST: Final = 2
_OVERDISPERSED: Final = 0.01
"""Chance below which counts are taken to vary more than Poisson counts do (common practice: 1 %)."""


def freeze_values(values: Sequence[float], *, labels: Sequence[str], name: str) -> FrozenValues:
    """What a base period of single values says: their mean, and sigma as the mean moving range over 1.128.

    Formula: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Args:
        values: of the base period alone, in time order, at least 2.
        labels: one for each value, such as the roll's number.
        name: of the period, to be shown with every limit it sets.

    Raises:
        ArgumentError: when there are too few values, one isn't finite, or labels are missing.

    Example:
        >>> frozen = freeze_values([5.0, 5.2, 4.9, 5.1], labels=["W-1", "W-2", "W-3", "W-4"], name="after the overhaul")
        >>> frozen.centre, round(frozen.sigma, 4), frozen.base.words
        (5.05, 0.2069, 'after the overhaul (W-1 to W-4, 4 points)')
    """
    points = check_series(values, where="values")
    base_period(len(points), None, least=_LEAST)
    return _values(points, named_period(name, labels, len(points), [points]))


def freeze_groups(groups: Sequence[Sequence[float]], *, labels: Sequence[str], name: str) -> FrozenValues:
    """What a base period of groups says: the mean of all values, and sigma from the ranges within the groups.

    Sigma is the mean of R ⁄ d2 (Montgomery, Introduction to Statistical Quality Control, X̄ and R charts; from memory).

    Args:
        groups: of the base period alone, in time order, each of 2 to 100 values.
        labels: one for each group.
        name: of the period.

    Raises:
        ArgumentError: when a group is too small or large, a value isn't finite, or labels are missing.

    Example:
        >>> frozen = freeze_groups([[1.0, 1.2], [0.9, 1.1]], labels=["W-1", "W-2"], name="spring")
        >>> round(frozen.centre, 3), round(frozen.sigma, 4)
        (1.05, 0.1772)
    """
    rows = check_groups(groups)
    return _groups(rows, named_period(name, labels, len(rows), rows))


def freeze_counts(
    counts: Sequence[float],
    areas: Sequence[float] | None = None,
    *,
    labels: Sequence[str],
    name: str,
) -> FrozenRate:
    """What a base period of counts says: all counts over all area, and Laney's sigma of z.

    With zᵢ = (uᵢ − ū) ⁄ √(ū ⁄ areaᵢ), sigma_z is the mean moving range of z over 1.128 (Laney 2002, from memory).
    Counts are overdispersed where Σ zᵢ² is beyond what chi-square with n − 1 degrees of freedom gives in 1 % of
    Poisson cases and sigma_z is above 1; a step of the rate alone raises the first and hardly the second.

    Args:
        counts: of the base period alone, in time order.
        areas: what each was counted on, in m² or any one unit; None for pieces of one size.
        labels: one for each count.
        name: of the period.

    Raises:
        ArgumentError: when a count is negative, an area isn't greater than 0, or numbers differ.

    Example:
        >>> frozen = freeze_counts([2, 30, 3, 28], [10.0] * 4, labels=["a", "b", "c", "d"], name="spring")
        >>> frozen.rate, round(frozen.spread.sigma_z, 2), frozen.spread.p_value < 0.01
        (1.575, 5.96, True)
    """
    flaws, sizes = check_counts(counts, areas)
    base_period(len(flaws), None, least=1)
    return _rate(flaws, sizes, named_period(name, labels, len(flaws), [flaws, sizes]))


def base_values(values: tuple[float, ...], baseline: int | None, frozen: FrozenValues | None) -> FrozenValues:
    """What sets a chart's limits: what was frozen, or the first of the chart's own values."""
    if frozen is not None:
        _refuse_both(baseline)
        return frozen
    taken, words = base_period(len(values), baseline, least=_LEAST)
    found = _values(values[:taken], first_points([values[:taken]], taken, words))
    return replace(found, basis=f"mean and mean moving range of {words}")


def base_groups(
    groups: tuple[tuple[float, ...], ...], baseline: int | None, frozen: FrozenValues | None
) -> FrozenValues:
    """The same for groups."""
    if frozen is not None:
        _refuse_both(baseline)
        return frozen
    taken, words = base_period(len(groups), baseline, least=1)
    found = _groups(groups[:taken], first_points(groups[:taken], taken, words))
    return replace(found, basis=f"mean and mean range of {words}")


def base_rate(
    flaws: tuple[float, ...], sizes: tuple[float, ...], baseline: int | None, frozen: FrozenRate | None
) -> FrozenRate:
    """The same for counts."""
    if frozen is not None:
        _refuse_both(baseline)
        return frozen
    taken, words = base_period(len(flaws), baseline, least=1)
    flaws, sizes = flaws[:taken], sizes[:taken]
    return replace(_rate(flaws, sizes, first_points([flaws, sizes], taken, words)), basis=words)


def check_counts(counts: Sequence[float], areas: Sequence[float] | None) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Counts, and the area of each.

    Raises:
        ArgumentError: when a count is negative, an area isn't greater than 0, or their numbers differ.
    """
    flaws = check_series(counts, where="counts", least=0.0)
    sizes = (1.0,) * len(flaws) if areas is None else check_series(areas, where="areas", least=0.0)
    if len(flaws) != len(sizes) or 0.0 in sizes:
        raise ArgumentError(
            where="areas",
            rule="each count needs the area it was counted on, greater than 0",
            value=areas,
            mend="Give one area for each count.",
        )
    return flaws, sizes


def check_groups(groups: Sequence[Sequence[float]]) -> tuple[tuple[float, ...], ...]:
    """Groups of values.

    Raises:
        ArgumentError: when there is none, one has fewer than 2 or more than 100 values, or a value isn't finite.
    """
    rows = tuple(check_series(group, where=f"groups[{number}]") for number, group in enumerate(groups))
    base_period(len(rows), None, least=1)
    for row in rows:
        range_constants(len(row))
    return rows


def mean_move(values: Sequence[float]) -> float:
    """Mean distance of neighbours."""
    return math.fsum(abs(after - before) for before, after in itertools.pairwise(values)) / (len(values) - 1)


def _values(points: tuple[float, ...], base: BasePeriod) -> FrozenValues:
    return FrozenValues(
        base=base,
        centre=math.fsum(points) / len(points),
        sigma=mean_move(points) / D2_OF_TWO,
        freedom=moving_range_freedom(len(points)),
        basis=f"mean and mean moving range of {base.words}",
    )


def _groups(rows: Sequence[tuple[float, ...]], base: BasePeriod) -> FrozenValues:
    constants = [range_constants(len(row)) for row in rows]
    ranges = [(max(row) - min(row)) / one.d2 for row, one in zip(rows, constants, strict=True)]
    variance = math.fsum((one.d3 / one.d2) ** 2 for one in constants) / len(rows) ** 2
    return FrozenValues(
        base=base,
        centre=math.fsum(value for row in rows for value in row) / sum(len(row) for row in rows),
        sigma=math.fsum(ranges) / len(rows),
        freedom=1.0 / (2.0 * variance),
        basis=f"mean and mean range of {base.words}",
    )


def _rate(flaws: Sequence[float], sizes: Sequence[float], base: BasePeriod) -> FrozenRate:
    rate = math.fsum(flaws) / math.fsum(sizes)
    spread = _spread(flaws, sizes, rate) if rate > 0.0 and len(flaws) >= _LEAST else None
    return FrozenRate(base=base, rate=rate, spread=spread, basis=base.words, extent=math.fsum(sizes))


def _spread(flaws: Sequence[float], sizes: Sequence[float], rate: float) -> Overdispersion:
    z = [(count / size - rate) / math.sqrt(rate / size) for count, size in zip(flaws, sizes, strict=True)]
    chi_square, freedom, sigma_z = math.fsum(one * one for one in z), len(z) - 1, mean_move(z) / D2_OF_TWO
    p_value = float(chdtrc(freedom, chi_square))
    return Overdispersion(
        sigma_z=sigma_z,
        chi_square=chi_square,
        freedom=freedom,
        p_value=p_value,
        corrected=p_value < _OVERDISPERSED and sigma_z > 1.0,
    )


def _refuse_both(baseline: int | None) -> None:
    if baseline is not None:
        raise ArgumentError(
            where="baseline",
            rule="frozen limits have their own base period",
            value=baseline,
            mend="Give one of baseline and frozen.",
        )
