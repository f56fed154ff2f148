"""The roll's verdict as a tree: parts, findings, evidence, strips, files and the record."""

import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace
from typing import Any, Final

from wideroll.release import Decision, Finding, Measurand, RegionVerdict, Verdict
from wideroll.release.ground import area_within_m2
from wideroll.release.words import number, plural, share, where
from wideroll.report.explanation.findings import finding_node, finding_title
from wideroll.report.explanation.grounds import coverage_node, missing_nodes
from wideroll.report.explanation.node import Fact, Kind, Node, Origins, short_hash
from wideroll.report.explanation.strips import run_nodes, strip_nodes
from wideroll.report.machine import plain
from wideroll.workflow import STRIPS, Assessment

__all__ = ["explain", "explanation_json", "named_with"]

_FEW: Final = 2
"""Of a criterion that is met in many regions, how many an outline shows."""

_RULES: Final = {
    Verdict.REJECT: "rejected, because everything on it is cut out or rejected",
    Verdict.HOLD: "on hold, because a part that isn't cut out is held",
    Verdict.CUT_OUT: "cut out in parts, because parts of it are cut out and no other part is held",
    Verdict.RELEASE: "released, because every criterion is met and no part is held, cut out or rejected",
}


def named_with(text: str, names: Iterable[str]) -> tuple[str, ...]:
    """The names that contain the text, in capitals or not.

    Example:
        >>> named_with("SPOT", ["Spots", "Streaks", "Sighted spots"])
        ('Spots', 'Sighted spots')
    """
    return tuple(name for name in names if text.casefold() in name.casefold())


def explain(assessment: Assessment, origins: Origins, *, about: Collection[str] | None = None) -> Node:
    """The chain from the roll's verdict to its readings; each finding stands in it once.

    Args:
        assessment: everything about the roll.
        origins: where it came from.
        about: the criteria whose findings are shown; None shows all.
    """
    decision = assessment.decision
    wanted = [n for n, one in enumerate(decision.findings, 1) if about is None or one.criterion in about]
    parts = tuple(_parts(wanted, assessment, origins))
    rest = [n for n in wanted if not any(n - 1 in region.findings for region in decision.regions)]
    groups = [
        _group("Held or cut, but inside a part that another finding takes", _bad(rest, decision), assessment, origins),
        _group("Criteria that are met", _good(rest, decision), assessment, origins, fold=about is None),
        *(() if about is not None else _ground(assessment)),
        *_strip_room([decision.findings[n - 1] for n in wanted], assessment, origins),
        *_sources(origins),
    ]
    return Node(
        kind=Kind.ROLL,
        title=f"{assessment.card.name}: {decision.verdict.upper()}",
        facts=tuple(_roll_facts(assessment, origins)),
        children=(*parts, *(group for group in groups if group is not None)),
        values={
            "roll": assessment.card.name,
            "verdict": decision.verdict.value,
            "released_share": decision.released_share,
            "fingerprint": origins.fingerprint,
        },
    )


def explanation_json(node: Node) -> dict[str, Any]:
    """``wideroll/explanation/1``: the tree with every node."""
    return {"schema": "wideroll/explanation/1", **_node_json(node)}


def _node_json(node: Node) -> dict[str, Any]:
    return {
        "kind": node.kind.value,
        "title": node.title,
        "facts": [{"name": fact.name, "value": fact.value} for fact in node.facts],
        "values": plain(node.values),
        "children": [_node_json(child) for child in node.children],
    }


def _roll_facts(assessment: Assessment, origins: Origins) -> Iterator[Fact]:
    card, decision, whole = assessment.card, assessment.decision, assessment.whole
    yield Fact(name="why", value=decision.why)
    yield Fact(name="rule", value=f"{_RULES[decision.verdict]}: {_areas(decision, assessment)}")
    yield Fact(name="product", value=f"{assessment.product.name}, coated by {assessment.plant.name}")
    yield Fact(
        name="size", value=f"{number(whole.length_m)} m × {number(whole.width_mm)} mm, {number(whole.area_m2)} m²"
    )
    batches = ", ".join(f"{one.name} {one.along_from_m:.2f} to {one.along_to_m:.2f} m" for one in card.batches)
    yield Fact(name="batches", value=batches or "none named")
    yield Fact(name="software", value=f"wideroll {assessment.version}")
    yield Fact(name="fingerprint of all inputs", value=origins.fingerprint)


def _areas(decision: Decision, assessment: Assessment) -> str:
    whole = assessment.whole
    told = [f"{share(decision.released_share)} of the area released"]
    for verdict in (Verdict.HOLD, Verdict.CUT_OUT, Verdict.REJECT):
        boxes = [region.extent for region in decision.regions if region.verdict is verdict]
        if boxes:
            part = share(area_within_m2(whole, boxes) / whole.area_m2)
            told.append(f"{part} {verdict} in {plural(len(boxes), 'part')}")
    return ", ".join(told)


