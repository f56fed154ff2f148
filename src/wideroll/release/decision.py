"""From evidence and criteria to the verdict on a roll."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.release.criteria import check_criterion
from wideroll.release.flaws import judge_flaws, judge_forbidden, judge_unseen_flaws
from wideroll.release.grades import judge_grades
from wideroll.release.limits import poisson_rate
from wideroll.release.looked_at import judge_count, judge_coverage, judge_needed
from wideroll.release.looks import RateOf
from wideroll.release.mark_counts import judge_mark_count
from wideroll.release.mark_rates import judge_rates
from wideroll.release.model import (
    Criterion,
    Decision,
    Evidence,
    Finding,
    Measurand,
    Missing,
    Region,
    RegionVerdict,
    Verdict,
)
from wideroll.release.readings import judge_missing_readings, judge_readings
from wideroll.release.ruling import Ruling
from wideroll.release.stretch_rates import judge_stretches, judge_unseen_stretches
from wideroll.release.summary import covers, named, released_share, standing, sum_up
from wideroll.release.unnamed import judge_unnamed
from wideroll.release.words import sentence
from wideroll.roll import Extent

__all__ = ["decide"]

_PLACED: Final = {
    Measurand.LOCAL_MARK_RATE: judge_stretches,
    Measurand.FLAW: judge_flaws,
    Measurand.GRADE: judge_grades,
    Measurand.READING: judge_readings,
    Measurand.FORBIDDEN: judge_forbidden,
}
"""Criteria that find parts of the roll; what they cut out is left aside by the others."""

_REST: Final = {
    Measurand.LOCAL_MARK_RATE: judge_unseen_stretches,
    Measurand.FLAW: judge_unseen_flaws,
    Measurand.GRADE: judge_unseen_flaws,
    Measurand.READING: judge_missing_readings,
    Measurand.COVERAGE: judge_coverage,
    Measurand.FORBIDDEN: judge_unseen_flaws,
    Measurand.EVIDENCE_COUNT: judge_count,
    Measurand.MARK_COUNT: judge_mark_count,
}
"""What each kind of criterion asks of all that isn't cut out."""

_WORST_FIRST: Final = (Verdict.REJECT, Verdict.CUT_OUT, Verdict.HOLD)


