"""The roll's verdict in one word and one sentence, from what each criterion says."""

from collections.abc import Sequence
from typing import Final

from wideroll.release.counting import SCAN
from wideroll.release.ground import area_seen_m2, area_within_m2, unseen_parts
from wideroll.release.looked_at import NEEDED_CRITERION
from wideroll.release.model import Criterion, Decision, Evidence, Measurand, Reason, Region, RegionVerdict, Verdict
from wideroll.release.ruling import Ruling
from wideroll.release.words import plural, sentence, share
from wideroll.roll import Extent

__all__ = ["covers", "left_aside", "named", "released_share", "standing", "sum_up"]

_GRAVEST_FIRST: Final = (
    Reason.FORBIDDEN_FOUND,
    Reason.ABOVE_LIMIT,
    Reason.CONTRADICTED,
    Reason.EVIDENCE_VOID,
    Reason.EVIDENCE_MISSING,
    Reason.NOT_LOOKED_AT,
    Reason.NOT_JUDGED,
    Reason.EXTRAPOLATED,
    Reason.NOT_PROVEN,
)
_ROUNDING: Final = 1e-9
"""Shares of an area smaller than this come from rounding."""
_REASONS_NAMED: Final = 2
_LEAST: Final = (Measurand.COVERAGE, Measurand.EVIDENCE_COUNT)


def covers(whole: Extent, parts: Sequence[Extent]) -> bool:
    """Whether the parts together cover the whole, rounding aside."""
    return area_within_m2(whole, parts) >= whole.area_m2 * (1.0 - _ROUNDING)


def left_aside(criterion: Criterion, decision: Decision, whole: Extent, *, sample: str = "") -> tuple[Extent, ...]:
    """What other criteria had cut out before the criterion's marks were counted; nothing where that was everything.

    For a ``sample``, such as sheets, without what only it showed: that stays in its count.
    """
    by_region = criterion.region is not Region.ROLL
    later = {
        other.name
        for other in decision.criteria
        if other.measurand is Measurand.MARK_RATE and (by_region or other.region is Region.ROLL)
    }
    cuts = tuple(
        region.extent
        for region in decision.regions
        if region.verdict is not Verdict.HOLD
        and any(decision.findings[number].criterion not in later for number in region.findings)
    )
    if covers(whole, cuts):
        return ()
    rates = {other.name for other in decision.criteria if other.measurand is Measurand.MARK_RATE}
    own = {
        region.extent
        for region in decision.regions
        if sample
        and any(
            decision.findings[number].source == sample and decision.findings[number].criterion not in rates
            for number in region.findings
        )
    }
    return tuple(cut for cut in cuts if cut not in own)


def standing(regions: Sequence[RegionVerdict]) -> tuple[RegionVerdict, ...]:
    """The regions without those that are held inside what is cut out: there is nothing left of them to hold.

    Of what may be sold as second quality there is.
    """
    out = _gone(regions)
    return tuple(r for r in regions if r.verdict is not Verdict.HOLD or not covers(r.extent, out))


def released_share(evidence: Evidence, regions: Sequence[RegionVerdict]) -> float:
    """Share of the area that the scan looked at (any source, where there is no scan) and that no region names."""
    scan = evidence.coverage.get(SCAN)
    looked = list(evidence.coverage.values()) if scan is None else [scan]
    area = area_seen_m2(evidence.whole, looked, [region.extent for region in regions])
    released = min(area / evidence.whole.area_m2, 1.0)
    return 1.0 if released > 1.0 - _ROUNDING else released


def named(criterion: str, words: str) -> str:
    """The words with their criterion in front, unless they begin with it or it is ours; no name stands there twice."""
    lead, colon, rest = words.partition(": ")
    if colon and criterion.casefold().startswith(lead.casefold()):
        return f"{criterion}: {rest}"
    if criterion == NEEDED_CRITERION.name or words.casefold().startswith(criterion.casefold().removesuffix("s")):
        return words
    return f"{criterion}: {words[0].lower() if words[1:2].islower() else words[0]}{words[1:]}"


