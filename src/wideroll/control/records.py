"""The records of a film on one chart: speed, contrast or minimum density of each, and how they go together."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f

from wideroll.control.freezing import freeze_values
from wideroll.control.individuals import individuals_chart
from wideroll.control.model import Chart, ControlLimits, FrozenRecords, RecordsChart
from wideroll.control.rules import RuleSet, beyond_limits
from wideroll.control.series import base_period, check_series, named_period
from wideroll.errors import ArgumentError

__all__ = ["balance", "freeze_records", "records_chart"]

_ALONE = 2


def balance(records: Mapping[str, Sequence[float]], reference: str) -> dict[str, tuple[float, ...]]:
    """How far each record lies from a reference record, point by point: colour balance.

    Args:
        records: values of each record, in time order, such as speeds by record.
        reference: record the others are held against, often green.

    Raises:
        ArgumentError: when the reference isn't among the records, it is the only one, or lengths differ.

    Example:
        >>> moved = balance({"red": [0.02, 0.01], "green": [0.01, 0.01], "blue": [0.00, 0.03]}, "green")
        >>> {name: [round(value, 2) for value in values] for name, values in moved.items()}
        {'red less green': [0.01, 0.0], 'blue less green': [-0.01, 0.02]}
    """
    rows = _checked(records)
    if reference not in rows or len(rows) < _ALONE:
        raise ArgumentError(
            where="reference", rule=f"one of several records: {', '.join(rows)}", value=reference, mend="Name one."
        )
    return {
        f"{name} less {reference}": tuple(one - other for one, other in zip(row, rows[reference], strict=True))
        for name, row in rows.items()
        if name != reference
    }


def freeze_records(records: Mapping[str, Sequence[float]], *, labels: Sequence[str], name: str) -> FrozenRecords:
    """What a base period says of several records of a quantity, each for itself and together.

    Covariance from the differences of neighbours, S = Σ dᵢ dᵢᵀ ⁄ 2(n − 1) (Holmes and Mergen 1993), with
    2(n − 1)² ⁄ (3n − 4) degrees of freedom (Scholz and Tosch 1994); both from memory.

    Args:
        records: values of the base period alone, by record, in time order; more points than records, by 4 at least.
        labels: one for each point.
        name: of the period.

    Raises:
        ArgumentError: when lengths differ, there are too few points, or one record is a sum of others or constant.

    Example:
        >>> speeds = {"red": [0.01, -0.01, 0.0, 0.02, 0.0, -0.02], "green": [0.0, 0.0, 0.01, 0.01, -0.01, 0.0]}
        >>> frozen = freeze_records(speeds, labels=["1", "2", "3", "4", "5", "6"], name="spring")
        >>> [round(record.centre, 4) for record in frozen.records], round(frozen.freedom, 2)
        ([0.0, 0.0017], 3.57)
    """
    rows = _checked(records)
    table = np.array(list(rows.values()), dtype=np.float64)
    count = table.shape[1]
    base_period(count, None, least=len(rows) + 4)
    moves = np.diff(table, axis=1)
    covariance = moves @ moves.T / (2.0 * (count - 1))
    scale = np.sqrt(np.diag(covariance))
    if not scale.all() or np.linalg.matrix_rank(covariance / np.outer(scale, scale), tol=1e-9) < len(rows):
        raise ArgumentError(
            where="records",
            rule="each must vary, and none follow from the others, or no limit can be set for all together",
            value=list(rows),
            mend="Leave out what follows from the rest, or read more finely.",
        )
    base = named_period(name, labels, count, list(rows.values()))
    return FrozenRecords(
        base=base,
        records=tuple(freeze_values(row, labels=labels, name=name) for row in rows.values()),
        covariance=tuple(tuple(row) for row in covariance.tolist()),
        freedom=2.0 * (count - 1) ** 2 / (3.0 * count - 4.0),
    )


def records_chart(
    quantity: str,
    records: Mapping[str, Sequence[float]],
    *,
    baseline: int | None = None,
    frozen: FrozenRecords | None = None,
    false_alarm: float = 0.0027,
    rules: RuleSet = "western electric",
) -> RecordsChart:
    """A chart of individuals for each record of a quantity, and Hotelling's T² for all of them together.

    T²ᵢ = (xᵢ − x̄)ᵀ S⁻¹ (xᵢ − x̄), against (1 + 1⁄n) ν p ⁄ (ν − p + 1) · F(1 − α; p, ν − p + 1) for p records and n
    points of the base period: the limit of a further point, with S and ν as ``freeze_records`` has them (Montgomery,
    Introduction to Statistical Quality Control, multivariate control; from memory). Records of one film mostly move
    together; one that moves against the others passes this limit while within its own.

    Args:
        quantity: what is charted, such as ``speed``, ``contrast``, ``balance`` or ``Dmin``.
        records: values by record, in time order.
        baseline: limits are set from so many of the first points; None takes all.
        frozen: limits were set by these, in place of ``baseline``, for the same records in the same order.
        false_alarm: chance that a further point of a steady process passes the limit of T².
        rules: that are asked of each record.

    Raises:
        ArgumentError: as ``freeze_records``; also when frozen limits are of another number of records.

    Example:
        >>> red = [0.01, -0.01, 0.0, 0.02, 0.0, -0.02, 0.01, 0.0, -0.01, 0.02, -0.01, 0.02]
        >>> green = [0.012, -0.009, 0.001, 0.018, 0.002, -0.021, 0.009, 0.001, -0.012, 0.019, -0.011, -0.02]
        >>> chart = records_chart("speed", {"red": red, "green": green}, baseline=11)
        >>> [one.breaks for one in chart.charts], chart.together.breaks[0].index
        ([(), ()], 11)
    """
    rows = _checked(records)
    if not 0.0 < false_alarm < 1.0:
        raise ArgumentError(
            where="false_alarm", rule="must lie between 0 and 1", value=false_alarm, mend="Give 0.0027."
        )
    if frozen is None:
        taken, words = base_period(len(next(iter(rows.values()))), baseline, least=len(rows) + 4)
        labels = [f"point {number}" for number in range(1, taken + 1)]
        frozen = freeze_records({name: row[:taken] for name, row in rows.items()}, labels=labels, name=words)
    elif baseline is not None or len(frozen.records) != len(rows):
        raise ArgumentError(
            where="frozen",
            rule="without a baseline of its own, and of as many records",
            value=f"{len(frozen.records)} for {len(rows)}",
            mend="Freeze the limits of the records that are charted.",
        )
    charts = tuple(
        individuals_chart(row, frozen=one, rules=rules) for row, one in zip(rows.values(), frozen.records, strict=True)
    )
    together = _together(np.array(list(rows.values())), frozen, false_alarm) if len(rows) >= _ALONE else None
    return RecordsChart(quantity=quantity, names=tuple(rows), charts=charts, together=together, base=frozen.base)


def _together(table: NDArray[np.float64], frozen: FrozenRecords, false_alarm: float) -> Chart:
    count, freedom = len(frozen.records), frozen.freedom
    away = table - np.array([record.centre for record in frozen.records])[:, None]
    points = np.sum(away * np.linalg.solve(np.array(frozen.covariance), away), axis=0)
    left = freedom - count + 1.0
    further = (1.0 + 1.0 / frozen.base.count) * freedom * count / left
    high = further * float(f.isf(false_alarm, count, left))
    centre = further * float(f.median(count, left))
    limits = ControlLimits(
        centre=centre,
        low=0.0,
        high=high,
        sigma=(high - centre) / 3.0,
        basis=f"T² of a further point at {false_alarm:.2%}, by {frozen.base.words}",
        base=frozen.base,
    )
    values = tuple(points.tolist())
    return Chart(points=values, limits=limits, breaks=beyond_limits(values, limits))


def _checked(records: Mapping[str, Sequence[float]]) -> dict[str, tuple[float, ...]]:
    rows = {name: check_series(row, where=f"records[{name}]") for name, row in records.items()}
    lengths = {name: len(row) for name, row in rows.items()}
    if not rows or len(set(lengths.values())) != 1 or not math.prod(lengths.values()):
        raise ArgumentError(
            where="records",
            rule="at least one record, each with one value for each point",
            value=lengths,
            mend="Leave out the points that lack a record.",
        )
    return rows
