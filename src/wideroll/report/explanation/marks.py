"""The marks that a finding counted, where each lies, and in which file of the scan."""

import math
from collections.abc import Iterator
from typing import Any, Final

import polars as pl

from wideroll.release import Criterion, Finding, Measurand
from wideroll.release.counting import SCAN, counted_marks, on_roll, owner, sources_of, uncut
from wideroll.release.looks import DetectedShare, Looked
from wideroll.release.summary import left_aside
from wideroll.release.words import number, percent, plural, share
from wideroll.report.explanation.node import Fact, Kind, Node, Origins, short_hash
from wideroll.report.explanation.sheets import sighting_node
from wideroll.roll import Extent
from wideroll.workflow import SHEETS, Assessment

__all__ = ["counted", "look_nodes", "mark_nodes", "marks_of_kind"]

_MOST: Final = 10_000
"""Marks named one by one; of more, the table of marks has the rest."""
_SLACK_M: Final = 1e-9


def counted(finding: Finding, criterion: Criterion, assessment: Assessment, source: str) -> pl.DataFrame:
    """The marks of a source that a finding about a rate speaks of, in order along.

    Those on its part of the roll; for a rate not those that are cut out, and each place by one source: where sheets
    were sampled, by them.
    """
    evidence, box = assessment.evidence, finding.extent
    rows = counted_marks(criterion, evidence, source)
    inside = rows["along_m"].is_between(box.along_from_m - _SLACK_M, box.along_to_m + _SLACK_M)
    inside &= rows["across_mm"].is_between(box.across_from_mm, box.across_to_mm, closed="left")
    if criterion.measurand is not Measurand.MARK_RATE:
        return rows.filter(inside)
    sample = source if source in evidence.sampled else ""
    aside = left_aside(criterion, assessment.decision, assessment.whole, sample=sample)
    rate = inside & (rows["along_m"] < box.along_to_m) & pl.Series(uncut(rows, aside))
    for other in sources_of(criterion):
        sampled = evidence.sampled.get(other)
        if sampled is not None:
            on_sample = pl.Series(~uncut(rows, sampled.seen), dtype=pl.Boolean)
            rate &= on_sample if other == source else ~on_sample
    return rows.filter(rate)


def marks_of_kind(kinds: tuple[str, ...], extent: Extent, assessment: Assessment, source: str) -> pl.DataFrame:
    """The marks of some kinds whose centre lies in a part of the roll, in order along; of all sources for none."""
    evidence = assessment.evidence
    chosen = on_roll(evidence) & pl.col("kind").cast(pl.String).is_in(kinds)
    chosen &= pl.col("along_m").is_between(extent.along_from_m, extent.along_to_m)
    chosen &= pl.col("across_mm").is_between(extent.across_from_mm, extent.across_to_mm)
    if source:
        names = [name for name in evidence.marks["source"].unique() if owner(name, evidence) == source]
        chosen &= pl.col("source").is_in(names)
    return evidence.marks.filter(chosen).sort("along_m", "across_mm")


def look_nodes(finding: Finding, criterion: Criterion, assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """One node for each source that was counted, with its marks."""
    for source in [look.source for look in finding.looks] or list(sources_of(criterion)):
        look = next((one for one in finding.looks if one.source == source), None)
        rows = counted(finding, criterion, assessment, source)
        values = {"source": source, "listed": rows.height}
        if look is not None:
            values |= {"count": look.count, "area_m2": look.area_m2, "parts": [list(part) for part in look.parts]}
        yield Node(
            kind=Kind.EVIDENCE,
            title=_title(source, look, rows.height),
            facts=(*_look_facts(look, rows.height), *_files(source, finding.extent, origins)),
            children=tuple(mark_nodes(rows, assessment, origins)),
            values=values,
        )


def mark_nodes(rows: pl.DataFrame, assessment: Assessment, origins: Origins) -> Iterator[Node]:
    """Each mark with its place, size and file; what was seen on a sheet as its sighting."""
    seen = {(one.sighting.place.along_m, one.sighting.place.across_mm): one for one in assessment.examination.examined}
    for row in rows.head(_MOST).iter_rows(named=True):
        sighted = seen.get((row["along_m"], row["across_mm"]))
        if row["source"] == SHEETS and sighted is not None:
            yield sighting_node(sighted, assessment, origins)
        else:
            yield _mark(row, origins)
    if rows.height > _MOST:
        yield Node(
            kind=Kind.GROUP,
            title=f"and {rows.height - _MOST} more marks in results/{origins.roll}/marks.parquet, in order along",
        )


def _mark(row: dict[str, Any], origins: Origins) -> Node:
    segment = origins.segment_at(row["along_m"])
    file = "" if segment is None else f"; {segment.name.rpartition('/')[2]}"
    size = f"{number(row['length_mm'])} × {number(row['width_mm'])} mm"
    at = f"{row['along_m']:.3f} m along, {row['across_mm']:.1f} mm across"
    fields = ("id", "along_m", "across_mm", "length_mm", "width_mm", "contrast", "snr", "kind", "polarity", "source")
    return Node(
        kind=Kind.MARK,
        title=f"mark {row['id']}: {row['polarity']} {row['kind']}, {size}, at {at}{file}",
        values={name: row[name] for name in fields} | {"file": None if segment is None else segment.name},
    )


def _title(source: str, look: Looked | None, listed: int) -> str:
    if look is None:
        return f"{source}: {plural(listed, 'mark')} in this part"
    return f"{source}: {plural(look.count, 'mark')} counted in {number(look.area_m2)} m²"


def _look_facts(look: Looked | None, listed: int) -> Iterator[Fact]:
    if look is None:
        return
    if look.detected != DetectedShare():
        told = "; ".join(part for part in (_detected(look.detected), look.detected.why) if part)
        yield Fact(name="finds a mark that is there", value=told)
    if listed > look.count:
        yield Fact(name="beside the count", value=f"{listed} lie in the part; {look.count} in the densest window of it")
    elif listed < look.count:
        yield Fact(name="beside the count", value=f"only {listed} of the {look.count} counted can be named here")


def _detected(found: DetectedShare) -> str:
    """How probably a mark that is there is found."""
    if math.isnan(found.value):
        return "not known"
    ends = f" ({share(found.low)} to {share(found.high)} at {percent(found.confidence)})"
    return share(found.value) + (ends if found.low < found.high else "")


def _files(source: str, extent: Extent, origins: Origins) -> Iterator[Fact]:
    if source != SCAN:
        return
    held = "" if origins.entry is None else f" (SHA-256 {short_hash(origins.entry.outputs.get('marks.parquet', ''))})"
    yield Fact(name="marks", value=f"results/{origins.roll}/marks.parquet{held}")
    hashes = {one.name: one.content for one in origins.inputs}
    parts = [
        f"{one.name.rpartition('/')[2]} {short_hash(hashes.get(one.name, ''))}".strip()
        for one in origins.segments
        if one.along_from_m < extent.along_to_m and one.along_to_m > extent.along_from_m
    ]
    if parts:
        yield Fact(name="scan", value=", ".join(parts))