def _parts(wanted: Collection[int], assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """Each part that isn't released, with the findings that say so; one that stands above is only named again."""
    told: set[int] = set()
    for rank, region in enumerate(assessment.decision.regions, 1):
        mine = [index + 1 for index in region.findings if index + 1 in wanted]
        if mine:
            yield _part(rank, region, mine, told, assessment=assessment, origins=origins)
            told.update(mine)


def _part(
    rank: int, region: RegionVerdict, mine: list[int], told: set[int], *, assessment: Assessment, origins: Origins
) -> Node:
    findings = assessment.decision.findings
    again = [finding_title(n, findings[n - 1], assessment) for n in mine if n in told]
    place = where(region.extent, assessment.whole)
    return Node(
        kind=Kind.PART,
        title=f"Part {rank}, {place}: {region.verdict} ({number(region.extent.area_m2)} m²)",
        facts=tuple(Fact(name="told above", value=title) for title in again),
        children=tuple(finding_node(n, assessment, origins) for n in mine if n not in told),
        values={
            "part": rank,
            "verdict": region.verdict.value,
            "findings": mine,
            "area_m2": region.extent.area_m2,
            "extent": plain(region.extent),
        },
    )


def _bad(numbers: Collection[int], decision: Decision) -> list[int]:
    return [n for n in numbers if decision.findings[n - 1].verdict is not Verdict.RELEASE]


def _good(numbers: Collection[int], decision: Decision) -> list[int]:
    return [n for n in numbers if decision.findings[n - 1].verdict is Verdict.RELEASE]


def _group(
    title: str, numbers: Collection[int], assessment: Assessment, origins: Origins, *, fold: bool = False
) -> Node | None:
    if not numbers:
        return None
    alike = _no_worse(numbers, assessment.decision) if fold else frozenset()
    nodes = ((number_, finding_node(number_, assessment, origins)) for number_ in numbers)
    return Node(
        kind=Kind.GROUP, title=title, children=tuple(replace(node, alike=number_ in alike) for number_, node in nodes)
    )


def _no_worse(numbers: Collection[int], decision: Decision) -> frozenset[int]:
    """Of each criterion's findings those beyond the few with the least margin."""
    margins = {n: decision.findings[n - 1].margin for n in numbers}
    worst_first = sorted(numbers, key=lambda n: (not math.isnan(margins[n]), margins[n]))
    seen: Counter[str] = Counter()
    alike = set()
    for number_ in worst_first:
        seen[decision.findings[number_ - 1].criterion] += 1
        if seen[decision.findings[number_ - 1].criterion] > _FEW:
            alike.add(number_)
    return frozenset(alike)


def _ground(assessment: Assessment) -> Iterator[Node]:
    """What was looked at, and what is missing, over the whole roll."""
    coverage = assessment.decision.coverage
    yield Node(
        kind=Kind.GROUP,
        title="What was looked at" if coverage else "Nothing was looked at",
        children=tuple(coverage_node(source, one, assessment.whole) for source, one in sorted(coverage.items())),
    )
    if missing := assessment.decision.missing:
        yield Node(
            kind=Kind.GROUP,
            title="Evidence that is missing or void",
            children=tuple(missing_nodes(missing, assessment.whole)),
        )


def _strip_room(findings: Collection[Finding], assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """Runs and strips, where a finding that is shown rests on them."""
    resting = {
        criterion.name
        for criterion in assessment.decision.criteria
        if criterion.measurand is Measurand.READING or criterion.subject == STRIPS
    }
    if not assessment.strip_room.strips or not any(
        one.criterion in resting or one.source == STRIPS for one in findings
    ):
        return
    yield Node(kind=Kind.GROUP, title="Process runs", children=tuple(run_nodes(assessment)))
    files = ", ".join(f"{one.name} {short_hash(one.content)}" for one in origins.of("strips"))
    yield Node(
        kind=Kind.GROUP,
        title="Strips and their readings",
        facts=(Fact(name="files", value=files),) if files else (),
        children=tuple(strip_nodes(assessment)),
    )


def _sources(origins: Origins) -> Iterator[Node]:
    """Files, other rolls and the record: where the chain ends."""
    if origins.inputs:
        yield Node(
            kind=Kind.GROUP,
            title="Files that the decision depends on, after the hash of each (BLAKE2b, 256 bits: b2sum -l 256)",
            children=tuple(
                Node(
                    kind=Kind.INPUT,
                    title=f"{one.content}  {one.name} ({number(one.size_bytes)} bytes)",
                    values={"name": one.name, "hash": one.content, "size_bytes": one.size_bytes},
                )
                for one in origins.inputs
            ),
        )
    if origins.compared_with:
        yield Node(
            kind=Kind.GROUP,
            title="Other rolls whose scans told whose the streaks are",
            children=tuple(
                Node(kind=Kind.OTHER_ROLL, title=f"{roll}: scan {mark}", values={"roll": roll, "fingerprint": mark})
                for roll, mark in sorted(origins.compared_with.items())
            ),
        )
    yield _entry(origins)


def _entry(origins: Origins) -> Node:
    entry = origins.entry
    if entry is None:
        return Node(kind=Kind.GROUP, title="The record holds no decision on these inputs")
    return Node(
        kind=Kind.ENTRY,
        title=f"Event {entry.number} of the record",
        facts=(
            Fact(name="decided by", value=f"{entry.who}, {entry.when_utc}, with wideroll {entry.version}"),
            Fact(name="digest (SHA-256)", value=entry.digest),
            *(
                Fact(name=f"results/{origins.roll}/{name} (SHA-256)", value=content)
                for name, content in entry.outputs.items()
            ),
        ),
        values={"number": entry.number, "who": entry.who, "when_utc": entry.when_utc, "digest": entry.digest}
        | {"outputs": dict(entry.outputs)},
    )
