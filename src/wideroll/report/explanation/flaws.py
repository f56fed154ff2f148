"""The flaw behind a finding: the streak, band, series or sighting that was taken for it, or the mark."""

import math
from collections.abc import Iterator
from typing import Final

from wideroll.release import Criterion, Evidence, Finding, Flaw, Measurand, Reason
from wideroll.release.flaws import guarded
from wideroll.release.model import GRADED, SIGHTED
from wideroll.release.words import number, percent, where
from wideroll.repeats import Candidate, Series
from wideroll.report.explanation.marks import mark_nodes, marks_of_kind
from wideroll.report.explanation.node import Fact, Kind, Node, Origins
from wideroll.report.explanation.sheets import sighting_node
from wideroll.roll import Extent
from wideroll.scan import Band, Streak
from wideroll.workflow import SHEETS, Assessment, Examined
from wideroll.workflow.maker_words import lap_words

__all__ = ["flaw_nodes", "flaws_of", "unnamed_nodes"]

_GRADE: Final = "grade"
"""The unit of a graded flaw."""

_SLACK_M, _SLACK_MM = 1e-6, 1e-3


def flaw_nodes(finding: Finding, criterion: Criterion, assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """What a finding about flaws, grades or forbidden kinds speaks of; nothing where nothing was found."""
    for flaw in flaws_of(finding, criterion, assessment.evidence):
        yield _flaw(flaw, assessment, origins)
    if criterion.measurand is Measurand.FORBIDDEN and finding.found > 0.0:
        rows = marks_of_kind(criterion.kinds, finding.extent, assessment, criterion.subject)
        yield from mark_nodes(rows, assessment, origins)


def flaws_of(finding: Finding, criterion: Criterion, evidence: Evidence) -> tuple[Flaw, ...]:
    """The flaws of the criterion's kinds that take the finding's part and have its value."""
    if finding.reason is Reason.NONE_FOUND:
        return ()
    graded = criterion.measurand is Measurand.GRADE
    kinds = {f"{GRADED} {kind}" for kind in criterion.kinds} if graded else set(criterion.kinds)
    found = (finding.found, finding.low, finding.high)
    return tuple(
        flaw
        for flaw in evidence.flaws
        if flaw.kind in kinds
        and (guarded(criterion, evidence, flaw) or evidence.whole) == finding.extent
        and (criterion.measurand is Measurand.FORBIDDEN or _same((flaw.value, flaw.low, flaw.high), found))
    )


def _same(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return all(a == b or (math.isnan(a) and math.isnan(b)) for a, b in zip(one, other, strict=True))


def unnamed_nodes(finding: Finding, assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """The marks or flaws of the kind that no criterion names."""
    evidence = assessment.evidence
    kinds = tuple(str(kind) for kind in evidence.marks["kind"].unique() if _held(str(kind), finding))
    if finding.unit == "marks":
        yield from mark_nodes(marks_of_kind(kinds, finding.extent, assessment, ""), assessment, origins)
    for flaw in evidence.flaws:
        if finding.unit == "flaws" and _held(flaw.kind, finding):
            yield _flaw(flaw, assessment, origins)


def _held(kind: str, finding: Finding) -> bool:
    """Whether the finding holds a kind because no criterion names it; only its words say which."""
    return f'Name "{kind}" in' in finding.why


def _flaw(flaw: Flaw, assessment: Assessment, origins: Origins) -> Node:
    place = where(flaw.extent, assessment.whole)
    value = f": {number(flaw.value)} {flaw.unit}"
    if flaw.low != flaw.high:
        value += f" ({number(flaw.low)} to {number(flaw.high)})"
    if flaw.unit == _GRADE:
        value = ""  # its letters stand with the finding
    facts, children = _record(flaw, assessment, origins)
    return Node(
        kind=Kind.FLAW,
        title=f"{flaw.kind} at {place}{value}",
        facts=(Fact(name="source", value=flaw.source), *facts, *_contradicted(flaw)),
        children=children,
        values={
            "kind": flaw.kind,
            "value": flaw.value,
            "low": flaw.low,
            "high": flaw.high,
            "unit": flaw.unit,
            "source": flaw.source,
        },
    )


def _contradicted(flaw: Flaw) -> Iterator[Fact]:
    if flaw.contradiction:
        yield Fact(name="contradicted", value=flaw.contradiction)


def _record(flaw: Flaw, assessment: Assessment, origins: Origins) -> tuple[tuple[Fact, ...], tuple[Node, ...]]:
    """What the flaw was made from."""
    note = (Fact(name="note", value=flaw.note),) if flaw.note else ()
    if flaw.source == SHEETS:
        sightings = [one for one in assessment.examination.examined if _is_of(one, flaw)]
        return (), tuple(sighting_node(one, assessment, origins) for one in sightings)
    scan = assessment.scan
    for streak in scan.streaks if scan else ():
        if flaw.kind == "streak" and streak.extent == flaw.extent:
            return (*_streak(streak), *_scanned(flaw.extent, origins)), ()
    for band in scan.bands if scan else ():
        if flaw.kind == "band" and band.extent == flaw.extent:
            return (*_band(band), *_scanned(flaw.extent, origins)), ()
    for series in assessment.repeats:
        if flaw.kind == "repeating marks" and series.extent == flaw.extent:
            rows = scan.marks[list(series.members)] if scan else assessment.evidence.marks.clear()
            return tuple(_series(series)), tuple(mark_nodes(rows, assessment, origins))
    return (*note, *_scanned(flaw.extent, origins)), ()


def _is_of(found: Examined, flaw: Flaw) -> bool:
    seen, box = found.sighting, flaw.extent
    kinds = {f"{GRADED} {seen.kind}", "metal" if seen.metallic else f"{SIGHTED} {seen.kind}"}
    along = box.along_from_m - _SLACK_M <= seen.place.along_m <= box.along_to_m + _SLACK_M
    across = box.across_from_mm - _SLACK_MM <= seen.place.across_mm <= box.across_to_mm + _SLACK_MM
    same = flaw.unit == _GRADE or seen.size_mm == flaw.value
    return flaw.kind in kinds and same and along and across


def _streak(streak: Streak) -> Iterator[Fact]:
    sizes = f"{_percent(streak.contrast)} ({_percent(streak.contrast_low)} to {_percent(streak.contrast_high)})"
    yield Fact(name="contrast, signed", value=sizes)
    yield Fact(name="middle, width", value=f"{streak.across_mm:.1f} mm across, {number(streak.width_mm)} mm wide")
    yield Fact(name="signal to noise", value=number(streak.snr))
    why = f": {streak.why}" if streak.why else ""
    yield Fact(name="belongs to", value=f"{streak.origin}{why}")


def _band(band: Band) -> Iterator[Fact]:
    yield Fact(name="period", value=f"{number(band.period_mm)} mm, {number(band.frequency_per_m)} per m")
    sizes = f"{_percent(band.amplitude)} ({_percent(band.amplitude_low)} to {_percent(band.amplitude_high)})"
    yield Fact(name="amplitude", value=sizes)
    yield Fact(name="signal to noise", value=number(band.snr))


def _series(series: Series) -> Iterator[Fact]:
    low, high = series.spacing_low_m * 1000.0, series.spacing_high_m * 1000.0
    spacing = f"{series.spacing_m * 1000.0:.2f} mm ({low:.2f} to {high:.2f})"
    yield Fact(name="spacing", value=f"{spacing}, {series.across_mm:.1f} mm across")
    turns = max(series.turns) - min(series.turns) + 1
    yield Fact(name="marks", value=f"{len(series.members)} marks in {turns} turns")
    yield Fact(name="probability by chance", value=f"{series.false_alarm:.2g} on the whole roll")
    best = "; ".join(_maker(one) for one in series.candidates[:3])
    yield Fact(name="lap print", value=lap_words(series)) if series.lap else Fact(name="roller", value=best)


def _maker(candidate: Candidate) -> str:
    why = f" ({candidate.why})" if candidate.why else ""
    return f"{candidate.roller} {percent(round(candidate.probability, 3))}{why}"


def _percent(share: float) -> str:
    return f"{number(100.0 * share)} %"


def _scanned(extent: Extent, origins: Origins) -> Iterator[Fact]:
    parts = [
        one.name.rpartition("/")[2]
        for one in origins.segments
        if one.along_from_m < extent.along_to_m and one.along_to_m > extent.along_from_m
    ]
    if parts:
        yield Fact(name="scan", value=", ".join(parts))
