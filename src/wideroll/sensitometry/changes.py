"""Whether a roll changes at its batch borders, gradually along it, or across it.

At each known border a step is tested with the steps of the other borders kept in the model, alone and beside a linear
trend along the whole roll; the trend is tested beside all steps. So each description must explain what the other
can't. Across, a slope and a bow are tested beside the steps.

Of all tests of a roll (its borders, trends, slopes and bows in each measure and record) the p-values are adjusted
together (Holm 1979, from memory): of a hundred rolls in which nothing changes, at most ``level`` times a hundred show
any change. Only for a border where a step is found so is it asked which description the strips support; these second
tests aren't adjusted.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.change_place import ChangePlace, locate_change
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.placed import Border, DeviationSeries
from wideroll.sensitometry.placed_fit import Term, can_fit, fit_places, term

__all__ = [
    "BorderChange",
    "ChangeKind",
    "Drift",
    "DriftKind",
    "SeriesChanges",
    "across_columns",
    "along_column",
    "find_changes",
    "step_columns",
]

_LEAST_PLACES = {"across slope": 3, "across bow": 4}
"""Fewer places across would be joined by the line itself (common practice)."""


class ChangeKind(StrEnum):
    """What the strips support at a batch border."""

    NONE = "no change found"
    STEP = "step"
    TREND = "gradual trend"
    BOTH = "step and trend"
    NOT_SETTLED = "step or trend, not settled"
    NOT_TESTED = "not tested"


class DriftKind(StrEnum):
    """A change that has no border."""

    ALONG = "along trend"
    ACROSS = "across slope"
    BOW = "across bow"


@dataclass(frozen=True, slots=True, kw_only=True)
class BorderChange:
    """What happens at one border, in one measure of one record."""

    border: Border
    kind: ChangeKind
    step: Term | None = None
    """After minus before, supposing no trend."""
    step_beside_trend: Term | None = None
    trend_beside_step: Term | None = None
    """Of a linear trend, per m."""
    adjusted_p: float = 1.0
    """Of the step, with all tests of the roll counted."""
    why: str = ""
    """Why it wasn't tested."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A gradual change beside the steps.

    Along: per m. Across: the slope from the strip nearest the datum edge to the farthest; the bow is the middle minus
    the straight line between these.
    """

    kind: DriftKind
    size: Term
    adjusted_p: float
    found: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesChanges:
    """All that was tested in one measure of one record."""

    series: DeviationSeries
    borders: tuple[BorderChange, ...]
    drifts: tuple[Drift, ...]
    place: ChangePlace | None
    """Where one step explains the strips best, borders left aside; None with too few places."""
    level: float


def find_changes(
    series: Sequence[DeviationSeries], borders: Sequence[Border], *, level: float = 0.05, confidence: float = 0.95
) -> tuple[SeriesChanges, ...]:
    """Test every series of a roll for changes at its borders, along it and across it.

    Args:
        series: each measure of each record; a series may have any number of strips, none included.
        borders: of batches, ascending along the roll.
        level: greatest chance of any false change in a roll.
        confidence: of every interval.

    Raises:
        ArgumentError: when borders don't ascend or the level isn't a probability.

    Example:
        >>> from wideroll.sensitometry import PlacedDeviation, Record, StripScatter
        >>> at = {"run": "7", "across_mm": 0.0, "standard_uncertainty": 0.004}
        >>> points = [
        ...     PlacedDeviation(strip=f"S-{n}", along_m=100.0 * n, value=0.1 * (n > 3), **at) for n in range(1, 9)
        ... ]
        >>> one = DeviationSeries(
        ...     measure="speed",
        ...     record=Record.RED,
        ...     unit="log H",
        ...     points=tuple(points),
        ...     scatter=StripScatter(sd=0.01, degrees_of_freedom=4.0),
        ... )
        >>> (found,) = find_changes([one], [Border(along_m=350.0, before="E-1", after="E-2")])
        >>> found.borders[0].kind.value, round(found.borders[0].step.value, 3)
        ('step', 0.1)
    """
    if not 0.0 < level < 1.0:
        raise ArgumentError(where="level", rule="between 0 and 1", value=level, mend="Give a probability such as 0.05.")
    along = [border.along_m for border in borders]
    if along != sorted(set(along)):
        raise ArgumentError(
            where="borders", rule="ascend along the roll", value=along, mend="Sort them; name each once."
        )
    raw = tuple(_test(one, borders, level, confidence) for one in series)
    tests = [change.step.p_value for one in raw for change in one.borders if change.step]
    tests += [drift.size.p_value for one in raw for drift in one.drifts]
    adjusted = iter(_holm(tests))
    stepped = [
        replace(
            one,
            borders=tuple(_settle(c, next(adjusted), level) if c.step else c for c in one.borders),
        )
        for one in raw
    ]
    drifted = [
        replace(
            one, drifts=tuple(replace(d, adjusted_p=p, found=p <= level) for d in one.drifts for p in (next(adjusted),))
        )
        for one in stepped
    ]
    places = iter(_holm([one.place.p_value for one in drifted if one.place]))
    return tuple(
        replace(one, place=replace(one.place, adjusted_p=next(places))) if one.place else one for one in drifted
    )


def step_columns(along_m: Floats, borders: Sequence[Border]) -> tuple[Floats, tuple[Border, ...]]:
    """One column (n, b) for each border that has strips before and after it, and the border it stands for.

    Where a batch between two borders has no strip, both share one column, which stands for the first of them.

    Example:
        >>> border = Border(along_m=5.0, before="E-1", after="E-2")
        >>> step_columns(np.array([1.0, 9.0]), [border])[0].tolist()
        [[0.0], [1.0]]
    """
    columns: list[Floats] = []
    kept: list[Border] = []
    for border in borders:
        column = (along_m >= border.along_m).astype(np.float64)
        if 0 < column.sum() < len(column) and not any(np.array_equal(column, one) for one in columns):
            columns.append(column)
            kept.append(border)
    return (np.stack(columns, axis=-1) if columns else np.empty((len(along_m), 0))), tuple(kept)


def along_column(series: DeviationSeries, along_m: Floats) -> Floats:
    """Metres (n, 1) from the middle of the series' strips."""
    middle = float(np.mean(series.along_m)) if series.points else 0.0
    return (along_m - middle)[:, np.newaxis]


