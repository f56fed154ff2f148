"""Readings against their limits: guard-banded, and never believed beyond what was measured."""

from collections.abc import Sequence

from wideroll.errors import ArgumentError
from wideroll.release.ground import outside
from wideroll.release.model import Criterion, Evidence, Reading, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, absent, rule
from wideroll.release.words import number, where
from wideroll.roll import Extent

__all__ = ["judge_missing_readings", "judge_readings"]


def judge_readings(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Each reading whose absolute value isn't surely within the limit, or the one nearest to it."""
    readings = _of_subject(criterion, evidence)
    for reading in readings:
        if reading.unit != criterion.unit:
            raise ArgumentError(
                where=f"criterion {criterion.name}, unit",
                rule=f"{reading.subject} is given in {reading.unit}",
                value=criterion.unit,
                mend=f"State the limit in {reading.unit}.",
            )
    bad = [reading for reading in readings if reading.extrapolated or not _size(reading)[1] <= criterion.limit]
    if not bad:
        bad = sorted(readings, key=lambda reading: _size(reading)[1])[-1:]
    return [_reading(criterion, evidence, reading) for reading in bad]


def judge_missing_readings(criterion: Criterion, evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """Hold each part that no reading speaks for."""
    readings = _of_subject(criterion, evidence)
    subjects = tuple(dict.fromkeys((criterion.subject, *(reading.source for reading in readings))))
    silent = outside(evidence.whole, [*(reading.extent for reading in readings), *cuts])
    return [absent(criterion, evidence, part, subjects) for part in silent]


def _of_subject(criterion: Criterion, evidence: Evidence) -> list[Reading]:
    return [r for r in evidence.readings if r.subject == criterion.subject and r.extent.meet(evidence.whole)]


def _size(reading: Reading) -> tuple[float, float]:
    """Interval of the absolute value."""
    low, high = sorted((abs(reading.low), abs(reading.high)))
    return (0.0 if reading.low <= 0.0 <= reading.high else low), high


def _reading(criterion: Criterion, evidence: Evidence, reading: Reading) -> Ruling:
    low, high = _size(reading)
    told = f"{reading.subject} at {where(reading.extent, evidence.whole)} ({reading.source})"
    value = f"{number(reading.value)} {reading.unit} ({number(reading.low)} to {number(reading.high)})"
    limit = f"the limit of ±{number(criterion.limit)}"
    if reading.extrapolated:
        verdict, reason = Verdict.HOLD, Reason.EXTRAPOLATED
        why = f"{told}: {value} lies beyond what was measured, and can't be held against {limit}"
    elif high <= criterion.limit:
        verdict, reason, why = Verdict.RELEASE, Reason.WITHIN_LIMIT, f"the worst is {told}: {value}, within {limit}"
    elif low > criterion.limit:
        verdict, reason = Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT
        why = f"{told}: {value}, beyond {limit}"
    else:
        verdict, reason, why = Verdict.HOLD, Reason.NOT_PROVEN, f"{told}: {value}, which doesn't settle {limit}"
    guarded = reading.extent.grown(along_m=criterion.guard_m, across_mm=criterion.guard_mm)
    return rule(
        criterion,
        Found(value=reading.value, low=reading.low, high=reading.high, margin=criterion.limit - abs(reading.value)),
        Word(verdict, reason, why),
        extent=guarded.meet(evidence.whole) or evidence.whole,
        source=reading.source,
    )
