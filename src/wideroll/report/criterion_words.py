"""A criterion's limit, and how sure a finding is, in words."""

import math
from typing import Final

from wideroll.release.model import Bound, Criterion, Finding, Measurand
from wideroll.release.words import chance
from wideroll.report.quantities import ABSENT, show_share

__all__ = ["grade_text", "grades_between", "is_share", "limit_text", "risks_text", "sure_text"]

_LEAST: Final = frozenset({Measurand.COVERAGE, Measurand.EVIDENCE_COUNT})


def limit_text(criterion: Criterion) -> str:
    """The limit as a comparison, with its unit.

    Example:
        >>> from wideroll.release.model import Consequence
        >>> limit_text(
        ...     Criterion(name="n", measurand=Measurand.READING, limit=0.05, unit="log H", consequence=Consequence.HOLD)
        ... )
        'within ± 0.05 log H'
        >>> limit_text(
        ...     Criterion(
        ...         name="n", measurand=Measurand.READING, limit=5, aim=130, unit="µm", consequence=Consequence.HOLD
        ...     )
        ... )
        '130 ± 5 µm'
    """
    value = f"{criterion.limit:g} {criterion.unit}".rstrip()
    if criterion.limit == 1 and criterion.measurand in {*_LEAST, Measurand.MARK_COUNT}:
        value = value.removesuffix("s")
    if criterion.measurand is Measurand.FORBIDDEN:
        return "none allowed"
    if criterion.measurand is Measurand.GRADE:
        return f"{grade_text(criterion, criterion.limit)} or better"
    if is_share(criterion):
        return f"at least {show_share(criterion.limit)}"
    if criterion.measurand in _LEAST:
        return f"at least {value}"
    if criterion.measurand is Measurand.READING:
        return _within(criterion)
    return f"at most {value}{' in a finished roll' if criterion.measurand is Measurand.MARK_COUNT else ''}"


def _within(criterion: Criterion) -> str:
    """The limit of a reading: about an aim, or on one side."""
    aim, limit = (f"{number:.7g}".replace("-", "−") for number in (criterion.aim, criterion.limit))
    value = f"{limit} {criterion.unit}".rstrip()
    if criterion.bound is not Bound.BOTH:
        return f"at {criterion.bound} {value}"
    return f"{aim} ± {value}" if criterion.aim else f"within ± {value}"


def grade_text(criterion: Criterion, place: float) -> str:
    """The grade at a place of the criterion's scale, the best at 1; 0 is none, where nothing was seen to grade."""
    if math.isnan(place):
        return ABSENT
    return criterion.grades[round(place) - 1] if place >= 1.0 else "none"


def grades_between(criterion: Criterion, low: float, high: float) -> str:
    """The grades a mark may have; none where it is sure, as where nothing is known."""
    ends = grade_text(criterion, low), grade_text(criterion, high)
    return f"{ends[0]} to {ends[1]}" if ends[0] != ends[1] and ABSENT not in ends else ABSENT


def sure_text(finding: Finding, criterion: Criterion | None, *, brief: bool = False) -> str:
    """How probably a number lies within its limit, how probable that must be, and what judging by it risks.

    ``brief`` for a terminal: the first of these, and only where it isn't next to certain.
    """
    if criterion is None or math.isnan(finding.conformance):
        return ""
    needed = criterion.confidence
    found = chance(finding.conformance, beside=needed)
    if brief:
        return "" if found.startswith(("over", "under")) else f"conformance {found}"
    sure = f"conformance probability {found}, needed {chance(needed, beside=needed)}"
    return "; ".join(part for part in (sure, risks_text(finding, criterion)) if part)


def risks_text(finding: Finding, criterion: Criterion) -> str:
    """The probabilities to release with this evidence what lies at its limit, and to keep back what is good.

    The first is left out where it is the criterion's own risk, which the probability that is needed says already.
    """
    told = []
    as_stated = f"{finding.consumer_risk:.2f}" == f"{criterion.risk:.2f}"
    if not (math.isnan(finding.consumer_risk) or as_stated):
        told.append(f"{chance(finding.consumer_risk)} to release at the limit")
    if not math.isnan(finding.producer_risk):
        told.append(f"{chance(finding.producer_risk)} to keep back at {criterion.good:g} {criterion.unit}")
    return f"risks: {', '.join(told)}" if told else ""


def is_share(criterion: Criterion) -> bool:
    """Whether its numbers are shares that are shown in per cent."""
    return criterion.measurand is Measurand.COVERAGE and criterion.unit != "%" and criterion.limit <= 1.0
