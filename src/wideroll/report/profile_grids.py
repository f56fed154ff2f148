"""What changes along and across a roll, in words and in tables."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np

from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_count, show_interval, show_number
from wideroll.sensitometry import BorderChange, ChangeKind, Drift, DriftKind, SeriesChanges, Term
from wideroll.workflow.strip_profiles import SeriesProfiles, StripProfiles

__all__ = [
    "MEASURES_SHOWN",
    "change_sentences",
    "changes_grid",
    "profiles_grid",
    "series_sentences",
    "show_metres",
    "show_p",
]

MEASURES_SHOWN: Final = {
    "speed": (1.0, "log H", 3),
    "contrast": (100.0, "%", 1),
    "minimum density": (1.0, "density", 3),
}
"""Factor, unit and decimals a measure is shown with."""
_LEAST_P: Final = 0.001


def show_p(p_value: float) -> str:
    """A p-value in words.

    Example:
        >>> show_p(0.0214), show_p(1e-9), show_p(1.0)
        ('p = 0.021', 'p < 0.001', 'p = 1.000')
    """
    return f"p < {_LEAST_P:g}" if p_value < _LEAST_P else f"p = {p_value:.3f}"


def show_metres(along_m: float) -> str:
    """A place along to a centimetre, without idle noughts.

    Example:
        >>> show_metres(640.0), show_metres(3.15)
        ('640', '3.15')
    """
    return show_number(along_m, 2).removesuffix("0").removesuffix("0").removesuffix(".")


def change_sentences(profiles: StripProfiles) -> tuple[str, ...]:
    """The findings of a roll, one sentence for each change found; else one that says nothing was.

    A border that could not be tested has its sentence too.
    """
    found = [sentence for one in profiles.series for sentence in series_sentences(one.changes)]
    untested = dict.fromkeys(
        f"Border at {show_metres(change.border.along_m)} m ({_names(change)}) not tested: {change.why}."
        for one in profiles.series
        for change in one.changes.borders
        if change.kind is ChangeKind.NOT_TESTED and one.changes.series.points
    )
    if found:
        return (*found, *untested)
    strips = {point.strip for one in profiles.series for point in one.changes.series.points}
    if not strips:
        return ("No usable strip with a place: nothing is known of changes along or across.",)
    seen = f"No change found along or across, by {show_count(len(strips), 'strip')}"
    tested = _tests(profiles)
    return (f"{seen} in {show_count(tested, 'test')}." if tested else f"{seen}: too few to test.", *untested)


def series_sentences(changes: SeriesChanges) -> tuple[str, ...]:
    """The changes found in one measure of one record, with size, interval and what speaks for each."""
    series = changes.series
    name = f"{series.record.value.capitalize()} {series.measure}"
    parts = [_border_words(change, changes) for change in changes.borders if _is_change(change)]
    stated = any(change.kind in {ChangeKind.TREND, ChangeKind.BOTH} for change in changes.borders)
    parts += [
        f"{_drift_words(drift, changes)}, {show_p(drift.adjusted_p)}"
        for drift in changes.drifts
        if drift.found and not (stated and drift.kind is DriftKind.ALONG)
    ]
    place = _place_words(changes)
    return tuple(f"{name}: {part}." for part in (*parts, *([place] if place else [])))


def changes_grid(profiles: StripProfiles) -> Grid:
    """One row for each border in each measure and record, and one for each drift that was found."""
    rows = [row for one in profiles.series for row in _rows(one.changes)]
    tested = _tests(profiles)
    level = profiles.series[0].changes.level if profiles.series else math.nan
    foot = (
        f"{show_count(tested, 'test')}, p-values adjusted together (Holm): "
        f"at most {100.0 * level:g} % of rolls without any change show one."
    )
    return Grid(
        caption="Changes along and across (speed: + is slower)",
        columns=(
            Column(head="measure"),
            Column(head="record"),
            Column(head="where", keep=True),
            Column(head="found"),
            Column(head="size", number=True),
            Column(head="interval", keep=True),
            Column(head="unit"),
            Column(head="p, adjusted", keep=True),
        ),
        rows=tuple(rows),
        empty=" ".join(change_sentences(profiles)),
        foot=(foot,) if rows else (),
    )


def profiles_grid(profiles: StripProfiles) -> Grid:
    """The figures' data: each strip's place and departure from aim, and the mean of its stretch."""
    rows: list[tuple[Cell, ...]] = []
    for one in profiles.series:
        series = one.changes.series
        factor, unit, decimals = MEASURES_SHOWN[series.measure]
        for point in series.points:
            half = 1.96 * point.standard_uncertainty
            mean = _at(one, point.along_m)
            rows.append(
                (
                    Cell(text=f"{series.measure}, {unit}"),
                    Cell(text=series.record.value),
                    Cell(text=point.strip),
                    Cell(text=show_number(point.along_m, 2)),
                    Cell(text=show_number(point.across_mm, 0)),
                    Cell(text=show_number(factor * point.value, decimals, signed=True)),
                    Cell(text=show_interval(factor * (point.value - half), factor * (point.value + half), decimals)),
                    Cell(text=show_number(factor * mean, decimals, signed=True) if math.isfinite(mean) else ABSENT),
                )
            )
    heads = ("along, m", "across, mm", "value", "interval", "profile along")
    return Grid(
        caption="Strips in their places",
        columns=(
            *(Column(head=head) for head in ("measure", "record", "strip")),
            *(Column(head=head, number=head != "interval") for head in heads),
        ),
        rows=tuple(rows),
        empty="No usable strip with a place.",
    )


def _at(one: SeriesProfiles, along_m: float) -> float:
    if one.along.why:
        return math.nan
    return float(np.interp(along_m, one.along.at, one.along.value, left=math.nan, right=math.nan))


def _rows(changes: SeriesChanges) -> Iterator[tuple[Cell, ...]]:
    series = changes.series
    _, unit, _ = MEASURES_SHOWN[series.measure]
    for change in changes.borders:
        if change.kind is ChangeKind.NOT_TESTED and not series.points:
            continue
        trend = change.trend_beside_step
        size_of = {
            ChangeKind.BOTH: change.step_beside_trend,
            ChangeKind.TREND: _along(trend, changes) if trend else None,
        }
        size, interval = _sized(size_of.get(change.kind, change.step), series.measure)
        yield (
            *(Cell(text=text) for text in (series.measure, series.record.value)),
            Cell(text=f"{show_number(change.border.along_m, 2)} m", note=_names(change)),
            Cell(text=change.kind.value, note=change.why, tone="strong" if _is_change(change) else ""),
            *(Cell(text=text) for text in (size, interval, unit)),
            Cell(text=show_p(change.adjusted_p) if change.step else ABSENT),
        )
    trended = any(change.kind is ChangeKind.TREND for change in changes.borders)
    for drift in changes.drifts:
        if drift.found and not (trended and drift.kind is DriftKind.ALONG):
            size, interval = _sized(_spanned(drift, changes), series.measure)
            yield (
                *(Cell(text=text) for text in (series.measure, series.record.value)),
                Cell(text="along" if drift.kind is DriftKind.ALONG else "across", note=_between(drift)),
                Cell(text=drift.kind.value, tone="strong"),
                *(Cell(text=text) for text in (size, interval, unit)),
                Cell(text=show_p(drift.adjusted_p)),
            )


def _border_words(change: BorderChange, changes: SeriesChanges) -> str:
    at = f"at {show_metres(change.border.along_m)} m ({_names(change)})"
    measure, strips = changes.series.measure, show_count(len(changes.series.points), "strip")
    trend, step = change.trend_beside_step, change.step_beside_trend
    by_step = show_p(trend.p_value) if trend else ""
    by_trend = show_p(step.p_value) if step else ""
    if change.kind is ChangeKind.STEP:
        return f"step {at} of {_quantity(change.step, measure)}; a trend doesn't explain it ({by_trend})"
    if change.kind is ChangeKind.TREND:
        drift = (
            _spanned(Drift(kind=DriftKind.ALONG, size=trend, adjusted_p=1.0, found=True), changes) if trend else None
        )
        gradual = f"gradual trend of {_quantity(drift, measure)} from the first strip to the last"
        return f"{gradual}; a step {at} doesn't explain it ({by_step})"
    if change.kind is ChangeKind.BOTH:
        return f"step {at} of {_quantity(step, measure)} ({by_trend}) on top of a trend ({by_step})"
    doubt = f"{strips} can't tell a step from a trend" + (f" ({by_trend})" if by_trend else "")
    return f"change {at}, as a step {_quantity(change.step, measure)}; not settled: {doubt}"


def _drift_words(drift: Drift, changes: SeriesChanges) -> str:
    size = _quantity(_spanned(drift, changes), changes.series.measure)
    return f"{drift.kind.value} of {size}, {_between(drift)}"


def _between(drift: Drift) -> str:
    return {
        DriftKind.ALONG: "first strip to last",
        DriftKind.ACROSS: "strip nearest the datum edge to farthest",
        DriftKind.BOW: "middle against the outer strips",
    }[drift.kind]


def _place_words(changes: SeriesChanges) -> str:
    """Where the strips change, when that is at no border noted."""
    place = changes.place
    if place is None or place.adjusted_p > changes.level:
        return ""
    first, last = place.probable_m
    if any(first <= change.border.along_m <= last for change in changes.borders):
        return ""
    if place.step_beside_trend is None or place.step_beside_trend.p_value > changes.level:
        return ""
    noted = "no batch border is noted there" + ("; was one noted wrong?" if changes.borders else "")
    between = " and ".join(show_metres(at) for at in place.between_m)
    return (
        f"the strips change most between {between} m (probably within {show_metres(first)} to "
        f"{show_metres(last)} m), by {_quantity(place.step, changes.series.measure)}; {noted}"
    )


def _is_change(change: BorderChange) -> bool:
    return change.kind not in {ChangeKind.NONE, ChangeKind.NOT_TESTED}


def _names(change: BorderChange) -> str:
    return f"{change.border.before} to {change.border.after}"


def _spanned(drift: Drift, changes: SeriesChanges) -> Term:
    return _along(drift.size, changes) if drift.kind is DriftKind.ALONG else drift.size


def _along(trend: Term, changes: SeriesChanges) -> Term:
    """A trend per m as the change from the first strip to the last."""
    span = float(np.ptp(changes.series.along_m))
    return replace(
        trend,
        value=trend.value * span,
        low=trend.low * span,
        high=trend.high * span,
        standard_error=trend.standard_error * span,
    )


def _sized(size: Term | None, measure: str) -> tuple[str, str]:
    if size is None:
        return ABSENT, ABSENT
    factor, _, decimals = MEASURES_SHOWN[measure]
    value = show_number(factor * size.value, decimals, signed=True)
    return value, show_interval(factor * size.low, factor * size.high, decimals)


def _quantity(size: Term | None, measure: str) -> str:
    value, interval = _sized(size, measure)
    return f"{value} {MEASURES_SHOWN[measure][1]} ({interval})"


def _tests(profiles: StripProfiles) -> int:
    return sum(
        sum(change.step is not None for change in one.changes.borders) + len(one.changes.drifts)
        for one in profiles.series
    )
