"""Rates of marks in each stretch of the roll against their limit."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import polars as pl

from wideroll.release.counting import SCAN, counted_marks, marks_words
from wideroll.release.ground import seen_along
from wideroll.release.limits import rate_at_most
from wideroll.release.looked_at import nothing_seen
from wideroll.release.looks import Looked
from wideroll.release.model import Criterion, Evidence, Reason, Verdict
from wideroll.release.rate_units import unit_m2
from wideroll.release.ruling import Found, Ruling, Word, absent, rule
from wideroll.release.stretches import Places, Window, dense_stretches, densest_window
from wideroll.release.words import number, percent, where
from wideroll.roll import Extent

__all__ = ["judge_stretches", "judge_unseen_stretches"]

_ROUNDING: Final = 1e-9


def judge_stretches(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Each stretch denser than the limit beyond chance, or the densest stretch there is.

    Here the burden of proof is the other way round: any long roll has stretches that chance alone makes dense, and good
    film isn't cut out on chance. The rate over the whole roll carries the proof that the film is good.
    """
    subject = criterion.subject or SCAN
    coverage = evidence.coverage.get(subject)
    if coverage is None or seen_along(evidence.whole, coverage).total_m2 <= 0.0:
        return []
    places, per_m2 = _places(counted_marks(criterion, evidence, subject)), _of_one(criterion, evidence.whole)
    dense = dense_stretches(places, evidence.whole, coverage, per_m2)
    if dense:
        return [_dense(criterion, evidence, _stated(criterion, stretch), subject) for stretch in dense]
    worst = densest_window(places, evidence.whole, coverage, per_m2)
    return [_densest(criterion, evidence, None if worst is None else _stated(criterion, worst), subject)]


def judge_unseen_stretches(criterion: Criterion, evidence: Evidence, _cuts: Sequence[Extent]) -> list[Ruling]:
    """Hold the roll when its source saw nothing of it; how much must be seen is for a coverage criterion to say."""
    subject = criterion.subject or SCAN
    return [absent(criterion, evidence, evidence.whole, (subject,))] if nothing_seen(evidence, (subject,)) else []


def _dense(criterion: Criterion, evidence: Evidence, worst: Window, subject: str) -> Ruling:
    counted = f"{marks_words(criterion, worst.count)} within {number(criterion.window_m)} m"
    least = f"at least {number(worst.low, beside=criterion.limit)} {_surely(criterion, evidence.whole)}"
    why = (
        f"{counted}, {number(worst.rate)} {criterion.unit}, in {where(worst.extent, evidence.whole)}: "
        f"{least}, above the limit of {number(criterion.limit)} {criterion.unit}"
    )
    return rule(
        criterion,
        _found(criterion, worst, subject),
        Word(Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT, why),
        extent=worst.extent,
        source=subject,
    )


def _densest(criterion: Criterion, evidence: Evidence, worst: Window | None, subject: str) -> Ruling:
    limit = f"{number(criterion.limit)} {criterion.unit}"
    if worst is None:
        area = min(criterion.window_m, evidence.whole.length_m) * evidence.whole.width_mm / 1000.0
        high = rate_at_most(0, area, _of_one(criterion, evidence.whole).confidence) * unit_m2(criterion)
        found = Found(value=0.0, low=0.0, high=high, margin=criterion.limit)
        extent, reason = evidence.whole, Reason.NONE_FOUND
        why = f"{marks_words(criterion, 0)} in any stretch of {number(criterion.window_m)} m; the limit is {limit}"
    else:
        found, extent = _found(criterion, worst, subject), worst.extent
        told = (
            f"the densest stretch, {where(extent, evidence.whole)}, has {marks_words(criterion, worst.count)}, "
            f"{number(worst.rate)} {criterion.unit}"
        )
        reason = Reason.WITHIN_LIMIT if worst.rate <= criterion.limit else Reason.NOT_PROVEN
        why = f"{told}: within the limit of {limit}"
        if worst.high > criterion.limit:
            ends = f"{number(worst.low)} to {number(worst.high, beside=criterion.limit)}"
            sure = f"{ends} {_surely(criterion, evidence.whole)}, on each side"
            why = f"{told} ({sure}): not shown to be above the limit of {limit}"
    return rule(criterion, found, Word(Verdict.RELEASE, reason, why), extent=extent, source=subject)


def _found(criterion: Criterion, window: Window, source: str) -> Found:
    return Found(
        value=window.rate,
        low=window.low,
        high=window.high,
        margin=criterion.limit - window.rate,
        looks=(Looked(source=source, parts=((window.count, window.area_m2),)),),
    )


def _of_one(criterion: Criterion, whole: Extent) -> Criterion:
    """The same limit per m², held so surely in each stretch that it is held as surely as stated in all together.

    The risk is shared out over as many stretches as lie end to end on the roll (Bonferroni).
    """
    return replace(
        criterion,
        limit=criterion.limit / unit_m2(criterion),
        confidence=1.0 - criterion.risk / _stretches(criterion, whole),
    )


def _stretches(criterion: Criterion, whole: Extent) -> int:
    return max(1, math.ceil(whole.length_m / criterion.window_m - _ROUNDING))


def _surely(criterion: Criterion, whole: Extent) -> str:
    sure, of = f"at {percent(criterion.confidence)} confidence", _stretches(criterion, whole)
    return sure if of == 1 else f"{sure} for all {of} such stretches together"


def _stated(criterion: Criterion, window: Window) -> Window:
    """The window's rates in the criterion's unit."""
    unit = unit_m2(criterion)
    return replace(window, rate=window.rate * unit, low=window.low * unit, high=window.high * unit)


def _places(marks: pl.DataFrame) -> Places:
    return Places(along_m=marks["along_m"].to_numpy(), reach_m=marks["length_mm"].to_numpy() / 2000.0)
