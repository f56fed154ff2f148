"""From a decision to what the slitter is asked for: what to avoid, what may be second quality, and how many marks."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from wideroll.release import Decision, Measurand, RegionVerdict, Verdict, marks_in_rolls
from wideroll.roll import Extent
from wideroll.scan import ScanResult
from wideroll.slitting import Avoid, CountLimit, CutPlan, CutRules, SlitWidth, plan_cut
from wideroll.workflow.model import Product, RollCard

__all__ = ["CutRequest", "cut_request", "plan_from", "splices_of"]

_SPLICE_GUARD_M: Final = 0.25
"""Tape and its bumps reach this far on either side (common practice: a hand's breadth or two)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRequest:
    """What ``plan_cut`` is asked for a roll, whatever is wished besides."""

    whole: Extent
    avoid: tuple[Avoid, ...]
    widths: tuple[SlitWidth, ...]
    rules: CutRules
    counts: tuple[CountLimit, ...] = ()


def cut_request(
    decision: Decision,
    whole: Extent,
    product: Product,
    scan: ScanResult | None,
    *,
    splices_m: Sequence[float] = (),
) -> CutRequest | None:
    """What the slitter is asked for, or None for a roll that is rejected.

    Parts on hold, and parts that the scanner did not see, are avoided like parts cut out: nothing may be slit for sale
    that isn't released. What is cut out by criteria that all allow second quality may be in pieces of that. No piece
    holds a splice of the wide roll. The same decision, product, scan and splices give the same request, whether the
    decision is new or was read back.
    """
    if decision.verdict is Verdict.REJECT:
        return None
    return CutRequest(
        whole=whole,
        avoid=(
            *(_avoid(region, decision) for region in decision.regions),
            *_unseen(scan, whole, product.cut_rules.edge_trim_mm),
            *_splices(splices_m, whole),
        ),
        widths=product.widths,
        rules=product.cut_rules,
        counts=tuple(_counts(decision, whole, scan)),
    )


def plan_from(
    decision: Decision,
    whole: Extent,
    product: Product,
    scan: ScanResult | None,
    *,
    splices_m: Sequence[float] = (),
) -> CutPlan | None:
    """The cut that keeps most of what may be sold, or None for a roll that is rejected."""
    asked = cut_request(decision, whole, product, scan, splices_m=splices_m)
    if asked is None:
        return None
    return plan_cut(asked.whole, avoid=asked.avoid, widths=asked.widths, rules=asked.rules, counts=asked.counts)


def splices_of(card: RollCard, scan: ScanResult | None) -> tuple[float, ...]:
    """Those on the roll's card and those the scanner saw, of which the card may know nothing."""
    seen = (splice.extent for splice in (scan.splices if scan else ()) if not splice.dropped)
    return (*card.splices_m, *(end for box in seen for end in (box.along_from_m, box.along_to_m)))


def _avoid(region: RegionVerdict, decision: Decision) -> Avoid:
    """The verdict and the criteria behind it, short enough to stand in a picture."""
    criteria = dict.fromkeys(decision.findings[number].criterion for number in region.findings)
    said = "second quality" if region.second_quality else region.verdict.value
    return Avoid(extent=region.extent, reason=f"{said}: {', '.join(criteria)}", downgrade=region.second_quality)


def _unseen(scan: ScanResult | None, whole: Extent, edge_trim_mm: float) -> Iterator[Avoid]:
    """What the scanner did not see; what the edge trim takes anyway left aside."""
    trim = min(edge_trim_mm, whole.width_mm / 2.0)
    inner = whole.grown(across_mm=-trim)
    for hole in scan.coverage.unseen if scan else ():
        part = hole.extent.meet(inner)
        if part is not None:
            yield Avoid(extent=part, reason=f"not looked at: {hole.why}")


def _splices(splices_m: Sequence[float], whole: Extent) -> Iterator[Avoid]:
    for splice_m in splices_m:
        joint = replace(whole, along_from_m=splice_m, along_to_m=splice_m).grown(along_m=_SPLICE_GUARD_M).meet(whole)
        if joint is not None:
            yield Avoid(extent=joint, reason="splice")


def _counts(decision: Decision, whole: Extent, scan: ScanResult | None) -> Iterator[CountLimit]:
    """What a finished roll may carry of the marks that the scan found."""
    for criterion in decision.criteria if scan else ():
        if scan is not None and criterion.measurand is Measurand.MARK_COUNT:
            marks = marks_in_rolls(criterion, scan.marks, whole)
            yield CountLimit(name=criterion.name, most=round(criterion.limit), marks=marks)