def decide(evidence: Evidence, criteria: Sequence[Criterion], *, rate_of: RateOf = poisson_rate) -> Decision:
    """Hold all evidence against the criteria.

    First the criteria that find parts: stretches with too many marks, flaws, grades, readings, forbidden kinds. Then
    rates of marks in lanes and batches, then the others judge what isn't cut out. A number passes only when its whole
    interval does; one whose interval holds the limit is *not proven* and holds. A reading passes when it lies within
    its limit with probability 1 − risk at least (guard-banded, JCGM 106:2012). A stretch is the exception: it is cut
    out only when it is above the limit beyond chance. Limits of rates are one-sided at the criterion's confidence,
    Garwood's where marks fall independently, so that a roll whose true rate is above the limit is released by that
    criterion with probability 1 − confidence at most.

    The roll is rejected when everything on it is cut out or rejected; else on hold when any part that isn't cut out
    is; else cut out when parts are; else released. Evidence that is absent, void or extrapolated holds. So does every
    mark or flaw of a kind that no criterion names. What is cut out but may be sold as second quality stays in question:
    it doesn't count in rates, but what would hold it holds it.

    Args:
        evidence: all that is known; places inside ``evidence.whole`` count, others are not on the roll.
        criteria: the product's, at least one, each with a name of its own.
        rate_of: what looks say about a rate; the default takes marks to fall independently and the probability of
            detection to be known.

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
        ...     measurand=Measurand.MARK_RATE,
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
    cuts = _cuts(evidence, placed.values())
    seen_so = _found_on_samples(evidence, placed.values())
    by_region = [c for c in criteria if c.measurand is Measurand.MARK_RATE and c.region is not Region.ROLL]
    placed |= {c.name: judge_rates(c, evidence, cuts, seen_so, rate_of=rate_of) for c in by_region}
    cuts = _cuts(evidence, placed.values())
    gone = _cuts(evidence, placed.values(), but=_second(criteria))
    over_all = [c for c in criteria if c.measurand is Measurand.MARK_RATE and c.region is Region.ROLL]
    placed |= {c.name: judge_rates(c, evidence, cuts, seen_so, rate_of=rate_of) for c in over_all}
    rest = {c.name: _REST[c.measurand](c, evidence, gone) for c in criteria if c.measurand in _REST}
    rulings = [ruling for c in criteria for ruling in (*placed.get(c.name, ()), *rest.get(c.name, ()))]
    rulings += judge_needed(criteria, evidence, gone)
    rulings += judge_unnamed(criteria, evidence, gone)
    regions = standing(_regions(rulings, _second(criteria)))
    verdict, why = sum_up(evidence, rulings, regions, criteria)
    return Decision(
        verdict=verdict,
        why=why,
        findings=tuple(ruling.finding for ruling in rulings),
        regions=regions,
        missing=_missing(evidence, rulings),
        coverage=dict(evidence.coverage),
        released_share=released_share(evidence, regions),
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


def _second(criteria: Sequence[Criterion]) -> frozenset[str]:
    """Names of the criteria that let what they cut out be sold as second quality."""
    return frozenset(criterion.name for criterion in criteria if criterion.second_quality)


def _cuts(evidence: Evidence, placed: Iterable[Sequence[Ruling]], *, but: Collection[str] = ()) -> list[Extent]:
    """The parts cut out so far, ``but`` by some criteria.

    None where nothing is left, so that the others are held against the roll as it is.
    """
    cuts = [part for rulings in placed for part in _cut_out([r for r in rulings if r.finding.criterion not in but])]
    return [] if covers(evidence.whole, cuts) else cuts


def _found_on_samples(evidence: Evidence, placed: Iterable[Sequence[Ruling]]) -> frozenset[Extent]:
    """Parts cut out for what only a sample showed.

    What stands for the rest of the roll must keep the marks that were found on it: there are more like them elsewhere.
    """
    found = (ruling for rulings in placed for ruling in rulings if ruling.finding.source in evidence.sampled)
    return frozenset(part for ruling in found for part in _cut_out([ruling]))


def _cut_out(rulings: Sequence[Ruling]) -> list[Extent]:
    out = (Verdict.CUT_OUT, Verdict.REJECT)
    return [extent for ruling in rulings if ruling.finding.verdict in out for extent in ruling.regions]


def _regions(rulings: Sequence[Ruling], second: Collection[str]) -> tuple[RegionVerdict, ...]:
    """Each part once for each verdict on it, with all findings that say so."""
    numbers: dict[tuple[Extent, Verdict], list[int]] = {}
    for number_, ruling in enumerate(rulings):
        for extent in ruling.regions:
            numbers.setdefault((extent, ruling.finding.verdict), []).append(number_)
    regions = [
        _region(extent, verdict, {n: rulings[n].finding for n in said}, second)
        for (extent, verdict), said in numbers.items()
    ]
    return tuple(sorted(regions, key=lambda region: (region.extent, _WORST_FIRST.index(region.verdict))))


def _region(extent: Extent, verdict: Verdict, said: Mapping[int, Finding], second: Collection[str]) -> RegionVerdict:
    may = verdict is Verdict.CUT_OUT and all(finding.criterion in second for finding in said.values())
    told = [sentence(named(finding.criterion, finding.why)) for finding in said.values()]
    return RegionVerdict(
        extent=extent,
        verdict=verdict,
        findings=tuple(said),
        why=" ".join([*told, *(["It may be sold as second quality."] if may else [])]),
        second_quality=may,
    )


def _missing(evidence: Evidence, rulings: Sequence[Ruling]) -> tuple[Missing, ...]:
    named = [*evidence.missing, *(item for ruling in rulings for item in ruling.missing)]
    return tuple(dict.fromkeys(named))
