"""Repeatability and reproducibility of a gauge, by both methods of the AIAG manual."""

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, fdtrc

from wideroll.control.gauge_model import GaugeMethod, GaugePart, GaugeStudy, RangeBeyond, VarianceLine
from wideroll.control.ranges import range_constants
from wideroll.control.series import check_confidence
from wideroll.errors import ArgumentError

__all__ = ["Readings", "gauge_by_anova", "gauge_by_ranges"]

Readings: TypeAlias = Mapping[str, Mapping[str, Sequence[float]]]
"""Repeated readings by operator and part."""

_Floats: TypeAlias = NDArray[np.float64]
_LEAST: Final = 2
_POOL: Final = 0.25
"""Interaction with a larger p-value is taken for repeatability (AIAG manual)."""
_CATEGORIES: Final = 1.41


def gauge_by_ranges(readings: Readings, *, tolerance: float | None = None, confidence: float = 0.95) -> GaugeStudy:
    """Gauge study by averages and ranges.

    EV = R̿ ⁄ d2, AV = √((X̄diff ⁄ d2*)² − EV² ⁄ nr), GRR = √(EV² + AV²), PV = Rp ⁄ d2*, TV = √(GRR² + PV²), d2 for
    the trials and d2* for one group of operators or parts; ranges are held against D4 R̿ (AIAG, Measurement Systems
    Analysis, 4th ed., III-B; seen as a transcription). What depends on both operator and part counts as the parts'.

    Args:
        readings: by operator and part; each operator reads each part as often, at least twice. At least two
            operators and two parts.
        tolerance: width between the product's limits, in the unit of the readings.
        confidence: kept with the study; this method gives no interval.

    Raises:
        ArgumentError: when the study isn't complete, a reading isn't finite, no reading differs, or the tolerance
            isn't greater than 0.

    Example:
        >>> study = gauge_by_ranges({"A": {"1": [1.0, 1.2], "2": [2.0, 2.2]}, "B": {"1": [1.3, 1.5], "2": [2.3, 2.5]}})
        >>> round(study.repeatability.sigma, 4), round(study.reproducibility.sigma, 4), study.categories
        (0.1772, 0.1927, 3)
    """
    table, operators, parts = _table(readings, tolerance, confidence)
    p, r = table.shape[1:]
    spans = np.ptp(table, axis=2)
    mean_range = float(spans.mean())
    repeat = mean_range / range_constants(r).d2
    apart = float(np.ptp(table.mean(axis=(1, 2)))) / range_constants(len(operators)).few_groups(1)
    across = math.sqrt(max(0.0, apart**2 - repeat**2 / (p * r)))
    part = float(np.ptp(table.mean(axis=(0, 2)))) / range_constants(p).few_groups(1)
    return _study(
        GaugeMethod.RANGES,
        table,
        (repeat**2, across**2, None, part**2),
        tolerance=tolerance,
        confidence=confidence,
        names=(operators, parts),
    )


