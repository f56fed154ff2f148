"""Readings against their limits: by the probability that they lie within, never believed beyond what was measured."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.release.conformance import (
    beyond_probabilities,
    conformance_probability,
    guard_band,
    standard_uncertainty_of,
)
from wideroll.release.ground import outside
from wideroll.release.model import Criterion, Evidence, Missing, Reading, Reason, Verdict
from wideroll.release.ruling import NOTHING, Found, Ruling, Word, absent, missing_on, rule
from wideroll.release.tolerance import Tolerance, decision_risks, tolerance_of
from wideroll.release.words import chance, measured, sentence, where
from wideroll.roll import Extent

__all__ = ["judge_missing_readings", "judge_readings"]

_DEVIATION: Final = "deviation"
_SPEED: Final = "speed deviation"
"""In log H; more exposure for the same density is a slower film."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """A reading held against its tolerance."""

    reading: Reading
    tolerance: Tolerance
    conformance: float = math.nan
    bad: float = math.nan
    """Probability that it lies beyond the one limit it is nearer to."""
    band: float = math.nan
    consumer_risk: float = math.nan
    producer_risk: float = math.nan

    @property
    def usable(self) -> bool:
        return not self.reading.extrapolated and not math.isnan(self.reading.value)


def judge_readings(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Each reading that isn't within the limit with the criterion's confidence, or the one least sure to be.

    Released when the conformance probability is at least 1 − risk. Bad, so that the consequence falls on its stretch,
    only when it lies beyond one and the same limit with as much probability. Held in between (JCGM 106:2012).
    """
    readings = _of_subject(criterion, evidence)
    for reading in readings:
        if reading.unit != criterion.unit:
            raise ArgumentError(
                where=f"criterion {criterion.name}, unit",
                rule=f"{reading.subject} is given in {reading.unit}",
                value=criterion.unit,
                mend=f"State the limit in {reading.unit}.",
            )
    judged = [_judge(criterion, reading) for reading in readings]
    bad = [one for one in judged if not (one.usable and one.conformance >= criterion.confidence)]
    if not bad:
        bad = sorted(judged, key=lambda one: (one.conformance, _nearest(one)))[:1]
    return [_ruling(criterion, evidence, one) for one in bad]


