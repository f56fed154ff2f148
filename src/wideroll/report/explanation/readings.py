"""From a reading of the roll to the strips that speak for it, each with its own deviation and error."""

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from wideroll.release import Criterion, Finding
from wideroll.release.model import Reading
from wideroll.release.words import number, where
from wideroll.report.explanation.node import Fact, Kind, Node, Origins
from wideroll.sensitometry import Deviation, Measure, Record, StripResult
from wideroll.sensitometry.placed_fit import fit_places
from wideroll.workflow import Assessment
from wideroll.workflow.gather_readings import strip_series, usable_strips

__all__ = ["reading_nodes", "reading_of"]

_FIELDS: Final = {
    "speed deviation": "speed_log_h",
    "contrast deviation": "contrast",
    "minimum density deviation": "dmin_density",
    "worst density deviation": "worst_density",
}
_PARALLELISM: Final = "parallelism"
_WORST_OF: Final = "worst density deviation"
_MEAN: Final = (
    "the strips' mean by generalised least squares: each weighs by its own error, by what it shares with its run, and "
    "by the scatter between strips; what all strips of a batch share isn't averaged out"
)
_WORST: Final = "the strip whose interval reaches farthest from 0: deviations of opposite sign would cancel in a mean"

_PROPERTY: Final = (
    "the mean over the batch's places, with the spread between places and what the instruments' calibrations bring"
)


def reading_of(finding: Finding, criterion: Criterion, assessment: Assessment) -> Reading | None:
    """The reading that a finding is about, or None where no reading speaks for its part."""
    mine = [
        one
        for one in assessment.evidence.readings
        if one.subject == criterion.subject and one.source == finding.source and one.extent.meet(finding.extent)
    ]
    same = [one for one in mine if one.value == finding.found or (math.isnan(one.value) and math.isnan(finding.found))]
    return same[0] if same else None