def gauge_by_anova(readings: Readings, *, tolerance: float | None = None, confidence: float = 0.95) -> GaugeStudy:
    """Gauge study by a two-way analysis of variance with random operators and parts.

    σ²(repeat) = MSe, σ²(interaction) = (MSop − MSe) ⁄ r, σ²(operators) = (MSo − MSop) ⁄ pr, σ²(parts) = (MSp − MSop)
    ⁄ or, each not below 0; where the interaction's p-value is above 0.25 it is pooled with the error (AIAG,
    Measurement Systems Analysis, 4th ed.). The interval of the gauge is that of modified large samples (Burdick,
    Borror and Montgomery 2003, from memory); few operators make it wide, and that is the truth of it.

    Args:
        readings: as ``gauge_by_ranges``.
        tolerance: width between the product's limits, in the unit of the readings.
        confidence: two-sided, of the gauge's interval.

    Raises:
        ArgumentError: as ``gauge_by_ranges``.

    Example:
        >>> study = gauge_by_anova({"A": {"1": [1.0, 1.2], "2": [2.0, 2.2]}, "B": {"1": [1.3, 1.5], "2": [2.3, 2.5]}})
        >>> round(study.gauge.sigma, 4), round(study.part.sigma, 4), study.table[2].source
        (0.2387, 0.7043, 'operator and part')
    """
    table, operators, parts = _table(readings, tolerance, confidence)
    o, p, r = table.shape
    lines = _variance_lines(table)
    by_operator, by_part, both, error, _ = lines
    pooled = both.p_value is None or both.p_value > _POOL
    freedom = both.freedom + error.freedom if pooled else both.freedom
    repeat = (both.sum_of_squares + error.sum_of_squares) / freedom if pooled else error.mean_square
    rest = repeat if pooled else both.mean_square
    interaction = max(0.0, (rest - repeat) / r)
    across = max(0.0, (by_operator.mean_square - rest) / (p * r)) + interaction
    part = max(0.0, (by_part.mean_square - rest) / (o * r))
    shares = [(1.0 / (p * r), by_operator.mean_square, by_operator.freedom)]
    if pooled:
        shares.append(((p * r - 1.0) / (p * r), repeat, freedom))
    else:
        shares.append(((p - 1.0) / (p * r), rest, both.freedom))
        shares.append(((r - 1.0) / r, repeat, error.freedom))
    return _study(
        GaugeMethod.ANOVA,
        table,
        (repeat, across, None if pooled else interaction, part),
        tolerance=tolerance,
        confidence=confidence,
        names=(operators, parts),
        interval=_interval(shares, confidence),
        lines=lines,
    )


def _variance_lines(table: _Floats) -> tuple[VarianceLine, ...]:
    o, p, r = table.shape
    grand = table.mean()
    cells = table.mean(axis=2)
    operators = p * r * float(np.sum((table.mean(axis=(1, 2)) - grand) ** 2))
    parts = o * r * float(np.sum((table.mean(axis=(0, 2)) - grand) ** 2))
    left = cells - cells.mean(axis=1, keepdims=True) - cells.mean(axis=0, keepdims=True) + grand
    both = r * float(np.sum(left**2))
    error = float(np.sum((table - cells[:, :, None]) ** 2))
    freedom = (o - 1, p - 1, (o - 1) * (p - 1), o * p * (r - 1))
    squares = [total / count for total, count in zip((operators, parts, both, error), freedom, strict=True)]
    tests = [
        _ratio(squares[0], squares[2], freedom[0], freedom[2]),
        _ratio(squares[1], squares[2], freedom[1], freedom[2]),
    ]
    tests += [_ratio(squares[2], squares[3], freedom[2], freedom[3]), (None, None)]
    names = ("operator", "part", "operator and part", "repeats")
    lines = [
        VarianceLine(source=name, sum_of_squares=total, freedom=count, mean_square=square, ratio=ratio, p_value=p_value)
        for name, total, count, square, (ratio, p_value) in zip(
            names, (operators, parts, both, error), freedom, squares, tests, strict=True
        )
    ]
    total, count = float(np.sum((table - grand) ** 2)), o * p * r - 1
    return (*lines, VarianceLine(source="total", sum_of_squares=total, freedom=count, mean_square=total / count))


def _ratio(upper: float, lower: float, first: int, second: int) -> tuple[float | None, float | None]:
    if not lower > 0.0:
        return None, 0.0 if upper > 0.0 else None
    return upper / lower, float(fdtrc(first, second, upper / lower))


def _interval(shares: Sequence[tuple[float, float, int]], confidence: float) -> tuple[float, float]:
    """Limits of √Σ c·MS; each mean square with its factor and degrees of freedom."""
    tail = (1.0 - confidence) / 2.0
    middle = math.fsum(factor * square for factor, square, _ in shares)
    below = math.fsum(
        ((1.0 - freedom / float(chdtri(freedom, tail))) * factor * square) ** 2 for factor, square, freedom in shares
    )
    above = math.fsum(
        ((freedom / float(chdtri(freedom, 1.0 - tail)) - 1.0) * factor * square) ** 2
        for factor, square, freedom in shares
    )
    return math.sqrt(max(0.0, middle - math.sqrt(below))), math.sqrt(middle + math.sqrt(above))


