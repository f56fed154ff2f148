"""Whether the roll was looked at, and whether there is enough usable evidence for each part of it."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wideroll.release.ground import (
    across_whole,
    area_within_m2,
    joined_alike,
    outside,
    seen_along,
    unseen_parts,
    why_unseen,
)
from wideroll.release.model import NEEDED, Consequence, Criterion, Evidence, Measurand, Missing, Reason, Verdict
from wideroll.release.ruling import NOTHING, Found, Ruling, Word, absent, rule
from wideroll.release.words import number, percent, plural, share, where
from wideroll.roll import Coverage, Extent, Unseen

__all__ = ["NEEDED_CRITERION", "judge_count", "judge_coverage", "judge_needed", "nothing_seen"]

SCAN: Final = "scan"
_RIM_MM: Final = 20.0
_LEAST_HOLE_M: Final = 0.05
_ROUNDING: Final = 1e-9
_WEIGHS: Final = (Measurand.COVERAGE, Measurand.EVIDENCE_COUNT, Measurand.READING)
"""Criteria that hold when evidence of their subject is missing."""

NEEDED_CRITERION: Final = Criterion(
    name=NEEDED,
    measurand=Measurand.EVIDENCE_COUNT,
    limit=1.0,
    unit="pieces",
    consequence=Consequence.HOLD,
    subject=NEEDED,
)
"""Stands in findings about what no criterion speaks of."""


def judge_coverage(criterion: Criterion, evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """The share that the source looked at of all that isn't cut out; too little holds each unseen part."""
    whole, subject = evidence.whole, criterion.subject
    coverage = evidence.coverage.get(subject)
    if coverage is None:
        found = Found(value=0.0, low=0.0, high=0.0, margin=-criterion.limit)
        return [absent(criterion, evidence, whole, (subject,), found=found)]
    left = whole.area_m2 - area_within_m2(whole, cuts)
    seen = min(seen_along(whole, coverage, cuts).total_m2 / left, 1.0)
    found = Found(value=seen, low=seen, high=seen, margin=seen - criterion.limit)
    told = f"the {subject} looked at {share(seen, beside=criterion.limit)} of {number(left)} m²"
    if seen >= criterion.limit - _ROUNDING:
        why = f"{told}, at least the {percent(criterion.limit)} needed"
        return [
            rule(
                criterion,
                found,
                Word(Verdict.RELEASE, Reason.WITHIN_LIMIT, why),
                extent=whole,
                source=subject,
            )
        ]
    parts = joined_alike(unseen_parts(whole, coverage, cuts))
    largest = max(parts, key=lambda part: part.extent.area_m2, default=None)
    example = "" if largest is None else f", the largest {where(largest.extent, whole)} ({largest.why})"
    brief = f"{told}, less than the {percent(criterion.limit)} needed"
    why = f"{brief}: {plural(len(parts), 'part')} unseen{example}"
    parts = parts or (Unseen(extent=whole, why="only slivers below 1 mm are unseen"),)
    word = Word(Verdict.HOLD, Reason.NOT_LOOKED_AT, why, brief=brief)
    return [_unseen(criterion, found, subject, parts, word=word, extent=whole)]


def _hold_unseen(
    criterion: Criterion, evidence: Evidence, sources: Sequence[str], cuts: Sequence[Extent]
) -> list[Ruling]:
    """Hold each stretch of at least the criterion's window in which none of the sources saw anything."""
    whole, told = evidence.whole, " and ".join(sources) or "evidence"
    if nothing_seen(evidence, sources):
        return [absent(criterion, evidence, whole, sources or ("evidence",))]
    covers = [evidence.coverage[source] for source in sources if source in evidence.coverage]
    rulings: list[Ruling] = []
    for stretch in _blind_stretches(whole, covers, min(criterion.window_m, whole.length_m)):
        reason = why_unseen([stretch], [hole for coverage in covers for hole in coverage.unseen])[0]
        parts = tuple(Unseen(extent=part, why=reason) for part in outside(stretch, cuts))
        if parts:
            brief = f"the {told} saw nothing of {where(stretch, whole)}"
            word = Word(Verdict.HOLD, Reason.NOT_LOOKED_AT, f"{brief}: {reason}", brief=brief)
            rulings.append(_unseen(criterion, NOTHING, told, parts, word=word, extent=stretch))
    return rulings


def nothing_seen(evidence: Evidence, sources: Sequence[str]) -> bool:
    """Whether none of the sources looked at any part of the roll."""
    covers = [evidence.coverage[source] for source in sources if source in evidence.coverage]
    return all(seen_along(evidence.whole, coverage).total_m2 <= 0.0 for coverage in covers)


