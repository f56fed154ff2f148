"""Rates of marks against their limits, over the roll or region by region."""

import math
from collections.abc import Collection, Sequence
from typing import Final

from wideroll.release.counting import SCAN, Counting, counted_marks, marks_words, sources_of
from wideroll.release.ground import outside
from wideroll.release.limits import acceptable_count, area_for
from wideroll.release.looked_at import nothing_seen
from wideroll.release.looks import KnownRate, Looked, RateOf
from wideroll.release.model import Criterion, Evidence, Missing, Reason, Region, Verdict
from wideroll.release.rate_units import unit_m2
from wideroll.release.ruling import NOTHING, Found, Ruling, Word, absent, rule
from wideroll.release.words import chance, number, percent
from wideroll.roll import Extent, lanes_of

__all__ = ["DETECTION", "judge_rates", "regions_of"]

DETECTION: Final = "probability of detection"
_AGREE: Final = 0.01
"""Sources that differ as much as this probability of chance contradict one another."""


def regions_of(criterion: Criterion, evidence: Evidence) -> tuple[Extent, ...]:
    """The parts of the roll that a rate is judged for, each by itself; lanes lie side by side in the web's middle."""
    whole = evidence.whole
    by_batch = criterion.region in {Region.BATCH, Region.LANE_AND_BATCH}
    parts = [part for batch in evidence.batches if (part := batch.extent.meet(whole))] if by_batch else [whole]
    if criterion.region not in {Region.LANE, Region.LANE_AND_BATCH}:
        return tuple(parts)
    lanes = lanes_of(whole, criterion.lane_mm)
    return tuple(lane.over(part.along_from_m, part.along_to_m) for part in parts for lane in lanes)


def judge_rates(
    criterion: Criterion,
    evidence: Evidence,
    cuts: Sequence[Extent],
    on_samples: Collection[Extent] = (),
    *,
    rate_of: RateOf,
) -> list[Ruling]:
    """The rate in each region that isn't wholly cut out; it passes when even its upper limit does.

    ``on_samples`` are those of the cuts that only a sample showed: they don't take its marks out of the count.
    """
    if nothing_seen(evidence, sources_of(criterion)):
        return [absent(criterion, evidence, evidence.whole, sources_of(criterion))]
    regions = regions_of(criterion, evidence)
    if not regions:
        return [_no_region(criterion, evidence)]
    left = [region for region in regions if not cuts or outside(region, cuts)]
    counting = Counting(
        criterion=criterion,
        evidence=evidence,
        marks={source: counted_marks(criterion, evidence, source) for source in sources_of(criterion)},
        cuts=tuple(cuts),
        on_samples=frozenset(on_samples),
    )
    return [_judge(criterion, evidence, region, counting.looks_in(region), rate_of) for region in left]


def _no_region(criterion: Criterion, evidence: Evidence) -> Ruling:
    """Hold: a criterion that nothing can be held against isn't met."""
    lanes = criterion.region in {Region.LANE, Region.LANE_AND_BATCH}
    what = f"a lane of {number(criterion.lane_mm)} mm is wider than the web" if lanes else "the roll names no batch"
    word = Word(Verdict.HOLD, Reason.NOT_JUDGED, f"{what}, so that there is no region to judge. Correct the criterion")
    return rule(criterion, NOTHING, word, extent=evidence.whole, source=criterion.subject or SCAN)


def _judge(
    criterion: Criterion, evidence: Evidence, region: Extent, looks: tuple[Looked, ...], rate_of: RateOf
) -> Ruling:
    silent = [source for source in sources_of(criterion) if source not in {look.source for look in looks}]
    if not looks or (silent and criterion.region is Region.ROLL):
        return absent(criterion, evidence, region, silent)
    unknown = [look for look in looks if not look.detected.value > 0.0]
    if unknown:
        return _undetected(criterion, region, unknown[0])
    known, unit = rate_of(looks), unit_m2(criterion)
    limit = criterion.limit / unit
    within, beyond = known.within(limit), known.beyond(limit)
    apart = [rate_of((look,)) for look in looks] if known.p_agree <= _AGREE else []
    if apart:  # each must say so by itself
        within = min(one.within(limit) for one in apart)
        beyond = min(one.beyond(limit) for one in apart)
    found = _found(criterion, known, looks, (within, apart))
    word = _word(criterion, found, (known, beyond, region.area_m2), contradicted=bool(apart))
    return rule(criterion, found, word, extent=region, source=" and ".join(look.source for look in looks))


def _found(
    criterion: Criterion, known: KnownRate, looks: tuple[Looked, ...], told: tuple[float, Sequence[KnownRate]]
) -> Found:
    within, apart = told
    unit, sure = unit_m2(criterion), criterion.confidence
    each = apart or (known,)
    rate = known.rate * unit
    accept, consumer, producer = _risks(criterion, looks, known)
    return Found(
        value=rate,
        low=min(one.at_least(sure) for one in each) * unit,
        high=max(one.at_most(sure) for one in each) * unit,
        margin=criterion.limit - rate,
        conformance=within,
        acceptance_limit=accept,
        consumer_risk=consumer,
        producer_risk=producer,
        looks=looks,
    )


