"""What one criterion says, before the roll's verdict is drawn from all of them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.release.looks import Looked
from wideroll.release.model import Criterion, Evidence, Finding, Missing, Reason, Verdict
from wideroll.release.words import sentence, where
from wideroll.roll import Extent

__all__ = ["NOTHING", "Found", "Ruling", "Word", "absent", "missing_on", "rule"]

_FEW_WORDS: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A number with its interval."""

    value: float
    low: float
    high: float
    margin: float
    conformance: float = math.nan
    acceptance_limit: float = math.nan
    consumer_risk: float = math.nan
    producer_risk: float = math.nan
    looks: tuple[Looked, ...] = ()


@dataclass(frozen=True, slots=True)
class Word:
    """A verdict with its reason, in code and in words."""

    verdict: Verdict
    reason: Reason
    why: str
    brief: str = ""
    """The same without details, for the roll's one sentence; empty where ``why`` is brief."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """A finding, the parts of the roll its verdict falls on, and what is missing by it."""

    finding: Finding
    brief: str
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
    brief = word.brief or word.why
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
        conformance=found.conformance,
        acceptance_limit=found.acceptance_limit,
        consumer_risk=found.consumer_risk,
        producer_risk=found.producer_risk,
        looks=found.looks,
    )
    if word.verdict is Verdict.RELEASE:
        return Ruling(finding=finding, brief=brief)
    parts = (extent,) if regions is None else tuple(regions)
    return Ruling(finding=finding, brief=brief, regions=parts, missing=tuple(missing))


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

    ``short`` says how much there is where there is some ("1 of at least 2"); the first of ``subjects`` names the
    evidence, in words that may be singular, plural or a mass, so no sentence here bends with it.
    """
    named = missing_on(evidence, subjects, extent)
    subject = subjects[0] or "evidence"
    at = where(extent, evidence.whole)
    why = f"{short or 'none'} for {at}"
    if named:
        told = " ".join(f"{sentence(item.why)} {item.mend}" for item in named)
        void = any(item.void for item in named)
        reason = Reason.EVIDENCE_VOID if void else Reason.EVIDENCE_MISSING
        cause = _cause(named)
    else:
        told = f"Bring evidence ({subject}) for this part, or cut it out."
        reason, cause = Reason.EVIDENCE_MISSING, ""
        named = (Missing(subject=subject, extent=extent, void=False, why=f"usable {subject}: {why}", mend=told),)
    spoken = subject in criterion.name.casefold()
    few = why if spoken else f"{short or 'no'} usable {subject} for {at}"
    return rule(
        criterion,
        found,
        Word(
            Verdict.HOLD,
            reason,
            f"usable {subject}: {why}. {told}",
            brief=f"{few}{cause}",
        ),
        extent=extent,
        source=subject,
        missing=named,
    )


def _cause(named: Sequence[Missing]) -> str:
    """Why it is missing, in a few words; void evidence first."""
    first = max(named, key=lambda item: item.void)
    if first.cause or len(first.why.split()) <= _FEW_WORDS:
        return f" ({first.cause or first.why})"
    return " (evidence is void)" if first.void else ""


def missing_on(evidence: Evidence, subjects: Sequence[str], extent: Extent) -> tuple[Missing, ...]:
    """What the evidence itself says is missing there."""
    return tuple(item for item in evidence.missing if item.subject in subjects and item.extent.meet(extent))
