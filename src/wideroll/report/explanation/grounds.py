"""What was looked at, which pieces of evidence count, and what is missing."""

from collections.abc import Collection, Iterator, Sequence

from wideroll.release.model import Criterion, Finding, Missing
from wideroll.release.words import number, plural, share, where
from wideroll.report.explanation.node import Fact, Kind, Node
from wideroll.report.explanation.sheets import sheet_nodes
from wideroll.roll import Coverage, Extent, unseen_within
from wideroll.sensitometry import StripResult
from wideroll.workflow import SHEETS, STRIPS, Assessment

__all__ = ["count_nodes", "coverage_node", "missing_nodes", "missing_of"]

_SAMPLES = 2
"""From so many rectangles seen on, what lies between them isn't a hole but the rest of the roll."""

_ROUNDING = 1e-9
"""A smaller share of the roll comes from rounding."""


def coverage_node(source: str, coverage: Coverage, whole: Extent) -> Node:
    """What one source looked at, and each part that it didn't see, with its area."""
    seen = coverage.share(whole)
    holes = list(coverage.unseen)
    if len(coverage.seen) < _SAMPLES:
        holes += unseen_within(whole, [*coverage.seen, *(hole.extent for hole in holes)], why="never looked at")
    parts = tuple(
        Node(
            kind=Kind.UNSEEN,
            title=f"not seen: {where(part, whole)}, {number(part.area_m2)} m² ({hole.why})",
            values={"area_m2": part.area_m2, "why": hole.why},
        )
        for hole in holes
        if (part := hole.extent.meet(whole)) and part.area_m2 > _ROUNDING * whole.area_m2
    )
    area = f"{number(seen * whole.area_m2)} of {number(whole.area_m2)}"
    between = f", in {plural(len(coverage.seen), 'sample')}" if len(coverage.seen) >= _SAMPLES else ""
    return Node(
        kind=Kind.EVIDENCE,
        title=f"{source}: looked at {share(seen)}, {area} m²{between}",
        children=parts,
        values={"source": source, "share": seen, "area_m2": seen * whole.area_m2},
    )


def count_nodes(finding: Finding, criterion: Criterion, assessment: Assessment) -> Iterator[Node]:
    """Each piece of evidence of the source in the finding's part: whether it counts, and why not."""
    if criterion.subject == STRIPS:
        yield from _strips(finding.extent, assessment)
    elif criterion.subject == SHEETS:
        yield from sheet_nodes(assessment, finding.extent)
    else:
        for extent, pieces in assessment.evidence.counts.get(criterion.subject, ()):
            if extent.meet(finding.extent):
                yield Node(
                    kind=Kind.EVIDENCE,
                    title=f"{criterion.subject} for {where(extent, assessment.whole)}: {pieces}",
                    values={"pieces": pieces},
                )


def _strips(extent: Extent, assessment: Assessment) -> Iterator[Node]:
    void = {run.run for run in assessment.strip_room.runs if not run.usable}
    for result in assessment.strip_room.results:
        strip = result.strip
        if strip.place is None or extent.contains(strip.place):
            counts = result.usable and strip.place is not None
            why = "" if counts else _why_not(result, void)
            yield Node(
                kind=Kind.STRIP,
                title=f"strip {strip.name} of run {strip.run} {'counts' if counts else 'does not count'}",
                facts=(Fact(name="why not", value=why),) if why else (),
                values={"strip": strip.name, "run": strip.run, "counts": counts},
            )


def _why_not(result: StripResult, void: Collection[str]) -> str:
    if result.strip.run in void:
        return f"its run is void: see process runs, {result.strip.run}"
    return result.why or "its place isn't given"


def missing_of(finding: Finding, assessment: Assessment, subjects: Sequence[str]) -> tuple[Missing, ...]:
    """What is said to be missing of a finding's evidence, in its part, by its subject or by the finding's words."""
    return tuple(
        item
        for item in assessment.decision.missing
        if (item.subject in subjects or item.why[1:] in finding.why)
        and (item.extent == finding.extent or item.extent.meet(finding.extent))
    )


def missing_nodes(missing: Sequence[Missing], whole: Extent) -> Iterator[Node]:
    """Each, with why and what mends it."""
    for item in missing:
        state = "void" if item.void else "missing"
        yield Node(
            kind=Kind.MISSING,
            title=f"{state}: {item.subject} for {where(item.extent, whole)}",
            facts=(Fact(name="why", value=item.why), Fact(name="what mends it", value=item.mend)),
            values={"subject": item.subject, "void": item.void},
        )
