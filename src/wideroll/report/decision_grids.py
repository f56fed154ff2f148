"""What was decided, by which criterion, and what nobody looked at."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from wideroll.release.model import Criterion, Decision, Finding, Measurand, Missing, Reason, Verdict
from wideroll.report.criterion_words import (
    grade_text,
    grades_between,
    is_share,
    limit_text,
    risks_text,
    sure_text,
)
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import (
    ABSENT,
    decimals_for,
    show_interval,
    show_number,
    show_quantity,
    show_share,
    show_span,
)
from wideroll.report.theme import VERDICTS, verdict_sign
from wideroll.roll import Coverage, Extent, union_area_m2, unseen_within

__all__ = [
    "coverage_grid",
    "decision_grid",
    "limit_text",
    "missing_grid",
    "place_text",
    "regions_grid",
    "risks_text",
    "unknown_grid",
]

_SEVERITY: Final = {Verdict.REJECT: 0, Verdict.CUT_OUT: 1, Verdict.HOLD: 2, Verdict.RELEASE: 3}
_PARTS_NAMED: Final = 6
_MOST_DECIMALS: Final = 6
_UNNAMED_SHARE: Final = 0.001
_SAME_MM: Final = 0.05
_SAME_M: Final = 0.0005


def decision_grid(
    decision: Decision, *, most_per_criterion: int = 12, most_released: int = 2, apart: bool = False
) -> Grid:
    """Criterion, limit, found, interval, margin, verdict: the worst first, no criterion left out.

    Of a criterion with very many findings only the worst are shown, and of those that release only ``most_released``;
    the grid says how many aren't, and beneath a criterion's last row so do its notes. Why a finding holds,
    cuts out or rejects stands under its criterion, or with ``apart`` beneath the table, where a terminal has room.
    """
    findings = sorted(decision.findings, key=_badness)
    seen = Counter(finding.criterion for finding in findings)
    kept = _kept(findings, most_per_criterion, most_released)
    criteria = {criterion.name: criterion for criterion in decision.criteria}
    unjudged = [_unjudged_row(criterion) for criterion in decision.criteria if criterion.name not in seen]
    decimals = _decimals_by_unit(kept, criteria)
    whole = _whole(decision)
    hidden = seen - Counter(finding.criterion for finding in kept)
    last = {finding.criterion: number for number, finding in enumerate(kept)}
    rows = []
    for number, f in enumerate(kept):
        told, unit = replace(f, why="") if apart else f, decimals.get(f.unit, 0)
        row = _finding_row(told, criteria.get(f.criterion), whole, unit, brief=apart)
        rows.append(_with_hidden(row, hidden[f.criterion] if last[f.criterion] == number else 0))
    bad = [f for f in kept if f.verdict is not Verdict.RELEASE and f.why] if apart else []
    return Grid(
        caption="Criteria and what was found, the worst first",
        columns=(
            Column(head="criterion"),
            Column(head="limit", keep=True),
            Column(head="found", number=True),
            Column(head="interval", keep=True),
            Column(head="margin", number=True),
            Column(head="verdict", keep=True),
        ),
        rows=tuple(unjudged + rows),
        empty="The product has no release criteria: nothing could be judged.",
        left_out=len(findings) - len(kept),
        foot=tuple(_told(f) for f in bad),
    )


def _kept(findings: Sequence[Finding], most_per_criterion: int, most_released: int) -> list[Finding]:
    """The first of each criterion, and of those that release fewer."""
    seen: Counter[str] = Counter()
    released: Counter[str] = Counter()
    kept = []
    for finding in findings:
        seen[finding.criterion] += 1
        released[finding.criterion] += finding.verdict is Verdict.RELEASE
        if seen[finding.criterion] <= most_per_criterion and released[finding.criterion] <= most_released:
            kept.append(finding)
    return kept


def missing_grid(missing: Sequence[Missing], whole: Extent | None = None) -> Grid:
    """What evidence is needed and isn't there or can't be used, and what would mend it."""
    return Grid(
        caption="Evidence that is missing or void",
        columns=(Column(head="evidence"), Column(head="where"), Column(head="why"), Column(head="what mends it")),
        rows=tuple(
            (
                Cell(text=item.subject, note="void" if item.void else "missing", tone="strong"),
                Cell(text=place_text(item.extent, whole)),
                Cell(text=item.why),
                Cell(text=item.mend),
            )
            for item in missing
        ),
        empty="None was named.",
    )


def coverage_grid(coverage: dict[str, Coverage], whole: Extent) -> Grid:
    """For each source the share of the roll it looked at, and which parts it did not."""
    return Grid(
        caption="What was and was not looked at",
        columns=(
            Column(head="source", keep=True),
            Column(head="looked at", keep_on_page=True),
            Column(head="not looked at, m²", number=True),
            Column(head="where not, and why"),
        ),
        rows=tuple(_coverage_row(source, cover, whole) for source, cover in sorted(coverage.items())),
        empty="No source looked at any part of this roll.",
    )


def regions_grid(decision: Decision, whole: Extent) -> Grid:
    """The parts that aren't released, numbered as on the map."""
    return Grid(
        caption="Parts of the roll that are not released",
        columns=(
            Column(head="no.", number=True),
            Column(head="along, m"),
            Column(head="across, mm"),
            Column(head="area, m²", number=True),
            Column(head="verdict", keep=True),
            Column(head="why"),
        ),
        rows=tuple(
            (
                Cell(text=str(number)),
                Cell(text=_along(region.extent)),
                Cell(text=_across(region.extent, whole)),
                Cell(text=show_number(region.extent.area_m2, 2)),
                Cell(text=verdict_sign(region.verdict), tone=VERDICTS[region.verdict].css),
                Cell(text=region.why),
            )
            for number, region in enumerate(decision.regions, start=1)
        ),
        empty="None: the verdict holds for the whole roll alike.",
    )