def _study(
    method: GaugeMethod,
    table: _Floats,
    variances: tuple[float, float, float | None, float],
    *,
    tolerance: float | None,
    confidence: float,
    names: tuple[tuple[str, ...], tuple[str, ...]],
    interval: tuple[float, float] | None = None,
    lines: tuple[VarianceLine, ...] = (),
) -> GaugeStudy:
    repeat, across, interaction, part = variances
    gauge = repeat + across
    total = gauge + part
    one = partial(_part, total=total, tolerance=tolerance)
    o, p, r = table.shape
    spans = np.ptp(table, axis=2)
    limit = range_constants(r).high_factor * float(spans.mean())
    told = _CATEGORIES * math.sqrt(part / gauge) if gauge > 0.0 else math.inf
    return GaugeStudy(
        method=method,
        operators=o,
        parts=p,
        trials=r,
        repeatability=one(repeat),
        reproducibility=one(across),
        interaction=None if interaction is None else one(interaction),
        gauge=one(gauge),
        gauge_low=min(interval[0], math.sqrt(gauge)) if interval else None,
        gauge_high=max(interval[1], math.sqrt(gauge)) if interval else None,
        part=one(part),
        total=one(total),
        categories=max(1, math.floor(min(told, 10.0**6))),
        range_limit=limit,
        beyond=_beyond(spans, limit, *names),
        table=lines,
        confidence=confidence,
    )


def _part(variance: float, total: float, tolerance: float | None) -> GaugePart:
    sigma = math.sqrt(variance)
    return GaugePart(
        sigma=sigma,
        of_total=math.sqrt(variance / total) if total > 0.0 else 0.0,
        of_tolerance=None if tolerance is None else 6.0 * sigma / tolerance,
    )


def _beyond(spans: _Floats, limit: float, operators: Sequence[str], parts: Sequence[str]) -> tuple[RangeBeyond, ...]:
    return tuple(
        RangeBeyond(operator=operators[row], part=parts[column], range=float(spans[row, column]))
        for row, column in np.argwhere(spans > limit).tolist()
    )


def _table(
    readings: Readings, tolerance: float | None, confidence: float
) -> tuple[_Floats, tuple[str, ...], tuple[str, ...]]:
    """(operators, parts, trials), with their names."""
    check_confidence(confidence)
    if tolerance is not None and not 0.0 < tolerance < math.inf:
        raise ArgumentError(
            where="tolerance", rule="must be greater than 0", value=tolerance, mend="Give high − low of the product."
        )
    operators = tuple(readings)
    parts = tuple(next(iter(readings.values()), {}))
    _check_complete(readings, parts)
    table = np.array([[readings[who][part] for part in parts] for who in operators], dtype=np.float64)
    if not np.isfinite(table).all() or not np.ptp(table) > 0.0:
        raise ArgumentError(
            where="readings", rule="must be finite, and not all alike", value=None, mend="Read more finely."
        )
    return table, operators, parts


def _check_complete(readings: Readings, parts: Sequence[str]) -> None:
    if len(readings) < _LEAST or len(parts) < _LEAST:
        raise ArgumentError(
            where="readings",
            rule="at least two operators and two parts",
            value=(len(readings), len(parts)),
            mend="Let more people read more parts.",
        )
    trials = len(readings[next(iter(readings))][parts[0]])
    for who, rows in readings.items():
        for part in sorted({*parts, *rows}):
            if part not in rows or part not in parts or len(rows[part]) != trials or trials < _LEAST:
                raise ArgumentError(
                    where=f"readings[{who}][{part}]",
                    rule=f"each operator reads each part as often, at least twice; the first read it {trials} times",
                    value=len(rows.get(part, ())),
                    mend="Complete the study, or leave the part out for all.",
                )
