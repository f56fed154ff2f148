"""What the strips of each batch say about it, as the readings that criteria speak of."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from scipy import stats

from wideroll.release import Reading
from wideroll.roll import Extent
from wideroll.sensitometry import (
    SUPPOSED_SCATTER,
    Deviation,
    DeviationSeries,
    Measure,
    PlacedDeviation,
    Record,
    StripResult,
    batch_mean,
)

__all__ = ["READING_UNITS", "gather_readings", "strip_series", "usable_strips"]

READING_UNITS: Final = {
    "speed deviation": "log H",
    "contrast deviation": "ratio",
    "minimum density deviation": "density",
    "worst density deviation": "density",
    "parallelism": "density",
}
"""Readings there can be, and the unit of each."""
_WORST: Final = "worst density deviation"
_PARALLELISM: Final = "parallelism"
_LEVEL: Final = 0.95
_SCATTER: Final = {
    "speed deviation": "speed",
    "contrast deviation": "contrast",
    "minimum density deviation": "minimum density",
    _PARALLELISM: "minimum density",
}
"""Which supposed scatter between strips a reading has; a spread is of densities, as the minimum is."""

_Column: TypeAlias = Sequence[tuple[StripResult, Measure | None]]
"""One measure of each usable strip of a batch; None where a strip lacks it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Error:
    """A standard uncertainty with its degrees of freedom."""

    standard: float
    freedom: float


def usable_strips(results: Sequence[StripResult], extent: Extent) -> list[StripResult]:
    """The strips that were cut from a stretch and can be used."""
    return [r for r in results if r.usable and r.strip.place is not None and extent.contains(r.strip.place)]


def gather_readings(results: Sequence[StripResult], extents: Sequence[Extent]) -> tuple[Reading, ...]:
    """Each batch's deviations, record by record, and its parallelism, from its usable strips.

    A reading is the mean over the strips, as ``batch_mean`` weighs them; the worst density deviation is that of the
    worst strip, because deviations of opposite sign at different densities would cancel in a mean. Where one strip
    lacks a measure that others have, the batch's reading has no value and names the strip: it is missing evidence.
    """
    return tuple(reading for extent in extents for reading in _of_batch(usable_strips(results, extent), extent))


def _of_batch(usable: Sequence[StripResult], extent: Extent) -> Iterator[Reading]:
    for record in dict.fromkeys(deviation.record for result in usable for deviation in result.deviations):
        of_record = [(result, _deviation(result, record)) for result in usable]
        for subject in READING_UNITS:
            if subject != _PARALLELISM:
                column = [(result, None if d is None else _measure(d, subject)) for result, d in of_record]
                yield _reading(subject, extent, column, f"{record} record, ")
    spreads = [(result, next((m for m in result.measures if m.name == _PARALLELISM), None)) for result in usable]
    if any(_is_known(measure) for _, measure in spreads):
        yield _reading(_PARALLELISM, extent, spreads, "")


def _deviation(result: StripResult, record: Record) -> Deviation | None:
    return next((deviation for deviation in result.deviations if deviation.record is record), None)


def _measure(deviation: Deviation, subject: str) -> Measure:
    return {
        "speed deviation": deviation.speed_log_h,
        "contrast deviation": deviation.contrast,
        "minimum density deviation": deviation.dmin_density,
        _WORST: deviation.worst_density,
    }[subject]


def _is_known(measure: Measure | None) -> bool:
    return measure is not None and not math.isnan(measure.value)


