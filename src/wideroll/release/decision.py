"""From evidence and criteria to the verdict on a roll."""

from collections.abc import Sequence
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.release.criteria import check_criterion
from wideroll.release.flaws import judge_flaws, judge_forbidden, judge_unseen_flaws
from wideroll.release.ground import area_within_m2
from wideroll.release.looked_at import judge_count, judge_coverage, judge_needed
from wideroll.release.mark_rates import judge_rate, judge_stretches, judge_unseen_stretches
from wideroll.release.model import (
    Criterion,
    Decision,
    Evidence,
    Finding,
    Measurand,
    Missing,
    Reason,
    RegionVerdict,
    Verdict,
)
from wideroll.release.readings import judge_missing_readings, judge_readings
from wideroll.release.ruling import Ruling
from wideroll.release.words import percent, plural
from wideroll.roll import Extent

__all__ = ["decide"]

_PLACED: Final = {
    Measurand.MARKS_PER_M2_LOCAL: judge_stretches,
    Measurand.FLAW: judge_flaws,
    Measurand.READING: judge_readings,
    Measurand.FORBIDDEN: judge_forbidden,
}
"""Criteria that find parts of the roll; what they cut out is left aside by the others."""

_REST: Final = {
    Measurand.MARKS_PER_M2: judge_rate,
    Measurand.MARKS_PER_M2_LOCAL: judge_unseen_stretches,
    Measurand.FLAW: judge_unseen_flaws,
    Measurand.READING: judge_missing_readings,
    Measurand.COVERAGE: judge_coverage,
    Measurand.FORBIDDEN: judge_unseen_flaws,
    Measurand.EVIDENCE_COUNT: judge_count,
}
"""What each kind of criterion asks of all that isn't cut out."""

_GRAVEST_FIRST: Final = (
    Reason.FORBIDDEN_FOUND,
    Reason.ABOVE_LIMIT,
    Reason.EVIDENCE_VOID,
    Reason.EVIDENCE_MISSING,
    Reason.NOT_LOOKED_AT,
    Reason.EXTRAPOLATED,
    Reason.NOT_PROVEN,
)
_WORST_FIRST: Final = (Verdict.REJECT, Verdict.CUT_OUT, Verdict.HOLD)
_ROUNDING: Final = 1e-9
"""Shares of an area smaller than this come from rounding."""


def decide(evidence: Evidence, criteria: Sequence[Criterion]) -> Decision:
    """Hold all evidence against the criteria.

    First the criteria that find parts: stretches with too many marks, flaws, readings, forbidden kinds. Then the others
    judge what isn't cut out. A number passes only when its whole interval does (guard-banded, JCGM 106:2012); one whose
    interval holds the limit is *not proven* and holds. A stretch is the exception: it is cut out only when it is above
    the limit beyond chance. Limits of rates are Garwood's, each one-sided at the criterion's confidence, so that a roll
    whose true rate is above the limit is released by that criterion with probability 1 − confidence at most.

    The roll is rejected when everything on it is cut out or rejected; else on hold when any part that isn't cut out
    is; else cut out when parts are; else released. Evidence that is absent, void or extrapolated holds.

    Args:
        evidence: all that is known; places inside ``evidence.whole`` count, others are not on the roll.
        criteria: the product's, at least one, each with a name of its own.

    Returns:
        The verdict with one finding or more for each criterion, the parts that aren't released, and what is missing.

    Raises:
        ArgumentError: when a criterion can't be judged, there is none or two have one name, the roll has no area, or a
            limit's unit isn't that of the number it is held against.

    Example:
        >>> from wideroll.release.model import Consequence
        >>> from wideroll.roll import Coverage, empty_marks
        >>> web = Extent(along_from_m=0, along_to_m=40, across_from_mm=0, across_to_mm=1380)
        >>> spots = Criterion(
        ...     name="spots",
        ...     measurand=Measurand.MARKS_PER_M2,
        ...     limit=0.5,
        ...     unit="per m²",
        ...     consequence=Consequence.REJECT,
        ... )
        >>> looked = Evidence(whole=web, marks=empty_marks(), coverage={"scan": Coverage(seen=(web,))}, counts={})
        >>> decision = decide(looked, [spots])
        >>> str(decision.verdict), decision.findings[0].why
        ('release', 'No marks in 55.2 m², 0 per m²: at most 0.0543 at 95 % confidence, within the limit of 0.5 per m².')
    """
    _check(evidence, criteria)
    placed = {c.name: _PLACED[c.measurand](c, evidence) for c in criteria if c.measurand in _PLACED}
    cuts = [r for rulings in placed.values() for r in _cut_out(rulings)]
    if _covers(evidence.whole, cuts):
        cuts = []  # nothing is left, so the others are held against the roll as it is
    rulings = [ruling for c in criteria for ruling in (*placed.get(c.name, []), *_REST[c.measurand](c, evidence, cuts))]
    rulings += judge_needed(criteria, evidence, cuts)
    findings = tuple(ruling.finding for ruling in rulings)
    regions = _regions(rulings)
    verdict, why = _verdict(evidence.whole, findings, regions, criteria)
    gone = area_within_m2(evidence.whole, [region.extent for region in regions])
    return Decision(
        verdict=verdict,
        why=why,
        findings=findings,
        regions=regions,
        missing=_missing(evidence, rulings),
        coverage=dict(evidence.coverage),
        released_share=max(0.0, 1.0 - gone / evidence.whole.area_m2),
        criteria=tuple(criteria),
    )


