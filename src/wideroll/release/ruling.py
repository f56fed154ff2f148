"""What one criterion says, before the roll's verdict is drawn from all of them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wideroll.release.model import Criterion, Evidence, Finding, Missing, Reason, Verdict
from wideroll.release.words import sentence, where
from wideroll.roll import Extent

__all__ = ["NOTHING", "Found", "Ruling", "Word", "absent", "missing_on", "rule"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A number with its interval."""

    value: float
    low: float
    high: float
    margin: float


@dataclass(frozen=True, slots=True)
class Word:
    """A verdict with its reason, in code and in words."""

    verdict: Verdict
    reason: Reason
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """A finding, the parts of the roll its verdict falls on, and what is missing by it."""

    finding: Finding
    regions: tuple[Extent, ...] = ()
    missing: tuple[Missing, ...] = ()


NOTHING = Found(value=math.nan, low=math.nan, high=math.nan, margin=math.nan)
"""Where nothing was measured."""


def rule(
    criterion: Criterion,
    found: Found,
    word: Word,
    *,
    extent: Extent,
    source: str,
    regions: Sequence[Extent] | None = None,
    missing: Sequence[Missing] = (),
) -> Ruling:
    """A ruling on an extent; the verdict falls on the same extent unless other regions are given."""
    finding = Finding(
        criterion=criterion.name,
        extent=extent,
        limit=criterion.limit,
        found=found.value,
        low=found.low,
        high=found.high,
        margin=found.margin,
        unit=criterion.unit,
        verdict=word.verdict,
        reason=word.reason,
        why=sentence(word.why),
        source=source,
    )
    if word.verdict is Verdict.RELEASE:
        return Ruling(finding=finding)
    return Ruling(finding=finding, regions=(extent,) if regions is None else tuple(regions), missing=tuple(missing))


def absent(
    criterion: Criterion,
    evidence: Evidence,
    extent: Extent,
    subjects: Sequence[str],
    *,
    found: Found = NOTHING,
    short: str = "",
) -> Ruling:
    """Hold a part that no usable evidence speaks for, with what the evidence says about why and how to mend it.

    ``short`` says how much there is where there is some; the first of ``subjects`` names the evidence.
    """
    named = missing_on(evidence, subjects, extent)
    subject = subjects[0] or "evidence"
    at = where(extent, evidence.whole)
    why = f"{short or f'there is no usable {subject}'} for {at}"
    if named:
        told = " ".join(f"{sentence(item.why)} {item.mend}" for item in named)
        reason = Reason.EVIDENCE_VOID if any(item.void for item in named) else Reason.EVIDENCE_MISSING
    else:
        told = f"Bring {subject} for this part, or cut it out."
        reason = Reason.EVIDENCE_MISSING
        named = (Missing(subject=subject, extent=extent, void=False, why=why, mend=told),)
    return rule(
        criterion,
        found,
        Word(Verdict.HOLD, reason, f"{why}. {told}"),
        extent=extent,
        source=subject,
        missing=named,
    )


def missing_on(evidence: Evidence, subjects: Sequence[str], extent: Extent) -> tuple[Missing, ...]:
    """What the evidence itself says is missing there."""
    return tuple(item for item in evidence.missing if item.subject in subjects and item.extent.meet(extent))
