"""What a criterion asks, what a finding's reason means, and by which rule its verdict follows, with its numbers."""

import math
from typing import Final

from scipy import special

from wideroll.release import Bound, Criterion, Finding, Measurand, Reason, Verdict
from wideroll.release.conformance import conformance_probability
from wideroll.release.looks import Looked
from wideroll.release.model import Reading
from wideroll.release.rate_units import unit_m2
from wideroll.release.tolerance import tolerance_of
from wideroll.release.words import chance, number, percent
from wideroll.report.criterion_words import grade_text, grades_between
from wideroll.report.explanation.node import Fact
from wideroll.report.quantities import ABSENT
from wideroll.workflow.known_rates import rate_of

__all__ = ["MEANINGS", "asked", "numbers", "rule_of_rate", "rule_of_reading", "rule_of_rest"]

MEANINGS: Final = {
    Reason.WITHIN_LIMIT: "the evidence shows that the limit is kept",
    Reason.ABOVE_LIMIT: "the evidence shows that the limit is exceeded",
    Reason.NOT_PROVEN: "the evidence shows neither that the limit is kept nor that it is exceeded",
    Reason.NONE_FOUND: "it was looked for, and nothing was found",
    Reason.FORBIDDEN_FOUND: "something was found of which the product allows none",
    Reason.NOT_LOOKED_AT: "the source did not look at this part, and what was not looked at is never good",
    Reason.NOT_JUDGED: "something was found that no criterion of the product names",
    Reason.EVIDENCE_MISSING: "evidence that is needed isn't there",
    Reason.EVIDENCE_VOID: "evidence is there but can't be believed",
    Reason.EXTRAPOLATED: "the number lies beyond what was measured",
    Reason.CONTRADICTED: "sources that looked for the same thing contradict one another",
    Reason.JUDGED_WHEN_CUT: "the limit is for finished rolls, which are known only when the web is cut",
}
"""Each reason in half a sentence."""

_IN_WORDS: Final = {
    Measurand.GRADE: "a grade passes where all it may be are allowed, and falls where none is; else it is held",
    Measurand.MARK_COUNT: "the cut list leaves film out rather than let a finished roll carry more",
}
"""Rules that compare no number with the limit here."""
_SAME: Final = 1e-6
"""A formula is shown only where it gives the finding's own number to this fraction."""


def asked(criterion: Criterion) -> str:
    """The criterion in one line: what is judged, of what, its limit, how surely, and what follows otherwise."""
    size = [f"of {number(criterion.least_size_mm)} mm or more"] if criterion.least_size_mm else []
    contrast = [f"of contrast {number(100.0 * criterion.least_contrast)} % or more"] if criterion.least_contrast else []
    window = [f"of {number(criterion.window_m)} m"] if criterion.measurand is Measurand.LOCAL_MARK_RATE else []
    kinds = [f"({', '.join(criterion.kinds)})"] if criterion.kinds else []
    of = "of" if criterion.measurand in {Measurand.READING, Measurand.EVIDENCE_COUNT} else "by"
    by = [f"{of} {criterion.subject}"] if criterion.subject else []
    lane = f" of {number(criterion.lane_mm)} mm" if criterion.lane_mm else ""
    judged = [f"for each {criterion.region}{lane}"] if criterion.region.value != "roll" else []
    what = " ".join([criterion.measurand.value, *window, *kinds, *size, *contrast, *by, *judged])
    second = ", and may be sold as second quality" if criterion.second_quality else ""
    return f"{what}: {limit_words(criterion)}; else {criterion.consequence}{second}"


def limit_words(criterion: Criterion) -> str:
    """The limit as a comparison, and how surely it must be kept."""
    limit = f"{number(criterion.limit)} {criterion.unit}"
    sure = f", risk {percent(round(criterion.risk, 9))}"
    measurand = criterion.measurand
    if criterion.limit == 1.0 and measurand in {Measurand.EVIDENCE_COUNT, Measurand.MARK_COUNT}:
        limit = limit.removesuffix("s")
    if measurand is Measurand.FORBIDDEN:
        return "none allowed"
    if measurand is Measurand.COVERAGE:
        return f"at least {percent(criterion.limit)} of what isn't cut out"
    if measurand is Measurand.EVIDENCE_COUNT:
        return f"at least {limit} for each batch"
    if measurand is Measurand.GRADE and criterion.grades:
        return f"no worse than {criterion.grades[int(criterion.limit) - 1]} of {', '.join(criterion.grades)}"
    if measurand is Measurand.READING:
        return _reading_limit(criterion) + sure
    return f"at most {limit}" + ("" if measurand in {Measurand.FLAW, Measurand.MARK_COUNT} else sure)