def reading_nodes(finding: Finding, criterion: Criterion, assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """The reading with its strips; where there is none, the strips of the part and why they don't count."""
    reading = reading_of(finding, criterion, assessment)
    if reading is None:
        return
    used = (*_strips(reading, assessment), *_measurements(reading, origins))
    yield Node(
        kind=Kind.READING,
        title=f"{reading.subject} for {where(reading.extent, assessment.whole)}: {_value(reading)}",
        facts=tuple(_reading_facts(reading)),
        children=used,
        values={
            "subject": reading.subject,
            "value": reading.value,
            "standard_uncertainty": reading.standard_uncertainty,
            "degrees_of_freedom": reading.degrees_of_freedom,
            "source": reading.source,
        },
    )


def _value(reading: Reading) -> str:
    if math.isnan(reading.value):
        return "none"
    return f"{number(reading.value)} {reading.unit} ({number(reading.low)} to {number(reading.high)}, at 95 %)"


def _reading_facts(reading: Reading) -> Iterator[Fact]:
    yield Fact(name="source", value=reading.source)
    yield Fact(name="how", value=_how(reading))
    if not math.isnan(reading.standard_uncertainty):
        yield Fact(name="standard uncertainty", value=_error(reading.standard_uncertainty, reading.degrees_of_freedom))
    if reading.extrapolated:
        yield Fact(name="extrapolated", value="a strip's curve had to be carried past its last step")


def _how(reading: Reading) -> str:
    """By which rule the reading follows from what was measured."""
    if reading.subject == _WORST_OF:
        return _WORST
    return _MEAN if reading.subject in {*_FIELDS, _PARALLELISM} else _PROPERTY


def _error(error: float, freedom: float) -> str:
    known = "taken as known" if math.isinf(freedom) else f"{number(freedom)} degrees of freedom"
    return f"{number(error)}, {known}"


def _strips(reading: Reading, assessment: Assessment) -> Iterator[Node]:
    """The usable strips of the stretch that give this number, with the weight of each in the mean."""
    of_record = next((record for record in Record if reading.source.startswith(f"{record} record, ")), None)
    usable = usable_strips(assessment.strip_room.results, reading.extent)
    found = [(result, _measure(result, reading.subject, of_record)) for result in usable]
    known = [(result, measure) for result, measure in found if measure is not None]
    for (result, measure), weight in zip(known, _weights(reading, known), strict=True):
        yield _strip(result, measure, weight)


def _weights(reading: Reading, known: Sequence[tuple[StripResult, Measure]]) -> list[float]:
    """Of each strip in the reading's mean; NaN where it is no mean, or isn't the one that these weights give."""
    unknown = [math.nan] * len(known)
    if not known or reading.subject == _WORST_OF or any(math.isnan(measure.value) for _, measure in known):
        return unknown
    series = strip_series(reading.subject, known)
    if series is None:
        return unknown
    weights: list[float] = fit_places(series, np.ones((len(known), 1))).weights[0].tolist()
    mean = math.fsum(weight * measure.value for weight, (_, measure) in zip(weights, known, strict=True))
    return weights if math.isclose(mean, reading.value, rel_tol=1e-6, abs_tol=1e-12) else unknown


def _measurements(reading: Reading, origins: Origins) -> Iterator[Node]:
    """The values of a property in the reading's stretch, each with its line."""
    for one in origins.measurements:
        if one.subject == reading.subject and reading.extent.contains(one.place):
            told = f"{number(one.value)} {reading.unit}, u {number(one.own_uncertainty)}"
            at = f"{one.place.along_m:.2f} m, {one.place.across_mm:.0f} mm across"
            facts = (
                Fact(name="instrument", value="; ".join(t for t in (one.instrument, one.on, one.calibration) if t)),
                Fact(name="why not used", value=one.why_unusable),
                Fact(name="note", value=one.note),
            )
            yield Node(
                kind=Kind.MEASUREMENT,
                title=f"line {one.line}: {told}, at {at}",
                facts=tuple(fact for fact in facts if fact.value),
                values={"line": one.line, "value": one.value, "instrument": one.instrument, "used": one.usable},
            )


def _measure(result: StripResult, subject: str, record: Record | None) -> Measure | None:
    if subject == _PARALLELISM:
        return next((one for one in result.measures if one.name == _PARALLELISM), None)
    deviation = next((one for one in result.deviations if one.record is record), None)
    return None if deviation is None or subject not in _FIELDS else _field(deviation, subject)


def _field(deviation: Deviation, subject: str) -> Measure:
    found: Measure = getattr(deviation, _FIELDS[subject])
    return found


def _strip(result: StripResult, measure: Measure, weight: float) -> Node:
    strip = result.strip
    weighed = "" if math.isnan(weight) else f", weight {number(weight)}"
    return Node(
        kind=Kind.STRIP,
        title=f"strip {strip.name}, run {strip.run}{weighed}: {_strip_words(measure)}",
        facts=(Fact(name="note", value=measure.note),) if measure.note else (),
        values={
            "strip": strip.name,
            "run": strip.run,
            "weight": weight,
            "value": measure.value,
            "standard_uncertainty": measure.standard_uncertainty,
            "degrees_of_freedom": measure.degrees_of_freedom,
            "run_uncertainty": measure.run_uncertainty,
            "batch_uncertainty": measure.batch_uncertainty,
        },
    )


def _strip_words(measure: Measure) -> str:
    """A deviation with its error and the parts of it that others share."""
    if math.isnan(measure.value):
        return "none"
    sign = "+" if measure.value > 0.0 else ""
    told = f"{sign}{number(measure.value)} {measure.unit}".strip()
    if math.isnan(measure.standard_uncertainty):
        told += f" ({number(measure.low)} to {number(measure.high)})"
    else:
        told += f", u {_error(measure.standard_uncertainty, measure.degrees_of_freedom)}"
    shared = [
        f"{number(part)} shared by the {name}"
        for part, name in ((measure.run_uncertainty, "run"), (measure.batch_uncertainty, "batch"))
        if part
    ]
    return told + (f" ({', '.join(shared)})" if shared else "") + (" extrapolated" if measure.extrapolated else "")