def judge_count(criterion: Criterion, evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """Usable pieces of evidence for each stretch that isn't wholly cut out; stretches that nobody counted have none."""
    whole, subject = evidence.whole, criterion.subject
    counts = evidence.counts.get(subject, ())
    nobody = [(part, 0) for part in outside(whole, [extent for extent, _ in counts])]
    inside = [(part, pieces) for extent, pieces in counts if (part := extent.meet(whole))]
    left = [(extent, pieces) for extent, pieces in (*inside, *nobody) if outside(extent, cuts)]
    short = [(extent, pieces) for extent, pieces in left if pieces < criterion.limit]
    if short:
        return [_short(criterion, evidence, extent, pieces) for extent, pieces in short]
    extent, pieces = min(left, key=lambda stretch: (stretch[1], stretch[0]), default=(whole, 0))
    why = f"usable {subject}: {pieces} at the fewest, for {where(extent, whole)}; {_least(criterion)} needed"
    return [
        rule(
            criterion,
            _pieces(criterion, pieces),
            Word(Verdict.RELEASE, Reason.WITHIN_LIMIT, why),
            extent=extent,
            source=subject,
        )
    ]


def judge_needed(criteria: Sequence[Criterion], evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """What no criterion speaks of, but nobody may release without.

    Evidence that is said to be missing, of a subject that no criterion weighs; and, where no criterion says how much
    must be looked at, each stretch of a metre that no source looked at and each larger hole in the scan.
    """
    weighed = {criterion.subject for criterion in criteria if criterion.measurand in _WEIGHS}
    gone = [item for item in evidence.missing if item.subject not in weighed and _left(item.extent, evidence, cuts)]
    places = dict.fromkeys((item.subject, item.extent) for item in gone)
    none = Found(value=0.0, low=0.0, high=0.0, margin=-1.0)
    rulings = [absent(NEEDED_CRITERION, evidence, extent, (subject,), found=none) for subject, extent in places]
    if not any(criterion.measurand is Measurand.COVERAGE for criterion in criteria):
        rulings += _hold_unseen(NEEDED_CRITERION, evidence, tuple(evidence.coverage), cuts)
        held = [part for ruling in rulings for part in ruling.regions]
        rulings += _hold_holes(evidence, [*cuts, *held])
    return rulings


def _hold_holes(evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """Hold what the scan did not see and no other source saw; not the narrow rim that the edge trim takes."""
    scan = evidence.coverage.get(SCAN)
    if scan is None or nothing_seen(evidence, (SCAN,)):
        return []
    others = [box for source, cover in evidence.coverage.items() if source != SCAN for box in cover.seen]
    parts = [
        part
        for part in joined_alike(unseen_parts(evidence.whole, scan, [*cuts, *others]))
        if part.extent.width_mm >= _RIM_MM and part.extent.length_m >= _LEAST_HOLE_M
    ]
    if not parts:
        return []
    largest = max(parts, key=lambda part: part.extent.area_m2)
    brief = f"the {SCAN} did not see {where(largest.extent, evidence.whole)} ({largest.why})"
    more = f" and {plural(len(parts) - 1, 'more part')}" if len(parts) > 1 else ""
    word = Word(Verdict.HOLD, Reason.NOT_LOOKED_AT, f"{brief}{more}", brief=brief)
    return [_unseen(NEEDED_CRITERION, NOTHING, SCAN, parts, word=word, extent=largest.extent)]


def _unseen(
    criterion: Criterion, found: Found, source: str, parts: Sequence[Unseen], *, word: Word, extent: Extent
) -> Ruling:
    return rule(
        criterion,
        found,
        word,
        extent=extent,
        source=source,
        regions=[part.extent for part in parts],
        missing=[
            Missing(
                subject=source,
                extent=part.extent,
                void=False,
                why=part.why,
                mend=f"Bring evidence ({source}) for this part, or cut it out.",
            )
            for part in parts
        ],
    )


def _short(criterion: Criterion, evidence: Evidence, extent: Extent, pieces: int) -> Ruling:
    few = f"{pieces} of {_least(criterion)}" if pieces else ""
    found = _pieces(criterion, pieces)
    return absent(criterion, evidence, extent, (criterion.subject,), found=found, short=few)


def _least(criterion: Criterion) -> str:
    return f"at least {number(criterion.limit)}"


def _pieces(criterion: Criterion, pieces: int) -> Found:
    return Found(value=pieces, low=pieces, high=pieces, margin=pieces - criterion.limit)


def _left(extent: Extent, evidence: Evidence, cuts: Sequence[Extent]) -> bool:
    part = extent.meet(evidence.whole)
    return part is not None and bool(outside(part, cuts))


def _blind_stretches(whole: Extent, covers: Sequence[Coverage], least_m: float) -> list[Extent]:
    """Stretches in which the area seen doesn't grow, full width."""
    seen = [seen_along(whole, coverage) for coverage in covers]
    borders = np.unique(np.concatenate([cover.borders_m for cover in seen]))
    blind = np.all([cover.between(borders[:-1], borders[1:]) <= 0.0 for cover in seen], axis=0)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], blind, [False])).astype(np.int8)))
    spans = zip(borders[edges[::2]].tolist(), borders[edges[1::2]].tolist(), strict=True)
    return [across_whole(whole, start, end) for start, end in spans if end - start >= least_m]
