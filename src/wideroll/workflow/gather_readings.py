"""What the strips of each batch say about it, as the readings that criteria speak of."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from scipy import stats

from wideroll.release import Reading
from wideroll.roll import Extent
from wideroll.sensitometry import Deviation, Measure, Record, StripResult

__all__ = ["READING_UNITS", "gather_readings", "usable_strips"]

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

    A reading is the mean over the strips; the worst density deviation is that of the worst strip, because deviations
    of opposite sign at different densities would cancel in a mean. Where one strip lacks a measure that others have,
    the batch's reading has no value and names the strip: it is missing evidence.
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
        value, error = _mean(known)
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


def _mean(known: Sequence[tuple[StripResult, Measure]]) -> tuple[float, _Error]:
    """Mean with the strips' own uncertainty, widened where they scatter by more than that.

    Strips of one process run share the error of its correction, so their errors are taken to go together, which is the
    most they can; those of different runs are independent. The degrees of freedom of a run are the fewest of its
    strips, those of the mean Welch and Satterthwaite's: ν = u⁴ ⁄ Σ u_r⁴⁄ν_r (GUM G.4.1).

    Where the scatter between strips is more than their uncertainties explain (chi square at 5 %), the uncertainty is
    widened by the ratio of the two (Birge 1932). It then comes from the scatter, so that there are at most n − 1
    degrees of freedom.
    """
    errors = [_own(m) for _, m in known]
    n = len(known)
    value = math.fsum(m.value for _, m in known) / n
    of_run: dict[str, _Error] = {}
    for (result, _), error in zip(known, errors, strict=True):
        before = of_run.get(result.strip.run, _Error(standard=0.0, freedom=math.inf))
        of_run[result.strip.run] = _Error(
            standard=before.standard + error.standard / n, freedom=min(before.freedom, error.freedom)
        )
    own = _combined(list(of_run.values()))
    ratio = _scatter([m.value for _, m in known], errors, value)
    if ratio <= 1.0:
        return value, own
    return value, _Error(standard=own.standard * ratio, freedom=min(own.freedom, n - 1.0))


def _own(measure: Measure) -> _Error:
    """As the measure says it; else from the wider half of its 95 % interval; without either nothing is known."""
    freedom = measure.degrees_of_freedom
    if not math.isnan(measure.standard_uncertainty):
        return _Error(standard=measure.standard_uncertainty, freedom=freedom)
    half = max(measure.value - measure.low, measure.high - measure.value)
    error = half / float(stats.t.ppf(0.5 + _LEVEL / 2.0, freedom))
    return _Error(standard=math.inf if math.isnan(error) else error, freedom=freedom)


def _combined(parts: Sequence[_Error]) -> _Error:
    """Independent errors as one."""
    standard = math.sqrt(math.fsum(part.standard**2 for part in parts))
    if not 0.0 < standard < math.inf:
        return _Error(standard=standard, freedom=min(part.freedom for part in parts))
    share = math.fsum((part.standard / standard) ** 4 / part.freedom for part in parts)
    return _Error(standard=standard, freedom=1.0 / share if share > 0.0 else math.inf)


def _scatter(values: Sequence[float], errors: Sequence[_Error], mean: float) -> float:
    """How much more the values scatter than their own uncertainties explain; 1 where they explain it."""
    freedom = len(values) - 1
    if freedom < 1 or not all(0.0 < error.standard < math.inf for error in errors):
        return 1.0
    chi_square = math.fsum(((v - mean) / e.standard) ** 2 for v, e in zip(values, errors, strict=True))
    if chi_square <= float(stats.chi2.ppf(_LEVEL, freedom)):
        return 1.0
    return max(1.0, math.sqrt(chi_square / freedom))
