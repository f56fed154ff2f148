"""What was found and no criterion names: it is held, because silence about it would read as consent."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import polars as pl

from wideroll.release.clusters import hull, joined_near
from wideroll.release.counting import RATES, on_roll, owner, sources_of, uncut
from wideroll.release.ground import outside
from wideroll.release.looked_at import NEEDED_CRITERION
from wideroll.release.model import GRADED, SIGHTED, Criterion, Evidence, Flaw, Measurand, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, rule
from wideroll.release.words import number, plural, where
from wideroll.roll import EXTENDED_KINDS, MARK_KINDS, Extent

__all__ = ["judge_unnamed"]

_GUARD_M: Final = 0.1
_GUARD_MM: Final = 10.0
_MOST_PARTS: Final = 12
_PARTS_NAMED: Final = 3


def judge_unnamed(criteria: Sequence[Criterion], evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """One ruling for each kind of mark or flaw that was found outside what is cut out and that no criterion names.

    A kind of mark is named by a criterion for a rate or for marks in a finished roll (of the marks' own source; with no
    kinds it names all) or by a forbidden one, a kind of flaw by one for flaws or a forbidden one. What examiners saw
    stands among marks and among flaws, so that naming it in either, or its grade, is enough. Size plays no part: a
    criterion that names a kind from a least size on has said what it thinks of smaller ones. The places are held with
    0.1 m along and 10 mm across.
    """
    return [*_marks(criteria, evidence, cuts), *_flaws(criteria, evidence, cuts)]


def _marks(criteria: Sequence[Criterion], evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    pairs = evidence.marks.select(pl.col("kind").cast(pl.String), "source").unique().rows()
    silent: dict[str, list[str]] = {}
    sighted = {(flaw.kind, flaw.source) for flaw in evidence.flaws}
    for kind, source in pairs:
        if (f"{SIGHTED} {kind}", source) in sighted:
            continue
        if not any(_names(criterion, kind, owner(source, evidence)) for criterion in criteria):
            silent.setdefault(kind, []).append(source)
    kinds = [kind for kind in MARK_KINDS if kind in silent]
    rulings = (_of_kind(evidence, kind, silent[kind], cuts) for kind in kinds)
    return [ruling for ruling in rulings if ruling is not None]


def _names(criterion: Criterion, kind: str, source: str) -> bool:
    """Whether the criterion speaks of marks of the kind from the source."""
    if criterion.measurand is Measurand.FORBIDDEN:
        return kind in criterion.kinds
    if criterion.measurand not in (*RATES, Measurand.MARK_COUNT) or source not in sources_of(criterion):
        return False
    return kind in criterion.kinds or not criterion.kinds


def _of_kind(evidence: Evidence, kind: str, sources: Sequence[str], cuts: Sequence[Extent]) -> Ruling | None:
    mine = on_roll(evidence) & (pl.col("kind").cast(pl.String) == kind) & pl.col("source").is_in(sources)
    rows = evidence.marks.filter(mine).sort("along_m", "across_mm", "source")
    rows = rows.filter(pl.Series(uncut(rows, cuts)))
    if not rows.height:
        return None
    boxes = [_box(*row) for row in rows.select("along_m", "length_mm", "across_mm", "width_mm").iter_rows()]
    largest = float(rows.select(pl.max_horizontal("length_mm", "width_mm").max()).item())
    size = f", {'the largest ' if rows.height > 1 else ''}{number(largest)} mm"
    return _ruling(evidence, kind, "mark", boxes, size=size, source=" and ".join(sorted(sources)))


def _flaws(criteria: Sequence[Criterion], evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    of = (Measurand.FLAW, Measurand.FORBIDDEN)
    named = {kind for criterion in criteria if criterion.measurand in of for kind in criterion.kinds}
    left: dict[str, list[Flaw]] = {}
    for flaw in evidence.flaws:
        if (
            flaw.kind not in named
            and not _named_as_mark(criteria, flaw, evidence)
            and _is_left(flaw.extent, evidence.whole, cuts)
        ):
            left.setdefault(flaw.kind, []).append(flaw)
    return [
        _ruling(evidence, kind, "flaw", [flaw.extent for flaw in flaws], size="", source=flaws[0].source)
        for kind, flaws in sorted(left.items())
    ]


def _named_as_mark(criteria: Sequence[Criterion], flaw: Flaw, evidence: Evidence) -> bool:
    """Whether what was sighted is counted by a rate, as only on sheets that were drawn, or judged by its grade."""
    told, _, kind = flaw.kind.partition(" ")
    graded = (c for c in criteria if c.measurand is Measurand.GRADE)
    if told == GRADED or (told == SIGHTED and any(kind in criterion.kinds for criterion in graded)):
        return True
    if kind in EXTENDED_KINDS:
        return False
    sampled = evidence.sampled.get(flaw.source)
    if sampled is not None and not any(box.meet(flaw.extent) for box in sampled.seen):
        return False
    counting = (c for c in criteria if c.measurand in RATES)
    return told == SIGHTED and any(_names(criterion, kind, flaw.source) for criterion in counting)


def _is_left(extent: Extent, whole: Extent, cuts: Sequence[Extent]) -> bool:
    part = extent.grown(along_m=0.001, across_mm=1.0).meet(whole)
    return part is None or bool(outside(part, cuts))


def _box(along_m: float, length_mm: float, across_mm: float, width_mm: float) -> Extent:
    return Extent(
        along_from_m=along_m - length_mm / 2000.0,
        along_to_m=along_m + length_mm / 2000.0,
        across_from_mm=across_mm - width_mm / 2.0,
        across_to_mm=across_mm + width_mm / 2.0,
    )


def _ruling(evidence: Evidence, kind: str, word: str, boxes: Sequence[Extent], *, size: str, source: str) -> Ruling:
    whole = evidence.whole
    guarded = [box.grown(along_m=_GUARD_M, across_mm=_GUARD_MM).meet(whole) or whole for box in boxes]
    parts = joined_near(guarded, _MOST_PARTS)
    places = "; ".join(where(part, whole) for part in parts[:_PARTS_NAMED])
    more = f"; and {len(parts) - _PARTS_NAMED} more" if len(parts) > _PARTS_NAMED else ""
    told = f"{plural(len(boxes), word)} of the kind {kind}{size}, which no criterion names"
    them = "the part" if len(parts) == 1 else "the parts"
    found = Found(value=len(boxes), low=len(boxes), high=len(boxes), margin=math.nan)
    return rule(
        replace(NEEDED_CRITERION, limit=math.nan, unit=f"{word}s"),
        found,
        Word(
            Verdict.HOLD,
            Reason.NOT_JUDGED,
            f'{told}, at {places}{more}. Name "{kind}" in a criterion of the product, or cut {them} out.',
            brief=f"{told}, {'first ' if len(parts) > 1 else ''}at {where(parts[0], whole)}",
        ),
        extent=hull(parts),
        source=source,
        regions=parts,
    )
