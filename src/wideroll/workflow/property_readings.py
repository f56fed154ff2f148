"""What the measured properties of each batch say, as the readings that criteria speak of."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from scipy import special

from wideroll.release import Missing, Reading
from wideroll.roll import Extent, Place
from wideroll.workflow.model import Batch
from wideroll.workflow.property_model import (
    Judged,
    Measurement,
    PropertyEvidence,
    PropertySpec,
    PropertySummary,
)

__all__ = ["gather_properties", "summarise"]

_UPPER: Final = 0.975
"""Upper end of a 95 % interval."""
_CONTRADICTS: Final = 0.01
"""A scatter found that is so improbable by the one known beforehand is believed instead of it."""
_TWO: Final = 2
_MEASURE_MORE: Final = "Measure a second place of the batch, or give the property's scatter in the product's file."

_Places: TypeAlias = Sequence[Sequence[Measurement]]
"""The values of each place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spread:
    """Variance of one place's value about the batch's mean, that of the mean beyond it, and degrees of freedom."""

    between: float
    of_mean: float
    freedom: float
    note: str = ""


def gather_properties(
    measurements: Sequence[Measurement], specs: Sequence[PropertySpec], batches: Sequence[tuple[Batch, Extent]]
) -> PropertyEvidence:
    """Each property of each batch as a reading, the values that can't be believed, and how many places there are.

    The reading's value is the mean over the places. Its standard uncertainty is, with the variance s² between n places
    and the calibrations' c²,

        each place: √(s² (1 + 1⁄n) + c²)        mean: √(s² ⁄ n + c²)

    The first is that of the value at a further place of the batch (prediction of one further value, Hahn and Meeker
    1991, from memory), the second that of the mean (JCGM 100:2008, 4.2.3 and 5.1.2, from memory). s² is found with
    n − 1 degrees of freedom; those of the whole are Welch's and Satterthwaite's (JCGM 100:2008, G.4.1, from memory).
    Several values at one place are one place. Instruments share no error: c² = Σ (wᵢ·cᵢ)², with wᵢ the part of the
    mean that instrument i measured.

    A batch with one place says nothing of scatter: without a known one its reading has no value.

    Args:
        measurements: of the roll, in the product's units.
        specs: the product's properties; measurements of others are left out.
        batches: each batch with its part of the web.

    Returns:
        Readings and missing evidence by the property's name, in the order of the properties and batches.

    Example:
        >>> web = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
        >>> values = [
        ...     Measurement(
        ...         subject="thickness",
        ...         place=Place(along_m=float(n), across_mm=700.0),
        ...         value=value,
        ...         own_uncertainty=0.1,
        ...         instrument="G-1",
        ...         on="2026-11-20",
        ...         shared_uncertainty=0.5,
        ...     )
        ...     for n, value in enumerate((129.0, 130.0, 131.0))
        ... ]
        >>> spec = PropertySpec(name="thickness", unit="µm")
        >>> batch = Batch(name="E-1", along_from_m=0.0, along_to_m=40.0)
        >>> (reading,) = gather_properties(values, [spec], [(batch, web)]).readings
        >>> reading.value, round(reading.standard_uncertainty**2, 4), round(reading.degrees_of_freedom, 2)
        (130.0, 1.5833, 2.82)
    """
    summaries = tuple(
        summary
        for spec in specs
        for batch, extent in batches
        if (summary := summarise(spec, batch, extent, _within(measurements, spec, extent)))
    )
    return PropertyEvidence(
        readings=tuple(_reading(summary) for summary in summaries),
        missing=tuple(
            item
            for spec in specs
            for batch, extent in batches
            for item in _unusable(spec, batch, extent, _within(measurements, spec, extent))
        ),
        counts={
            spec.name: tuple(
                (extent, len(_by_place(_usable(_within(measurements, spec, extent))))) for _, extent in batches
            )
            for spec in specs
        },
        summaries=summaries,
    )


def summarise(
    spec: PropertySpec, batch: Batch, extent: Extent, measurements: Sequence[Measurement]
) -> PropertySummary | None:
    """What the usable ones of a batch's values of one property say; None where there are none.

    The variance between places is at least that of the values' own errors, so that values that agree because they are
    rounded don't claim to be exact. A known scatter is used instead, unless the one found contradicts it (1 %, χ²).
    """
    places = _by_place(_usable(measurements))
    if not places:
        return None
    means = [_mean(m.value for m in place) for place in places]
    mean = _mean(means)
    spread = _spread(spec, means, places)
    calibration = _calibration_variance(places)
    within = spread.between if spec.judged is Judged.EACH_PLACE else 0.0
    sampled = within + spread.of_mean
    error = math.sqrt(sampled + calibration)
    freedom = spread.freedom if not sampled else spread.freedom * ((sampled + calibration) / sampled) ** 2
    half = error * _quantile(freedom)
    lone = math.isnan(spread.between)
    return PropertySummary(
        spec=spec,
        batch=batch.name,
        extent=extent,
        values=sum(len(place) for place in places),
        places=len(places),
        mean=mean,
        scatter=math.sqrt(_variance(means)),
        standard_uncertainty=error,
        degrees_of_freedom=freedom,
        low=mean - half,
        high=mean + half,
        source=_source(places) + spread.note,
        why="one place tells nothing of how it varies" if lone else "",
        mend=_MEASURE_MORE if lone else "",
    )


