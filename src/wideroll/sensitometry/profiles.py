"""How a measure runs along and across the roll, no finer than the strips support.

A profile is the mean departure from aim, by generalised least squares, with only the terms that were found: a step at
each border that has one, a slope along where there is a trend; across, a slope or a bow where there is one, else one
level. With nothing found it is the weighted mean of all strips. The band is pointwise and is that of the mean; a
single strip may lie outside it.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.changes import (
    ChangeKind,
    DriftKind,
    SeriesChanges,
    across_columns,
    along_column,
    step_columns,
)
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.placed import Border
from wideroll.sensitometry.placed_fit import can_fit, fit_places, term

__all__ = ["Direction", "Profile", "profile"]

_STEPPED: Final = {ChangeKind.STEP, ChangeKind.BOTH, ChangeKind.NOT_SETTLED}
_SLOPED: Final = {ChangeKind.TREND, ChangeKind.BOTH}
_PLACES: Final = 41


class Direction(StrEnum):
    """Which way a profile runs."""

    ALONG = "along"
    ACROSS = "across"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """A measure of a record against place: metres along, millimetres across from the datum edge; (n,) each.

    Across, values are those of the whole roll's mean level. Where a step was found along, its border stands in ``at``
    twice, with the values before and after it.
    """

    direction: Direction
    at: Floats
    value: Floats
    low: Floats
    high: Floats
    terms: tuple[str, ...]
    """What the profile consists of, such as ``level`` and ``step at 640 m``."""
    strips: int
    scatter_sd: float
    """Between strips, beyond measurement and profile."""
    why: str = ""
    """Why there is none; empty when there is."""


def profile(
    changes: SeriesChanges, direction: Direction, reach: tuple[float, float], *, confidence: float = 0.95
) -> Profile:
    """The profile of a series along or across the roll.

    Args:
        changes: the series and what was found in it, by ``find_changes``.
        direction: along or across.
        reach: where the roll begins and ends in that direction (m along, mm across); the profile stays between the
            outermost strips except for levels, which hold for the whole roll or batch.
        confidence: of the band, at each place.

    Raises:
        ArgumentError: when the reach has no length.

    Example:
        >>> from wideroll.sensitometry import DeviationSeries, PlacedDeviation, Record, StripScatter, find_changes
        >>> points = [
        ...     PlacedDeviation(strip=s, run=s, along_m=m, across_mm=0.0, value=v, standard_uncertainty=0.01)
        ...     for s, m, v in (("a", 1.0, 0.02), ("b", 9.0, 0.04))
        ... ]
        >>> scatter = StripScatter(sd=0.01, degrees_of_freedom=4.0)
        >>> series = DeviationSeries(
        ...     measure="speed", record=Record.RED, unit="log H", points=tuple(points), scatter=scatter
        ... )
        >>> (changes,) = find_changes([series], [])
        >>> found = profile(changes, Direction.ALONG, (0.0, 10.0))
        >>> found.terms, round(float(found.value[0]), 3)
        (('level',), 0.03)
    """
    if not reach[0] < reach[1]:
        raise ArgumentError(where="reach", rule="from less to more", value=reach, mend="Give the roll's two ends.")
    series = changes.series
    stepped = tuple(change.border for change in changes.borders if change.kind in _STEPPED)
    drifts = {drift.kind for drift in changes.drifts if drift.found}
    if any(change.kind in _SLOPED for change in changes.borders):
        drifts.add(DriftKind.ALONG)
    # what was found along is taken off before anything is said across
    along = direction is Direction.ALONG
    wanted = [kind for kind in DriftKind if kind in drifts and (kind is DriftKind.ALONG or not along)]
    design, terms = _design(changes, stepped, wanted)
    n = len(series.points)
    if not n or not can_fit(series, design):
        why = "no usable strip" if not n else f"{n} strip{'s' if n > 1 else ''} can't show one"
        nothing = np.empty(0)
        return Profile(
            direction=direction, at=nothing, value=nothing, low=nothing, high=nothing,
            terms=(), strips=n, scatter_sd=float("nan"), why=why,
        )  # fmt: skip
    fit = fit_places(series, design)
    at, rows = (_rows_along if along else _rows_across)(changes, stepped, wanted, reach, design)
    found = [term(fit, row, confidence=confidence) for row in rows]
    return Profile(
        direction=direction,
        at=at,
        value=np.array([one.value for one in found]),
        low=np.array([one.low for one in found]),
        high=np.array([one.high for one in found]),
        terms=terms,
        strips=n,
        scatter_sd=fit.scatter_sd,
    )


def _design(
    changes: SeriesChanges, stepped: tuple[Border, ...], wanted: list[DriftKind]
) -> tuple[Floats, tuple[str, ...]]:
    series = changes.series
    steps, kept = step_columns(series.along_m, stepped)
    drifts = _drift_columns(changes, wanted, series.along_m, series.across_mm)
    names = ("level", *(f"step at {border.along_m:g} m" for border in kept), *(kind.value for kind in wanted))
    return np.hstack([np.ones((len(series.points), 1)), steps, drifts]), names


def _drift_columns(changes: SeriesChanges, wanted: list[DriftKind], along_m: Floats, across_mm: Floats) -> Floats:
    along, across = along_column(changes.series, along_m), across_columns(changes.series, across_mm)
    columns = {DriftKind.ALONG: along, DriftKind.ACROSS: across[:, :1], DriftKind.BOW: across[:, 1:]}
    return np.hstack([columns[kind] for kind in wanted]) if wanted else np.empty((len(along_m), 0))


def _rows_along(
    changes: SeriesChanges,
    stepped: tuple[Border, ...],
    wanted: list[DriftKind],
    reach: tuple[float, float],
    design: Floats,
) -> tuple[Floats, Floats]:
    del design
    _, kept = step_columns(changes.series.along_m, stepped)
    borders = np.array([border.along_m for border in kept])
    strips = changes.series.along_m
    first, last = (float(strips.min()), float(strips.max())) if wanted else reach
    at = np.union1d(np.linspace(first, last, _PLACES), borders)
    after = (at[:, np.newaxis] >= borders).astype(np.float64)
    # a border stands twice, the first time as the end of what came before it
    twice = np.flatnonzero(np.isin(at, borders))
    before = (at[twice, np.newaxis] > borders).astype(np.float64)
    at, after = np.insert(at, twice, at[twice]), np.insert(after, twice, before, axis=0)
    drifts = _drift_columns(changes, wanted, at, np.zeros(len(at)))
    return at, np.hstack([np.ones((len(at), 1)), after, drifts])


def _rows_across(
    changes: SeriesChanges,
    stepped: tuple[Border, ...],
    wanted: list[DriftKind],
    reach: tuple[float, float],
    design: Floats,
) -> tuple[Floats, Floats]:
    del stepped
    strips = changes.series.across_mm
    bent = any(kind is not DriftKind.ALONG for kind in wanted)
    first, last = (float(strips.min()), float(strips.max())) if bent else reach
    at = np.linspace(first, last, _PLACES)
    middle = np.full(len(at), float(changes.series.along_m.mean()))
    held = np.tile(design[:, : design.shape[1] - len(wanted)].mean(axis=0), (len(at), 1))
    return at, np.hstack([held, _drift_columns(changes, wanted, middle, at)])
