"""Readings against their limits: guard-banded, and never believed beyond what was measured."""

from collections.abc import Sequence
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.release.ground import outside
from wideroll.release.model import Criterion, Evidence, Reading, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, absent, rule
from wideroll.release.words import measured, number, where
from wideroll.roll import Extent

__all__ = ["judge_missing_readings", "judge_readings"]

_DEVIATION: Final = "deviation"
_SPEED: Final = "speed deviation"
"""In log H; more exposure for the same density is a slower film."""


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
    at = f"for {where(reading.extent, evidence.whole)}"
    value, limit = _told(criterion, reading), f"the limit of ±{number(criterion.limit)}"
    if reading.extrapolated:
        verdict, reason = Verdict.HOLD, Reason.EXTRAPOLATED
        why = f"{value} lies beyond what was measured and can't be held against {limit}, {at}"
    elif high <= criterion.limit:
        verdict, reason = Verdict.RELEASE, Reason.WITHIN_LIMIT
        why = f"{value}, the worst there is, lies within {limit}, {at}"
    elif low > criterion.limit:
        verdict, reason = Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT
        why = f"{value} lies beyond {limit}, {at}"
    else:
        verdict, reason, why = Verdict.HOLD, Reason.NOT_PROVEN, f"{value} doesn't settle {limit}, {at}"
    guarded = reading.extent.grown(along_m=criterion.guard_m, across_mm=criterion.guard_mm)
    return rule(
        criterion,
        Found(value=reading.value, low=reading.low, high=reading.high, margin=criterion.limit - abs(reading.value)),
        Word(verdict, reason, f"{why} ({reading.source})", brief=why),
        extent=guarded.meet(evidence.whole) or evidence.whole,
        source=reading.source,
    )


def _told(criterion: Criterion, reading: Reading) -> str:
    """The reading in words: a deviation with its sign, one of speed with what the sign means."""
    way = ""
    if reading.subject == _SPEED and not reading.low <= 0.0 <= reading.high:
        way = ", slower" if reading.value > 0.0 else ", faster"
    value = measured(
        reading.value,
        reading.low,
        reading.high,
        reading.unit,
        limit=criterion.limit,
        signed=_DEVIATION in reading.subject,
        more=way,
    )
    return f"{reading.subject} of {value}"
