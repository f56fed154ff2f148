"""One finding: what was asked, what was found, by which rule that gives its verdict, and on which evidence."""

from collections.abc import Iterator

from wideroll.release import Criterion, Finding, Measurand, Reason
from wideroll.release.counting import RATES
from wideroll.release.words import where
from wideroll.report.explanation.criteria import (
    MEANINGS,
    asked,
    numbers,
    rule_of_rate,
    rule_of_reading,
    rule_of_rest,
)
from wideroll.report.explanation.flaws import flaw_nodes, unnamed_nodes
from wideroll.report.explanation.grounds import count_nodes, coverage_node, missing_nodes, missing_of
from wideroll.report.explanation.marks import look_nodes
from wideroll.report.explanation.node import Fact, Kind, Node, Origins
from wideroll.report.explanation.readings import reading_nodes, reading_of
from wideroll.workflow import Assessment

__all__ = ["finding_node", "finding_title"]

_ABSENT = (Reason.EVIDENCE_MISSING, Reason.EVIDENCE_VOID, Reason.NOT_LOOKED_AT)


def finding_title(number: int, finding: Finding, assessment: Assessment) -> str:
    """The finding's number, criterion, place and verdict."""
    place = where(finding.extent, assessment.whole)
    record, comma, _ = finding.source.partition(" record, ")
    of = f", {record} record" if comma else ""
    return f"finding {number}: {finding.criterion}{of}, {place}: {finding.verdict}"


def finding_node(number: int, assessment: Assessment, origins: Origins) -> Node:
    """A finding with its whole chain; findings are counted from 1, as a person does."""
    finding = assessment.decision.findings[number - 1]
    criterion = next((one for one in assessment.decision.criteria if one.name == finding.criterion), None)
    facts = [
        Fact(name="asked", value="what no criterion speaks of" if criterion is None else asked(criterion)),
        *numbers(finding, criterion),
        Fact(name="reason", value=f"{finding.reason}: {MEANINGS[finding.reason]}"),
        Fact(name="rule", value=_rule(finding, criterion, assessment)),
        Fact(name="in words", value=finding.why),
    ]
    return Node(
        kind=Kind.FINDING,
        title=finding_title(number, finding, assessment),
        facts=tuple(facts),
        children=tuple(_evidence(finding, criterion, assessment, origins)),
        values={
            "finding": number,
            "criterion": finding.criterion,
            "limit": finding.limit,
            "found": finding.found,
            "low": finding.low,
            "high": finding.high,
            "margin": finding.margin,
            "unit": finding.unit,
            "verdict": finding.verdict.value,
            "reason": finding.reason.value,
            "conformance": finding.conformance,
            "acceptance_limit": finding.acceptance_limit,
            "consumer_risk": finding.consumer_risk,
            "producer_risk": finding.producer_risk,
            "source": finding.source,
        },
    )


def _rule(finding: Finding, criterion: Criterion | None, assessment: Assessment) -> str:
    if criterion is not None and finding.reason not in _ABSENT:
        if criterion.measurand in RATES:
            return rule_of_rate(finding, criterion)
        if criterion.measurand is Measurand.READING:
            return rule_of_reading(finding, criterion, reading_of(finding, criterion, assessment))
    return rule_of_rest(finding, criterion)


def _evidence(
    finding: Finding, criterion: Criterion | None, assessment: Assessment, origins: Origins
) -> Iterator[Node]:
    if criterion is None:
        yield from unnamed_nodes(finding, assessment, origins)
    elif criterion.measurand in (*RATES, Measurand.MARK_COUNT) and (finding.looks or finding.reason not in _ABSENT):
        yield from look_nodes(finding, criterion, assessment, origins)
    elif criterion.measurand is Measurand.READING:
        yield from reading_nodes(finding, criterion, assessment, origins)
    elif criterion.measurand is Measurand.EVIDENCE_COUNT:
        yield from count_nodes(finding, criterion, assessment)
    elif criterion.measurand is not Measurand.COVERAGE:
        yield from flaw_nodes(finding, criterion, assessment, origins)
    if finding.reason is Reason.NONE_FOUND or (criterion and criterion.measurand is Measurand.COVERAGE):
        yield from _looked_at(finding, assessment)
    if finding.reason in _ABSENT:
        subjects = (finding.source, *([criterion.subject] if criterion else []))
        yield from missing_nodes(missing_of(finding, assessment, subjects), assessment.whole)


def _looked_at(finding: Finding, assessment: Assessment) -> Iterator[Node]:
    """What the sources that found nothing, or of which so much was asked, looked at."""
    for source in finding.source.split(" and "):
        coverage = assessment.evidence.coverage.get(source)
        if coverage is not None:
            yield coverage_node(source, coverage, assessment.whole)