def _reading_limit(criterion: Criterion) -> str:
    limit = f"{number(criterion.limit)} {criterion.unit}"
    if criterion.bound is Bound.BOTH:
        return f"within {number(criterion.aim) + ' ' if criterion.aim else ''}± {limit}"
    return f"at {criterion.bound} {limit}"


def numbers(finding: Finding, criterion: Criterion | None) -> tuple[Fact, ...]:
    """What was found beside the limit, and the risks, as far as they are known."""
    confidence = math.nan if criterion is None else criterion.confidence
    facts = []
    if criterion is not None and criterion.grades:
        return (Fact(name="found", value=_grades(criterion, finding.found, finding.low, finding.high)),)
    if not math.isnan(finding.found):
        facts.append(Fact(name="found", value=f"{_quantity(finding)}{_interval(finding)}"))
    if not math.isnan(finding.margin):
        facts.append(Fact(name="margin", value=f"{_signed(finding.margin)} {finding.unit}".strip()))
    if not math.isnan(finding.conformance):
        told = chance(finding.conformance, beside=confidence)
        if criterion is not None and criterion.measurand is not Measurand.FLAW:
            told += f", needed {chance(confidence, beside=confidence)}"
        facts.append(Fact(name="conformance probability", value=told))
    if not math.isnan(finding.acceptance_limit):
        facts.append(Fact(name="acceptance limit", value=f"{number(finding.acceptance_limit)} {finding.unit}"))
    for name, risk in (("consumer's risk", finding.consumer_risk), ("producer's risk", finding.producer_risk)):
        if not math.isnan(risk):
            facts.append(Fact(name=name, value=chance(risk)))
    return tuple(facts)


def _grades(criterion: Criterion, value: float, low: float, high: float) -> str:
    """A grade with those that it may be, as letters of the criterion's scale."""
    between = grades_between(criterion, low, high)
    found = grade_text(criterion, value)
    return found if between == ABSENT else f"{found} ({between})"


def _quantity(finding: Finding) -> str:
    return f"{number(finding.found, beside=finding.limit)} {finding.unit}".strip()


def _interval(finding: Finding) -> str:
    if math.isnan(finding.low) or finding.low == finding.high:
        return ""
    low, high = (number(value, beside=finding.limit) for value in (finding.low, finding.high))
    return f" ({low} to {high})"


def _signed(value: float) -> str:
    return f"+{number(value)}" if value > 0.0 else number(value)


def rule_of_rate(finding: Finding, criterion: Criterion) -> str:
    """The limits of a rate from its counts, by formula where one gives the finding's own numbers; else in words."""
    if not finding.looks:
        return _compared(finding)
    count, per, tail = sum(look.count for look in finding.looks), unit_m2(criterion), 1.0 - criterion.confidence
    area = math.fsum(_effective_m2(look) for look in finding.looks)
    upper, lower = (
        float(special.gammainccinv(count + 1, tail)),
        float(special.gammaincinv(count, tail)) if count else 0.0,
    )
    if not (_same(upper * per / area, finding.high) and _same(lower * per / area, finding.low)):
        return f"{_method(finding, criterion)}. {_compared(finding)}"
    ground = " + ".join(_ground(look) for look in finding.looks)
    ground = ground if len(finding.looks) == 1 else f"({ground})"
    times = "" if per == 1.0 else f" × {number(per)} m²"
    p, q = number(criterion.confidence), number(tail)
    most = f"χ²({p}; 2·{count} + 2) ⁄ 2 ⁄ {ground}{times} = {number(upper)} ⁄ {ground}{times} = {number(finding.high)}"
    told = f"upper limit {most} {criterion.unit}"
    if count:
        least = f"{number(lower)} ⁄ {ground}{times} = {number(finding.low)}"
        told += f"; lower limit χ²({q}; 2·{count}) ⁄ 2 ⁄ {ground}{times} = {least}"
    return f"{told} (Garwood). {_compared(finding)}"


def _effective_m2(look: Looked) -> float:
    return look.area_m2 * look.detected.value