def unknown_grid(decision: Decision) -> Grid:
    """In one table what was not looked at and what evidence is missing or void."""
    whole = _whole(decision)
    looked = coverage_grid(decision.coverage, whole).rows if whole else ()
    rows = [
        (
            Cell(text=source.text, note=f"{share.text} looked at", tone="strong"),
            where,
            Cell(text=f"{area.text} m² unseen"),
        )
        for source, share, area, where in looked
    ]
    for what, place, why, mend in missing_grid(decision.missing, whole).rows:
        rows.append((what, place, Cell(text=why.text, note=mend.text)))
    return Grid(
        caption="Not looked at, missing or void",
        columns=(Column(head="evidence"), Column(head="where"), Column(head="what, and what mends it")),
        rows=tuple(rows),
        empty="No source of evidence is named.",
    )


def place_text(extent: Extent, whole: Extent | None) -> str:
    """Where a part lies; the direction in which it fills ``whole`` isn't repeated."""
    if whole is None:
        return f"{_along(extent)} m, {_across(extent, None)} mm across"
    full_along = _fills(extent.along_from_m, extent.along_to_m, whole.along_from_m, whole.along_to_m, _SAME_M)
    across = _across(extent, whole)
    if full_along and across == "full width":
        return "whole roll"
    along = "whole length" if full_along else f"{_along(extent)} m"
    return along if across == "full width" else f"{along}, {across} mm across"


def _told(finding: Finding) -> str:
    name = "" if finding.why.startswith(finding.criterion) else f"{finding.criterion}: "
    return f"{VERDICTS[finding.verdict].sign} {name}{finding.why}"


def _badness(finding: Finding) -> tuple[int, bool, float, str, Extent]:
    """Sorts by verdict, then by the margin as a share of the limit; what wasn't measured stands before all others."""
    measured = not math.isnan(finding.margin)
    scale = abs(finding.limit)
    if not measured or finding.margin == 0.0:
        share = 0.0
    elif scale > 0.0:
        share = finding.margin / scale
    else:
        share = math.copysign(math.inf, finding.margin)
    return _SEVERITY[finding.verdict], measured, share, finding.criterion, finding.extent


def _finding_row(
    finding: Finding, criterion: Criterion | None, whole: Extent | None, decimals: int, *, brief: bool
) -> tuple[Cell, ...]:
    scale = 100.0 if criterion is not None and is_share(criterion) else 1.0
    counted = criterion is not None and criterion.measurand is Measurand.EVIDENCE_COUNT
    told = finding.verdict is not Verdict.RELEASE and bool(finding.why)
    sure = "" if told else sure_text(finding, criterion, brief=brief)
    note = "; ".join(part for part in (place_text(finding.extent, whole), finding.source, sure) if part)
    if told:
        note = f"{note}: {finding.why}"
    graded = criterion if criterion is not None and criterion.grades else None
    between = show_interval(finding.low * scale, finding.high * scale, decimals, counted=counted)
    return (
        Cell(text=finding.criterion, note=note, tone="strong"),
        Cell(text=limit_text(criterion) if criterion else show_quantity(finding.limit, finding.unit)),
        Cell(text=grade_text(graded, finding.found) if graded else show_number(finding.found * scale, decimals)),
        Cell(text=grades_between(graded, finding.low, finding.high) if graded else between),
        Cell(text=ABSENT if graded else show_number(finding.margin * scale, decimals, signed=True)),
        Cell(text=verdict_sign(finding.verdict), tone=VERDICTS[finding.verdict].css, note=_reason_note(finding)),
    )


def _with_hidden(row: tuple[Cell, ...], hidden: int) -> tuple[Cell, ...]:
    """A criterion's last row, with how many of its findings have none."""
    if not hidden:
        return row
    first = row[0]
    return (replace(first, note=f"{first.note}; {hidden} more of this criterion, none of them worse"), *row[1:])