def _check(evidence: Evidence, criteria: Sequence[Criterion]) -> None:
    if not criteria:
        raise ArgumentError(
            where="criteria", rule="there must be at least one", value=criteria, mend="Give the product's criteria."
        )
    for criterion in criteria:
        check_criterion(criterion)
    names = [criterion.name for criterion in criteria]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ArgumentError(
            where="criteria", rule="each has a name of its own", value=twice, mend="Rename one of them."
        )
    if not evidence.whole.area_m2 > 0.0:
        raise ArgumentError(
            where="evidence.whole", rule="the roll must have an area", value=evidence.whole, mend="Give its borders."
        )


def _cut_out(rulings: Sequence[Ruling]) -> list[Extent]:
    out = (Verdict.CUT_OUT, Verdict.REJECT)
    return [extent for ruling in rulings if ruling.finding.verdict in out for extent in ruling.regions]


def _covers(whole: Extent, parts: Sequence[Extent]) -> bool:
    return area_within_m2(whole, parts) >= whole.area_m2 * (1.0 - _ROUNDING)


def _regions(rulings: Sequence[Ruling]) -> tuple[RegionVerdict, ...]:
    """Each part once for each verdict on it, with all findings that say so."""
    numbers: dict[tuple[Extent, Verdict], list[int]] = {}
    for number_, ruling in enumerate(rulings):
        for extent in ruling.regions:
            numbers.setdefault((extent, ruling.finding.verdict), []).append(number_)
    regions = [
        RegionVerdict(
            extent=extent,
            verdict=verdict,
            findings=tuple(said),
            why=" ".join(_named(rulings[n].finding) for n in said),
        )
        for (extent, verdict), said in numbers.items()
    ]
    return tuple(sorted(regions, key=lambda region: (region.extent, _WORST_FIRST.index(region.verdict))))


def _missing(evidence: Evidence, rulings: Sequence[Ruling]) -> tuple[Missing, ...]:
    named = [*evidence.missing, *(item for ruling in rulings for item in ruling.missing)]
    return tuple(dict.fromkeys(named))


def _verdict(
    whole: Extent, findings: Sequence[Finding], regions: Sequence[RegionVerdict], criteria: Sequence[Criterion]
) -> tuple[Verdict, str]:
    out = [region.extent for region in regions if region.verdict is not Verdict.HOLD]
    held = [region.extent for region in regions if region.verdict is Verdict.HOLD]
    if _covers(whole, out):
        return Verdict.REJECT, f"Nothing is left to release. {_largest(findings, (Verdict.REJECT, Verdict.CUT_OUT))}"
    if any(area_within_m2(extent, out) < extent.area_m2 * (1.0 - _ROUNDING) for extent in held):
        grave = [f for f in findings if f.verdict is Verdict.HOLD]
        first = min(grave, key=lambda f: _GRAVEST_FIRST.index(f.reason))
        more = f" (And {plural(len(grave) - 1, 'more finding')} to hold it.)" if len(grave) > 1 else ""
        lost = (
            f" {percent(area_within_m2(whole, out) / whole.area_m2)} of the area is cut out in any case." if out else ""
        )
        return Verdict.HOLD, f"{_named(first)}{more}{lost}"
    if out:
        share = percent(area_within_m2(whole, out) / whole.area_m2)
        parts = f"{share} of the area, in {plural(len(out), 'part')}, is cut out; the rest meets all criteria."
        return Verdict.CUT_OUT, f"{parts} {_largest(findings, (Verdict.REJECT, Verdict.CUT_OUT))}"
    met = f"All {len(criteria)} criteria are met" if len(criteria) > 1 else "The criterion is met"
    least = {c.name for c in criteria if c.measurand in {Measurand.COVERAGE, Measurand.EVIDENCE_COUNT}}
    limited = [f for f in findings if f.limit > 0.0 and f.reason is Reason.WITHIN_LIMIT and f.criterion not in least]
    if not limited:
        return Verdict.RELEASE, f"{met}. {_named(findings[0])}"
    closest = min(limited, key=lambda f: f.margin / f.limit)
    return Verdict.RELEASE, f"{met}; the least margin: {_named(closest)}"


def _largest(findings: Sequence[Finding], verdicts: Sequence[Verdict]) -> str:
    """The finding on the largest part."""
    chosen = max((f for f in findings if f.verdict in verdicts), key=lambda f: f.extent.area_m2)
    return _named(chosen)


def _named(finding: Finding) -> str:
    """The finding in words, with its criterion in front unless the words begin with it."""
    begins = finding.why.casefold().startswith(finding.criterion.casefold())
    return finding.why if begins else f"{finding.criterion}: {finding.why}"