def _ground(look: Looked) -> str:
    sure = "" if look.detected.value == 1.0 else f" × {number(look.detected.value)} found"
    return f"{number(look.area_m2)} m²{sure}"


def _method(finding: Finding, criterion: Criterion) -> str:
    """How the limits were made that no formula gives."""
    looks, per, sure = finding.looks, unit_m2(criterion), criterion.confidence
    counts = " and ".join(f"{look.count} in {_ground(look)} ({look.source})" for look in looks)
    if any(math.isnan(look.detected.value) for look in looks):
        return f"{counts}: no rate follows from that"
    known, each = rate_of(looks), [rate_of((look,)) for look in looks]
    if len(each) == 1:
        return f"limits from {counts}: {known.method}"
    by_itself = _same(max(one.at_most(sure) for one in each) * per, finding.high)
    how = "the widest of each source by itself" if by_itself else known.method
    return f"limits from {counts}: {how}; probability of sources that differ so much {chance(known.p_agree)}"


def _same(found: float, told: float) -> bool:
    return math.isclose(found, told, rel_tol=_SAME, abs_tol=1e-12)


def rule_of_reading(finding: Finding, criterion: Criterion, reading: Reading | None) -> str:
    """The probability that a reading lies within its limits, with its numbers."""
    if reading is None or math.isnan(finding.conformance):
        return _compared(finding)
    tolerance = tolerance_of(criterion)
    low, high = tolerance.lower, tolerance.upper
    error, freedom = reading.standard_uncertainty, reading.degrees_of_freedom
    if math.isnan(error):
        return "the probability within the limits, with the standard uncertainty taken from the 95 % interval"
    p = conformance_probability(reading.value, error, lower=low, upper=high, degrees_of_freedom=freedom)
    if not _same(p, finding.conformance):
        return _compared(finding)
    terms = [f"F(({number(high)} − {_braced(reading.value)}) ⁄ {number(error)})"] if math.isfinite(high) else ["1"]
    terms += [f"F(({number(low)} − {_braced(reading.value)}) ⁄ {number(error)})"] if math.isfinite(low) else []
    dist = (
        "the normal distribution" if math.isinf(freedom) else f"Student's t with {number(freedom)} degrees of freedom"
    )
    needed = criterion.confidence
    result = f"{chance(p, beside=needed)}; needed {chance(needed, beside=needed)}"
    return f"conformance probability {' − '.join(terms)} = {result} (F: {dist})"


def _braced(value: float) -> str:
    return f"({number(value)})" if value < 0.0 else number(value)


def rule_of_rest(finding: Finding, criterion: Criterion | None) -> str:
    """The rule of a criterion that compares without a formula."""
    if finding.reason in {Reason.EVIDENCE_MISSING, Reason.EVIDENCE_VOID} and math.isnan(finding.found):
        return "what no usable evidence speaks for is held"
    if criterion is None:
        return "what no criterion of the product speaks of is held, since silence isn't consent"
    if criterion.measurand is Measurand.FORBIDDEN:
        return _forbidden(finding, criterion)
    if criterion.measurand in _IN_WORDS:
        return _IN_WORDS[criterion.measurand]
    if criterion.measurand is Measurand.FLAW and finding.low < finding.high:
        return f"the whole interval, {number(finding.low)} to {number(finding.high)}, is compared. {_compared(finding)}"
    return _compared(finding)


def _forbidden(finding: Finding, criterion: Criterion) -> str:
    if finding.reason is not Reason.NONE_FOUND:
        return "one is enough, whatever its size"
    most = -math.log(1.0 - criterion.confidence)
    return (
        "none found on a share s of the roll, drawn by chance, leaves at most "
        f"−ln({number(criterion.risk)}) ⁄ s = {number(most)} ⁄ s, "
        f"rounded down: {number(finding.high)} on the whole roll at {percent(criterion.confidence)} confidence"
    )


def _compared(finding: Finding) -> str:
    told = {
        Verdict.RELEASE: "the criterion is met",
        Verdict.HOLD: "the part is held",
        Verdict.CUT_OUT: "the part is cut out",
        Verdict.REJECT: "the part is rejected",
    }[finding.verdict]
    if math.isnan(finding.limit) or math.isnan(finding.found):
        return told
    return f"{_quantity(finding)} against the limit of {number(finding.limit)}: {told}"