def sum_up(
    evidence: Evidence, rulings: Sequence[Ruling], regions: Sequence[RegionVerdict], criteria: Sequence[Criterion]
) -> tuple[Verdict, str]:
    """The verdict with the one sentence that says what decides it."""
    whole = evidence.whole
    out = [region.extent for region in regions if region.verdict is not Verdict.HOLD]
    held = [n for region in regions if region.verdict is Verdict.HOLD for n in region.findings]
    if covers(whole, _gone(regions)):
        return Verdict.REJECT, f"Nothing is left to release. {_largest_cut(rulings)}"
    if held:
        return Verdict.HOLD, _hold(whole, [rulings[n] for n in sorted(set(held))], out)
    if out:
        gone = share(area_within_m2(whole, out) / whole.area_m2)
        left = "nothing is left of first quality" if covers(whole, out) else "the rest meets all criteria"
        rest = _released(evidence, regions) or left
        told = f"{gone} of the area, in {plural(len(out), 'part')}, is cut out{_second(whole, regions)}"
        return Verdict.CUT_OUT, f"{sentence(f'{told}; {rest}')} {_largest_cut(rulings)}"
    first = sentence("; ".join(part for part in (_met(criteria), _released(evidence, regions)) if part))
    return Verdict.RELEASE, f"{first} {_least_margin(rulings, criteria)}"


def _met(criteria: Sequence[Criterion]) -> str:
    """That all criteria are met, but for those that are judged later."""
    later = sum(criterion.measurand is Measurand.MARK_COUNT for criterion in criteria)
    now = len(criteria) - later
    met = f"All {now} criteria are met" if now > 1 else "The criterion is met" if now else "Nothing speaks against it"
    return f"{met}, and {later} {'is' if later == 1 else 'are'} judged when the roll is cut" if later else met


def _gone(regions: Sequence[RegionVerdict]) -> list[Extent]:
    """What may not be sold at all."""
    return [r.extent for r in regions if r.verdict is not Verdict.HOLD and not r.second_quality]


def _second(whole: Extent, regions: Sequence[RegionVerdict]) -> str:
    """How much of what is cut out may be sold as second quality; empty where nothing may."""
    if not any(region.second_quality for region in regions):
        return ""
    out = [region.extent for region in regions if region.verdict is not Verdict.HOLD]
    second_m2 = area_within_m2(whole, out) - area_within_m2(whole, _gone(regions))
    return f" ({share(second_m2 / whole.area_m2)} may be sold as second quality)" if second_m2 > 0.0 else ""


def _hold(whole: Extent, holding: Sequence[Ruling], out: Sequence[Extent]) -> str:
    first = min(holding, key=lambda ruling: _GRAVEST_FIRST.index(ruling.finding.reason))
    parts = [named(first.finding.criterion, first.brief)]
    more = len(holding) - 1
    if more:
        parts.append(f"{plural(more, 'more finding')} {'holds' if more == 1 else 'hold'} it")
    if out:
        parts.append(f"{share(area_within_m2(whole, out) / whole.area_m2)} of the area is cut out in any case")
    return sentence("; ".join(parts))


def _largest_cut(rulings: Sequence[Ruling]) -> str:
    """What is said of the largest part that is cut out or rejected."""
    cut = [ruling for ruling in rulings if ruling.finding.verdict in {Verdict.REJECT, Verdict.CUT_OUT}]
    largest = max(cut, key=lambda ruling: ruling.finding.extent.area_m2)
    return sentence(named(largest.finding.criterion, largest.brief))


def _released(evidence: Evidence, regions: Sequence[RegionVerdict]) -> str:
    """How much is released, where that isn't all that is left; empty where it is."""
    whole, cuts = evidence.whole, [region.extent for region in regions]
    left = 1.0 - area_within_m2(whole, cuts) / whole.area_m2
    released = released_share(evidence, regions)
    if released >= left - _ROUNDING:
        return ""
    scan = evidence.coverage.get(SCAN)
    parts = () if scan is None else unseen_parts(whole, scan, cuts)
    reasons = list(dict.fromkeys(part.why for part in parts))
    told = f" ({', '.join(reasons)})" if 0 < len(reasons) <= _REASONS_NAMED else ""
    return f"{share(released)} of the area is released; the rest was not looked at{told}"


def _least_margin(rulings: Sequence[Ruling], criteria: Sequence[Criterion]) -> str:
    """The finding nearest to its limit, among those whose limit is proven to be kept.

    A dense stretch is passed because it isn't shown to be above its limit, which is no margin; a least has no scale.
    """
    by_name = {criterion.name: criterion.measurand for criterion in criteria}
    limited = [
        ruling
        for ruling in rulings
        if ruling.finding.limit > 0.0
        and ruling.finding.reason is Reason.WITHIN_LIMIT
        and by_name[ruling.finding.criterion] not in _LEAST
        and not (
            by_name[ruling.finding.criterion] is Measurand.LOCAL_MARK_RATE
            and ruling.finding.high > ruling.finding.limit
        )
    ]
    if not limited:
        return sentence(named(rulings[0].finding.criterion, rulings[0].brief))
    closest = min(limited, key=lambda ruling: ruling.finding.margin / ruling.finding.limit)
    return sentence(f"The least margin: {named(closest.finding.criterion, closest.brief)}")