def _risks(criterion: Criterion, looks: Sequence[Looked], known: KnownRate) -> tuple[float, float, float]:
    """Greatest rate found that independent marks would be released with, and both risks; NaN where not known."""
    unit, sure = unit_m2(criterion), criterion.confidence
    limit, area = criterion.limit / unit, math.fsum(look.area_m2 * look.detected.value for look in looks)
    certain = all(look.detected.low == look.detected.high for look in looks)
    count = acceptable_count(limit, area, sure) if certain else -1
    accept = count / area * unit if count >= 0 else math.nan
    consumer = known.released_at(limit, limit=limit, confidence=sure)
    if math.isnan(criterion.good):
        return accept, consumer, math.nan
    return accept, consumer, 1.0 - known.released_at(criterion.good / unit, limit=limit, confidence=sure)


def _word(criterion: Criterion, found: Found, told_by: tuple[KnownRate, float, float], *, contradicted: bool) -> Word:
    """``told_by`` what is known, how surely it lies beyond the limit, and the region's area in m²."""
    known, beyond, area_m2 = told_by
    counted, sure = _counted(criterion, found), f"at {percent(criterion.confidence)} confidence"
    limit = f"{number(criterion.limit)} {criterion.unit}"
    low, high = (number(end, beside=criterion.limit) for end in (found.low, found.high))
    if found.conformance >= criterion.confidence:
        reason = Reason.WITHIN_LIMIT if found.value else Reason.NONE_FOUND
        return Word(Verdict.RELEASE, reason, f"{counted}: at most {high} {sure}, within the limit of {limit}")
    if beyond >= criterion.confidence:
        told = f"{counted}: at least {low} {sure}, above the limit of {limit}"
        return Word(Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT, told)
    if contradicted:
        told = f"{counted}: the sources contradict one another (probability of chance {chance(known.p_agree)})"
        return Word(Verdict.HOLD, Reason.CONTRADICTED, f"{told}. Look again where they differ", brief=told)
    told = f"{counted}: {low} to {high} {sure} on each side, which doesn't settle the limit of {limit}"
    needed = _needed(criterion, found, area_m2) if known.method.endswith("(Garwood)") else ""
    more = [part for part in (needed, _kept_back(criterion, found)) if part]
    return Word(Verdict.HOLD, Reason.NOT_PROVEN, ". ".join([told, *more]), brief=told)


def _counted(criterion: Criterion, found: Found) -> str:
    """What each source counted, and the rate."""
    told = []
    for look in found.looks:
        sure = look.detected.low == look.detected.value == 1.0
        missed = "" if sure else f", of which {percent(round(look.detected.value, 3))} are found"
        of = f" ({look.source})" if len(found.looks) > 1 else ""
        told.append(f"{marks_words(criterion, look.count)} in {number(look.area_m2)} m²{of}{missed}")
    return f"{' and '.join(told)}, {number(found.value)} {criterion.unit}"


def _needed(criterion: Criterion, found: Found, area_m2: float) -> str:
    """How much more would settle it if nothing more were found, where there is so much more."""
    if criterion.limit <= 0.0:
        return ""
    limit = criterion.limit / unit_m2(criterion)
    count = sum(look.count for look in found.looks)
    looked = math.fsum(look.area_m2 * look.detected.value for look in found.looks)
    more = area_for(count, limit, criterion.confidence) - looked
    if more > area_m2 - math.fsum(look.area_m2 for look in found.looks):
        return "Not even all that is left of it, without a mark, would settle it: cut it out, or state another limit"
    told = f"{number(more)} m² more without a mark would settle it, taken at once; sheet after sheet, see settle"
    return told if more > 0.0 else ""


def _kept_back(criterion: Criterion, found: Found) -> str:
    if math.isnan(found.producer_risk) or found.producer_risk <= criterion.producer_risk:
        return ""
    good = f"{number(criterion.good)} {criterion.unit}"
    return (
        f"With so little looked at, film at {good} would be kept back with probability {chance(found.producer_risk)}, "
        f"more than the {percent(criterion.producer_risk)} that the product allows"
    )


def _undetected(criterion: Criterion, region: Extent, look: Looked) -> Ruling:
    """Hold: the product says how faint a mark counts, and nobody knows how many of those the source finds."""
    mend = f"Measure it for this {look.source} (wideroll scan PLANT ROLL --pod)."
    why = f"the {DETECTION} of marks as small and faint as the criterion counts isn't known: {look.detected.why}"
    gone = Missing(subject=DETECTION, extent=region, void=False, why=why, mend=mend)
    word = Word(Verdict.HOLD, Reason.EVIDENCE_MISSING, f"{why}. {mend}", brief=f"the {DETECTION} isn't known")
    nothing = Found(value=math.nan, low=math.nan, high=math.nan, margin=math.nan, looks=(look,))
    return rule(criterion, nothing, word, extent=region, source=look.source, missing=(gone,))