def _reason_note(finding: Finding) -> str:
    """Why in a few words: a release that reaches past the limit must not look proven, nor one that the cut judges.

    A reading is released by its probability, which its note says; a two-sided interval may reach past all the same.
    """
    if finding.verdict is not Verdict.RELEASE:
        return finding.reason.value.replace("-", " ")
    if finding.reason is Reason.JUDGED_WHEN_CUT:
        return "judged when cut"
    if not math.isnan(finding.conformance):
        return ""
    past = finding.found <= finding.limit < finding.high and finding.limit > 0.0
    return "not shown to be above" if past or finding.reason is Reason.NOT_PROVEN else ""


def _unjudged_row(criterion: Criterion) -> tuple[Cell, ...]:
    hold = VERDICTS[Verdict.HOLD]
    return (
        Cell(text=criterion.name, note="no finding: this criterion was not judged", tone="strong"),
        Cell(text=limit_text(criterion)),
        Cell(text=ABSENT),
        Cell(text=ABSENT),
        Cell(text=ABSENT),
        Cell(text=f"{hold.sign} not judged", tone=hold.css),
    )


def _decimals_by_unit(findings: Sequence[Finding], criteria: Mapping[str, Criterion]) -> dict[str, int]:
    """Decimals for each unit: enough that no margin is rounded to nothing, none where all are whole numbers."""
    by_unit: dict[str, list[tuple[float, float]]] = {}
    for finding in findings:
        criterion = criteria.get(finding.criterion)
        scale = 100.0 if criterion is not None and is_share(criterion) else 1.0
        for value in (finding.found, finding.low, finding.high, finding.margin, finding.limit):
            if math.isfinite(value):
                by_unit.setdefault(finding.unit, []).append((value * scale, finding.margin * scale))
    decimals = {unit: _decimals(pairs) for unit, pairs in by_unit.items()}
    for criterion in criteria.values():
        if criterion.aim and criterion.unit in decimals:  # a tolerance is much finer than what lies within it
            decimals[criterion.unit] = max(decimals[criterion.unit], decimals_for((criterion.limit,), significant=2))
    return decimals


def _decimals(pairs: Sequence[tuple[float, float]]) -> int:
    if all(value.is_integer() for value, _ in pairs):
        return 0
    decimals = max(1, decimals_for((value for value, _ in pairs), significant=2))
    margins = [abs(margin) for _, margin in pairs if math.isfinite(margin) and margin != 0.0]
    while decimals < _MOST_DECIMALS and any(round(margin, decimals) == 0.0 for margin in margins):
        decimals += 1
    return decimals


def _coverage_row(source: str, cover: Coverage, whole: Extent) -> tuple[Cell, ...]:
    share = cover.share(whole)
    holes = [hole for hole in cover.unseen if hole.extent.meet(whole)]
    named = union_area_m2(hole.extent for hole in holes)
    area = (1.0 - share) * whole.area_m2
    parts = [f"{place_text(hole.extent, whole)} ({hole.why})" for hole in holes[:_PARTS_NAMED]]
    if len(holes) > _PARTS_NAMED:
        parts.append(f"and {len(holes) - _PARTS_NAMED} more parts")
    if area - named > _UNNAMED_SHARE * whole.area_m2:
        rest = unseen_within(whole, cover.seen, "")
        parts.append(
            place_text(rest[0].extent, whole) if len(rest) == 1 else f"all between its {len(cover.seen)} samples"
        )
    return (
        Cell(text=source, tone="strong"),
        Cell(text=show_share(share)),
        Cell(text=show_number(area, 2)),
        Cell(text="; ".join(parts) if parts else "nowhere: all of it was looked at"),
    )


def _whole(decision: Decision) -> Extent | None:
    """The smallest rectangle that holds everything judged or looked at: the decision doesn't carry the roll's own."""
    boxes = [finding.extent for finding in decision.findings]
    boxes += [box for cover in decision.coverage.values() for box in cover.seen]
    boxes += [hole.extent for cover in decision.coverage.values() for hole in cover.unseen]
    boxes += [item.extent for item in decision.missing]
    if not boxes:
        return None
    return Extent(
        along_from_m=min(box.along_from_m for box in boxes),
        along_to_m=max(box.along_to_m for box in boxes),
        across_from_mm=min(box.across_from_mm for box in boxes),
        across_to_mm=max(box.across_to_mm for box in boxes),
    )


def _fills(start: float, end: float, whole_start: float, whole_end: float, slack: float) -> bool:
    return start <= whole_start + slack and end >= whole_end - slack


def _along(extent: Extent) -> str:
    ends = (extent.along_from_m, extent.along_to_m)
    decimals = 1 if all(abs(round(end, 1) - end) < _SAME_M for end in ends) else 2
    return show_span(*ends, "", decimals).rstrip()


def _across(extent: Extent, whole: Extent | None) -> str:
    if whole is not None and _fills(
        extent.across_from_mm, extent.across_to_mm, whole.across_from_mm, whole.across_to_mm, _SAME_MM
    ):
        return "full width"
    return show_span(extent.across_from_mm, extent.across_to_mm, "", 0).rstrip()
