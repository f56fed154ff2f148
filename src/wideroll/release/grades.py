"""Grades of what was sighted against the worst grade that is allowed."""

import math

from wideroll.release.flaws import guarded, no_limit, none_of
from wideroll.release.model import GRADED, Criterion, Evidence, Flaw, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, rule
from wideroll.release.words import where

__all__ = ["judge_grades"]


def judge_grades(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Each grade that isn't surely within the worst one allowed, or the worst there is.

    A grade's interval is one grade where only the examiner gave it, and holds the grades that what was measured is
    probable to get where that is known. One that was neither given nor measured may be any.
    """
    kinds = {f"{GRADED} {kind}" for kind in criterion.kinds}
    graded = [flaw for flaw in evidence.flaws if flaw.kind in kinds and guarded(criterion, evidence, flaw)]
    bad = [flaw for flaw in graded if not flaw.high <= criterion.limit]
    if not bad and graded:
        bad = [max(graded, key=lambda flaw: (flaw.high, flaw.value))]
    return [_ruling(criterion, evidence, flaw) for flaw in bad] or none_of(criterion, evidence, no_limit)


def _ruling(criterion: Criterion, evidence: Evidence, flaw: Flaw) -> Ruling:
    kind, limit = (
        flaw.kind.removeprefix(f"{GRADED} "),
        f"{_name(criterion, criterion.limit)}, the worst that is allowed",
    )
    told = f"{kind} at {where(flaw.extent, evidence.whole)} of {_grade(criterion, flaw)}"
    if flaw.high <= criterion.limit:
        verdict, reason, why = (
            Verdict.RELEASE,
            Reason.WITHIN_LIMIT,
            f"{told}, the worst there is: no worse than {limit}",
        )
    elif flaw.low > criterion.limit:
        verdict, reason = Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT
        why = f"{told}: worse than {limit}"
    else:
        verdict = Verdict.HOLD
        reason = Reason.CONTRADICTED if flaw.contradiction else Reason.NOT_PROVEN
        why = f"{told}, which doesn't settle {limit}"
        why = f"{why}: {flaw.contradiction}" if flaw.contradiction else why
    return rule(
        criterion,
        Found(value=flaw.value, low=flaw.low, high=flaw.high, margin=criterion.limit - flaw.value),
        Word(verdict, reason, f"{why}; {flaw.note}" if flaw.note else why, brief=why),
        extent=guarded(criterion, evidence, flaw) or evidence.whole,
        source=flaw.source,
    )


def _grade(criterion: Criterion, flaw: Flaw) -> str:
    ends = _name(criterion, flaw.low), _name(criterion, flaw.high)
    if math.isnan(flaw.value):
        return f"no grade ({ends[0]} to {ends[1]})"
    told = f"grade {_name(criterion, flaw.value)}"
    return told if ends[0] == ends[1] else f"{told} ({ends[0]} to {ends[1]})"


def _name(criterion: Criterion, place: float) -> str:
    return criterion.grades[round(place) - 1]