def _within(measurements: Sequence[Measurement], spec: PropertySpec, extent: Extent) -> list[Measurement]:
    return [m for m in measurements if m.subject == spec.name and extent.contains(m.place)]


def _usable(measurements: Sequence[Measurement]) -> list[Measurement]:
    return [m for m in measurements if m.usable]


def _by_place(measurements: Sequence[Measurement]) -> list[list[Measurement]]:
    places: dict[Place, list[Measurement]] = {}
    for measurement in measurements:
        places.setdefault(measurement.place, []).append(measurement)
    return list(places.values())


def _spread(spec: PropertySpec, means: Sequence[float], places: _Places) -> _Spread:
    n = len(means)
    own = _mean(math.fsum(m.own_uncertainty**2 for m in place) / len(place) ** 2 for place in places)
    found = _variance(means)
    if math.isnan(spec.scatter):
        between = math.nan if n < _TWO else max(found, own)
        return _Spread(between=between, of_mean=between / n, freedom=max(n - 1, 1))
    known = spec.scatter**2
    if n >= _TWO and known + own > 0.0 and special.chdtrc(n - 1, (n - 1) * found / (known + own)) < _CONTRADICTS:
        note = f"; they scatter more than the known {spec.scatter:g} {spec.unit}".rstrip()
        return _Spread(between=found, of_mean=found / n, freedom=n - 1, note=note)
    return _Spread(between=known, of_mean=(known + own) / n, freedom=math.inf)


def _calibration_variance(places: _Places) -> float:
    """Variance of the mean by what the values of each instrument have in common."""
    shared: dict[str, float] = {}
    for place in places:
        for m in place:
            share = m.shared_uncertainty / (len(place) * len(places))
            shared[m.instrument] = shared.get(m.instrument, 0.0) + share
    return math.fsum(error**2 for error in shared.values())


def _reading(summary: PropertySummary) -> Reading:
    lone = bool(summary.why)
    return Reading(
        subject=summary.spec.name,
        extent=summary.extent,
        value=math.nan if lone else summary.mean,
        low=summary.low,
        high=summary.high,
        unit=summary.spec.unit,
        source=f"{summary.source}; {summary.why}" if lone else summary.source,
        standard_uncertainty=summary.standard_uncertainty,
        degrees_of_freedom=summary.degrees_of_freedom,
        mend=summary.mend,
    )


def _unusable(
    spec: PropertySpec, batch: Batch, extent: Extent, measurements: Sequence[Measurement]
) -> Iterator[Missing]:
    """The values that can't be believed, those of one cause together."""
    causes: dict[tuple[str, str], list[Measurement]] = {}
    for measurement in measurements:
        if not measurement.usable:
            causes.setdefault((measurement.why_unusable, measurement.mend), []).append(measurement)
    for (why, mend), values in causes.items():
        lines = ", ".join(str(m.line) for m in values)
        many = f"{len(values)} values (lines {lines})" if len(values) > 1 else f"1 value (line {lines})"
        yield Missing(
            subject=spec.name,
            extent=extent,
            void=True,
            cause=why,
            why=f"{spec.name} of batch {batch.name}, {many}: {why}",
            mend=mend,
        )


def _source(places: _Places) -> str:
    """How many values, and by which instruments, calibrated when."""
    values = sum(len(place) for place in places)
    one = "1 place" if len(places) == 1 else f"{len(places)} places"
    count = one if values == len(places) else f"{values} values at {one}"
    named = dict.fromkeys((m.instrument, m.calibration) for place in places for m in place)
    by = [f"{name or 'an instrument that is not named'}, {calibration}" for name, calibration in named]
    return f"{count} by {' and '.join(by)}"


def _mean(values: Iterable[float]) -> float:
    listed = list(values)
    return math.fsum(listed) / len(listed)


def _variance(values: Sequence[float]) -> float:
    """With n − 1; NaN for one value."""
    if len(values) < _TWO:
        return math.nan
    mean = _mean(values)
    return math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)


def _quantile(freedom: float) -> float:
    return float(special.ndtri(_UPPER) if math.isinf(freedom) else special.stdtrit(freedom, _UPPER))