def judge_missing_readings(criterion: Criterion, evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """Hold each part that no reading speaks for."""
    readings = _of_subject(criterion, evidence)
    subjects = tuple(dict.fromkeys((criterion.subject, *(reading.source for reading in readings))))
    silent = outside(evidence.whole, [*(reading.extent for reading in readings), *cuts])
    return [absent(criterion, evidence, part, subjects) for part in silent]


def _of_subject(criterion: Criterion, evidence: Evidence) -> list[Reading]:
    return [r for r in evidence.readings if r.subject == criterion.subject and r.extent.meet(evidence.whole)]


def _nearest(judged: _Judged) -> float:
    """How far the worse end of the interval lies inside the tolerance."""
    return min(judged.tolerance.margin(end) for end in (judged.reading.low, judged.reading.high))


def _judge(criterion: Criterion, reading: Reading) -> _Judged:
    tolerance = tolerance_of(criterion)
    freedom = reading.degrees_of_freedom
    error = reading.standard_uncertainty
    if math.isnan(error):
        error = standard_uncertainty_of(reading.value, reading.low, reading.high, degrees_of_freedom=freedom)
    if reading.extrapolated or math.isnan(reading.value) or math.isnan(error):
        return _Judged(reading=reading, tolerance=tolerance)
    beyond = beyond_probabilities(
        reading.value, error, lower=tolerance.lower, upper=tolerance.upper, degrees_of_freedom=freedom
    )
    within = conformance_probability(
        reading.value, error, lower=tolerance.lower, upper=tolerance.upper, degrees_of_freedom=freedom
    )
    width = tolerance.upper - tolerance.lower
    band = guard_band(error, criterion.risk, width=width, degrees_of_freedom=freedom) if width > 0.0 else math.nan
    risks = decision_risks(criterion, tolerance, error, band, degrees_of_freedom=freedom)
    return _Judged(
        reading=reading,
        tolerance=tolerance,
        conformance=within,
        bad=max(beyond),
        band=band,
        consumer_risk=risks[0],
        producer_risk=risks[1],
    )


def _ruling(criterion: Criterion, evidence: Evidence, judged: _Judged) -> Ruling:
    reading = judged.reading
    at = f"for {where(reading.extent, evidence.whole)}"
    if math.isnan(reading.value):
        return _lacking(criterion, evidence, reading, at)
    value, limit = _told(judged), judged.tolerance.words
    if reading.extrapolated:
        verdict, reason = Verdict.HOLD, Reason.EXTRAPOLATED
        brief = f"{value} lies beyond what was measured and can't be held against {limit}, {at}"
    elif judged.conformance >= criterion.confidence:
        verdict, reason = Verdict.RELEASE, Reason.WITHIN_LIMIT
        brief = f"{value}, the worst there is, lies within {limit}, {at}; {_sure(criterion, judged)}"
    elif judged.bad >= criterion.confidence:
        verdict, reason = Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT
        brief = f"{value} lies beyond {limit}, {at}; {_sure(criterion, judged)}"
    else:
        verdict, reason = Verdict.HOLD, Reason.NOT_PROVEN
        brief = f"{value} doesn't settle {limit}, {at}; {_sure(criterion, judged)}"
    more = f", {_acceptance(judged)}" if reason is Reason.NOT_PROVEN else ""
    guarded = reading.extent.grown(along_m=criterion.guard_m, across_mm=criterion.guard_mm)
    return rule(
        criterion,
        Found(
            value=reading.value,
            low=reading.low,
            high=reading.high,
            margin=judged.tolerance.margin(reading.value),
            conformance=judged.conformance,
            acceptance_limit=judged.tolerance.inside(judged.band),
            consumer_risk=judged.consumer_risk,
            producer_risk=judged.producer_risk,
        ),
        Word(verdict, reason, f"{brief}{more} ({reading.source})", brief=brief),
        extent=guarded.meet(evidence.whole) or evidence.whole,
        source=reading.source,
    )


def _lacking(criterion: Criterion, evidence: Evidence, reading: Reading, at: str) -> Ruling:
    """Hold a stretch whose evidence lacks the number: what doesn't speak is missing, not good."""
    brief = f"no {reading.subject} {at} ({reading.source})"
    mend = reading.mend or "Expose strips that give it, or cut this part out."
    gone = Missing(subject=reading.subject, extent=reading.extent, void=False, why=brief, mend=mend)
    named = missing_on(evidence, (reading.subject,), reading.extent)
    told = " ".join([f"{brief}. {mend}", *(f"{sentence(item.why)} {item.mend}" for item in named)])
    reason = Reason.EVIDENCE_VOID if any(item.void for item in named) else Reason.EVIDENCE_MISSING
    return rule(
        criterion,
        NOTHING,
        Word(Verdict.HOLD, reason, told, brief=brief),
        extent=reading.extent.meet(evidence.whole) or evidence.whole,
        source=reading.source,
        missing=(gone, *named),
    )


def _sure(criterion: Criterion, judged: _Judged) -> str:
    found = chance(judged.conformance, beside=criterion.confidence)
    return f"conformance probability {found}, needed {chance(criterion.confidence, beside=criterion.confidence)}"


def _acceptance(judged: _Judged) -> str:
    """Up to which value a reading as uncertain as this one would have passed."""
    if math.isnan(judged.band):
        return "too uncertain for any value to pass"
    return f"would pass {judged.tolerance.passing(judged.band)}"


def _told(judged: _Judged) -> str:
    """The reading in words: a deviation with its sign, one of speed with what the sign means."""
    reading, tolerance = judged.reading, judged.tolerance
    way = ""
    if reading.subject == _SPEED and not reading.low <= 0.0 <= reading.high:
        way = ", slower" if reading.value > 0.0 else ", faster"
    value = measured(
        reading.value,
        reading.low,
        reading.high,
        reading.unit,
        limit=abs(tolerance.nearer(reading.value)),
        signed=_DEVIATION in reading.subject,
        more=way,
        fine=tolerance.fine,
    )
    return f"{reading.subject} of {value}"