def _reading(subject: str, extent: Extent, column: _Column, of: str) -> Reading:
    known = [(result, m) for result, m in column if m is not None and not math.isnan(m.value)]
    lacking = [result.strip.name for result, m in column if not _is_known(m)]
    source = f"{of}strips {', '.join(result.strip.name for result, _ in column)}"
    if lacking:
        value, error, source = (
            math.nan,
            _Error(standard=math.nan, freedom=math.inf),
            f"{source}; none from {', '.join(lacking)}",
        )
    elif subject == _WORST:
        value, error = _worst([m for _, m in known])
    else:
        value, error = _mean(subject, known)
    half = error.standard * float(stats.t.ppf(0.5 + _LEVEL / 2.0, error.freedom))
    least = 0.0 if subject == _PARALLELISM else -math.inf
    return Reading(
        subject=subject,
        extent=extent,
        value=value,
        low=max(value - half, least),
        high=value + half,
        unit=READING_UNITS[subject],
        source=source,
        extrapolated=any(m.extrapolated for _, m in known),
        standard_uncertainty=error.standard,
        degrees_of_freedom=error.freedom,
    )


def _worst(measures: Sequence[Measure]) -> tuple[float, _Error]:
    """The measure whose interval reaches farthest from 0."""
    errors = [_own(m) for m in measures]
    reach = [
        abs(m.value) + e.standard * float(stats.t.ppf(0.5 + _LEVEL / 2.0, e.freedom))
        for m, e in zip(measures, errors, strict=True)
    ]
    worst = max(range(len(measures)), key=lambda n: (reach[n], abs(measures[n].value)))
    return measures[worst].value, errors[worst]


def _mean(subject: str, known: Sequence[tuple[StripResult, Measure]]) -> tuple[float, _Error]:
    """Mean of a batch, by what strips, runs and the batch each err by, and the scatter between strips (``batch_mean``).

    Where a strip's error isn't known, it is the plain mean, and its error isn't known either.
    """
    series = strip_series(subject, known)
    if series is None:
        value = math.fsum(m.value for _, m in known) / len(known)
        return value, _Error(standard=math.inf, freedom=min(m.degrees_of_freedom for _, m in known))
    found = batch_mean(series, [m.batch_uncertainty for _, m in known])
    return found.value, _Error(standard=found.standard_error, freedom=found.degrees_of_freedom)


def strip_series(subject: str, known: Sequence[tuple[StripResult, Measure]]) -> DeviationSeries | None:
    """The strips of a batch as a reading's mean weighs them; None where the error of one of them isn't known."""
    errors = [_own(m) for _, m in known]
    if not all(math.isfinite(error.standard) for error in errors):
        return None
    return DeviationSeries(
        measure=subject,
        record=known[0][1].record or Record.VISUAL,  # a spread is of no one record; the mean doesn't ask
        unit=READING_UNITS[subject],
        points=tuple(_point(subject, result, m, e) for (result, m), e in zip(known, errors, strict=True)),
        scatter=SUPPOSED_SCATTER[_SCATTER[subject]],
    )


def _point(subject: str, result: StripResult, measure: Measure, error: _Error) -> PlacedDeviation:
    place = result.strip.place
    without_batch = math.sqrt(max(error.standard**2 - measure.batch_uncertainty**2, 0.0))
    # how much of a spread's error the run's strips share isn't known: taken as all of it, which is the most it can be
    shared = without_batch if subject == _PARALLELISM else min(measure.run_uncertainty, without_batch)
    return PlacedDeviation(
        strip=result.strip.name,
        run=result.strip.run,
        along_m=place.along_m if place is not None else 0.0,
        across_mm=place.across_mm if place is not None else 0.0,
        value=measure.value,
        standard_uncertainty=without_batch,
        degrees_of_freedom=error.freedom,
        shared_uncertainty=shared,
    )


def _own(measure: Measure) -> _Error:
    """As the measure says it; else from the wider half of its 95 % interval; without either nothing is known."""
    freedom = measure.degrees_of_freedom
    if not math.isnan(measure.standard_uncertainty):
        return _Error(standard=measure.standard_uncertainty, freedom=freedom)
    half = max(measure.value - measure.low, measure.high - measure.value)
    error = half / float(stats.t.ppf(0.5 + _LEVEL / 2.0, freedom))
    return _Error(standard=math.inf if math.isnan(error) else error, freedom=freedom)
