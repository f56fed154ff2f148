"""Marks that people took together: which roller made them, and what each spacing has for it."""

from collections.abc import Sequence
from dataclasses import replace
from math import exp
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.repeats.desk import Desk, Lane, as_series, find_chain, open_desk, weigh_fully
from wideroll.repeats.model import Roller, Series, SeriesSettings, SpacingEvidence
from wideroll.repeats.rollers import spacing_prior
from wideroll.repeats.web import lay_out
from wideroll.repeats.weigh import by_spacing, gaits, lane_marks, log_sum

__all__ = ["name_roller", "spacing_evidence"]

_SETTINGS: Final = SeriesSettings()
_LEAST_MARKS: Final = 2
_COARSE_STEP: Final = 0.0016
"""Of the spacings drawn; each stands for those about it."""


def name_roller(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    *,
    length_m: float,
    rollers: Sequence[Roller],
    observed: Sequence[tuple[float, float]] | None = None,
    settings: SeriesSettings = _SETTINGS,
) -> Series:
    """The roller that made marks which somebody already takes for a series, as on sheets at one place across.

    The same weighing as ``find_series``, of these marks as one lane however wide they lie, and without a threshold: the
    answer may rest on little. ``false_alarm`` is the greatest probability that scattered marks would give as much.

    Args:
        along_m: float64 (n,), places along from the head in metres, in any order; some may be scattered marks.
        across_mm: float64 (n,), places across from the datum edge in millimetres.
        length_m: length of the roll.
        rollers: the table of what turns on the line; may be empty.
        observed: stretches (from, to) in metres in which marks could be seen, such as sheets; all when None.
        settings: how regular a series is.

    Returns:
        The series; ``members`` are rows of the marks as given.

    Raises:
        ArgumentError: fewer than two marks within what was observed; else as ``find_series``.

    Example:
        >>> sheets = [(0.0, 3.0), (40.0, 43.0)]
        >>> seen = np.array([0.41, 1.113, 2.521, 40.545, 41.948])
        >>> table = [Roller(name="T3", diameter_mm=224.0), Roller(name="T9", diameter_mm=480.0)]
        >>> series = name_roller(seen, np.full(5, 310.0), length_m=43.0, rollers=table, observed=sheets)
        >>> series.candidates[0].roller, round(series.spacing_m, 2)
        ('T3', 0.7)
    """
    web = lay_out(along_m, across_mm, length_m, observed)
    if web.along.size < _LEAST_MARKS:
        raise ArgumentError(
            where="along_m",
            rule="at least two marks within what was observed",
            value=web.along.size,
            mend="Look at more of the web.",
        )
    desk = open_desk(web, rollers, settings)
    lane = Lane(middle_mm=float(np.median(web.across)), rows=np.arange(web.along.size))
    left = np.ones(web.along.size, dtype=bool)
    case = find_chain(desk, lane, weigh_fully(desk, lane), left)
    series = as_series(desk, case)
    return replace(series, false_alarm=min(1.0, exp(-max(series.log_evidence, 0.0))))


def spacing_evidence(
    along_m: NDArray[np.float64],
    across_mm: NDArray[np.float64],
    series: Series,
    *,
    length_m: float,
    rollers: Sequence[Roller],
    observed: Sequence[tuple[float, float]] | None = None,
    settings: SeriesSettings = _SETTINGS,
) -> SpacingEvidence:
    """What each trial spacing has for it in the lane of a series, for a figure.

    Args:
        along_m: float64 (n,), metres: all marks that were searched.
        across_mm: float64 (n,), millimetres.
        series: one that ``find_series`` found among them.
        length_m: length of the roll.
        rollers: as searched.
        observed: as searched.
        settings: as searched.

    Returns:
        Spacings in steps of 0.16 %, and the finer ones that the search weighed.

    Raises:
        ArgumentError: as ``find_series``.

    Example:
        >>> from wideroll.repeats import find_series
        >>> along, across, table = 0.2 + 0.7 * np.arange(60), np.full(60, 300.0), [Roller(name="T3", diameter_mm=223.0)]
        >>> series = find_series(along, across, length_m=42.0, rollers=table)[0]
        >>> curve = spacing_evidence(along, across, series, length_m=42.0, rollers=table)
        >>> round(float(curve.spacings_m[np.argmax(curve.log_evidence)]), 2)
        0.7
    """
    web = lay_out(along_m, across_mm, length_m, observed)
    desk = open_desk(web, rollers, settings)
    left = np.ones(web.along.size, dtype=bool)
    near = np.abs(web.across - series.across_mm) <= settings.lane_mm / 2.0
    lane = Lane(middle_mm=series.across_mm, rows=np.flatnonzero(near))
    spacings, curve = _coarse(desk, lane, left)
    fine = weigh_fully(desk, lane).by_spacing
    tried = np.isfinite(fine)
    spacings = np.concatenate((spacings, desk.trials.spacings[tried]))
    curve = np.concatenate((curve, fine[tried]))
    order = np.argsort(spacings, kind="stable")
    return SpacingEvidence(across_mm=series.across_mm, spacings_m=spacings[order], log_evidence=curve[order])


def _coarse(desk: Desk, lane: Lane, left: NDArray[np.bool_]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    trials = spacing_prior(desk.trials, lane.middle_mm).spacings
    count = int(np.log(trials[-1] / trials[0]) / _COARSE_STEP) + 2
    spacings = np.geomspace(trials[0], trials[-1], count)
    marks = lane_marks(desk.web, lane.rows, left, desk.settings)
    usual = gaits(desk.settings, marks.seen_m / trials[0], _COARSE_STEP)[1]
    return spacings, log_sum(by_spacing(marks, usual, spacings), 1)