def across_columns(series: DeviationSeries, across_mm: Floats) -> Floats:
    """Slope and bow (n, 2): half of −1 to 1 between the outermost strips, and 1 in the middle, 0 at these.

    Example:
        >>> series = DeviationSeries(measure="speed", record="red", unit="log H", points=(), scatter=None)
        >>> across_columns(series, np.array([3.0])).tolist()
        [[0.0, 1.0]]
    """
    at = series.across_mm
    first, last = (float(at.min()), float(at.max())) if at.size else (0.0, 0.0)
    half = (last - first) / 2.0
    place = (across_mm - (first + last) / 2.0) / half if half > 0.0 else np.zeros(len(across_mm))
    return np.stack([place / 2.0, 1.0 - place**2], axis=-1)


def _test(series: DeviationSeries, borders: Sequence[Border], level: float, confidence: float) -> SeriesChanges:
    n = len(series.points)
    steps, stepped = step_columns(series.along_m, borders)
    level_column = np.ones((n, 1))
    plain = np.hstack([level_column, steps])
    sloped = np.hstack([plain, along_column(series, series.along_m)])

    def judged(design: Floats, column: int) -> Term | None:
        if not n or not can_fit(series, design):
            return None
        return term(fit_places(series, design), np.eye(design.shape[1])[column], confidence=confidence)

    trend = judged(sloped, -1)

    def at_border(border: Border) -> BorderChange:
        why = _untested(border, series.along_m, borders)
        column = 0 if why else 1 + stepped.index(border)
        alone = None if why else judged(plain, column)
        if alone is None:
            why = why or f"{n} strips leave none to judge their scatter by"
            return BorderChange(border=border, kind=ChangeKind.NOT_TESTED, why=why)
        beside = judged(sloped, column)
        return BorderChange(
            border=border, kind=ChangeKind.NONE, step=alone, step_beside_trend=beside, trend_beside_step=trend
        )

    return SeriesChanges(
        series=series,
        borders=tuple(at_border(border) for border in borders),
        drifts=tuple(_drifts(series, plain, trend, judged)),
        place=locate_change(series, confidence=confidence),
        level=level,
    )


def _drifts(
    series: DeviationSeries, plain: Floats, trend: Term | None, judged: Callable[[Floats, int], Term | None]
) -> list[Drift]:
    across = across_columns(series, series.across_mm)
    places = len(set(series.across_mm.tolist()))
    found = [(DriftKind.ALONG, trend)]
    for kind, columns in ((DriftKind.ACROSS, across[:, :1]), (DriftKind.BOW, across)):
        enough = places >= _LEAST_PLACES[kind]
        found.append((kind, judged(np.hstack([plain, columns]), -1) if enough else None))
    return [Drift(kind=kind, size=size, adjusted_p=1.0, found=False) for kind, size in found if size is not None]


def _untested(border: Border, along_m: Floats, borders: Sequence[Border]) -> str:
    """Why nothing can be said about a border: the batches beside it without a strip; empty when both have one."""
    before = max((b.along_m for b in borders if b.along_m < border.along_m), default=-np.inf)
    after = min((b.along_m for b in borders if b.along_m > border.along_m), default=np.inf)
    empty = [
        name
        for name, first, last in ((border.before, before, border.along_m), (border.after, border.along_m, after))
        if not bool(np.any((along_m >= first) & (along_m < last)))
    ]
    return f"no usable strip in batch {' or '.join(empty)}" if empty else ""


def _settle(change: BorderChange, adjusted_p: float, level: float) -> BorderChange:
    if adjusted_p > level:
        return replace(change, adjusted_p=adjusted_p)
    step, trend = (
        one is not None and one.p_value <= level for one in (change.step_beside_trend, change.trend_beside_step)
    )
    kinds = {
        (True, False): ChangeKind.STEP,
        (False, True): ChangeKind.TREND,
        (True, True): ChangeKind.BOTH,
        (False, False): ChangeKind.NOT_SETTLED,
    }
    return replace(change, adjusted_p=adjusted_p, kind=kinds[step, trend])


def _holm(p_values: Sequence[float]) -> list[float]:
    """Adjusted so that the chance of any false one is held, whatever the tests have in common."""
    order = sorted(range(len(p_values)), key=lambda n: p_values[n])
    adjusted, highest = [1.0] * len(p_values), 0.0
    for rank, n in enumerate(order):
        highest = max(highest, min(1.0, (len(p_values) - rank) * p_values[n]))
        adjusted[n] = highest
    return adjusted
