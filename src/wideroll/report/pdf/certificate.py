"""The release certificate: what is released of a roll and against which limits, by whom, and how that is proven."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.release.model import Criterion, Decision, Finding, Measurand, Verdict
from wideroll.report.cut_head import CutHead, CutUnits
from wideroll.report.cut_places import finished_rolls
from wideroll.report.cut_yield import counts_grid
from wideroll.report.decision_grids import coverage_grid, decision_grid, missing_grid, regions_grid
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.pdf.parts import Part, columned, heading, lines_to_sign, pairs, steps, table, verdict, words
from wideroll.report.pdf.sealed import Sealed, record_parts
from wideroll.report.pdf.typesetting import PdfSheet, typeset
from wideroll.report.quantities import show_count, show_number, show_share, show_span
from wideroll.roll import Extent
from wideroll.slitting.model import CutPlan, FinishedRoll, Piece, Quality
from wideroll.workflow.model import RollCard

__all__ = ["Certified", "certificate_pdf"]

_RELEASING: Final = {
    Verdict.RELEASE: ("released", "The whole roll is released."),
    Verdict.CUT_OUT: ("released but for parts", "What lies outside the parts listed below is released."),
}
_NOT_SEEN: Final = "Parts not looked at are not taken to be good: what is said of them rests on the parts that were."


@dataclass(frozen=True, slots=True, kw_only=True)
class Certified:
    """A roll whose decision releases it, whole or but for parts."""

    card: RollCard
    whole: Extent
    decision: Decision
    plan: CutPlan | None
    head: CutHead
    sealed: Sealed


def certificate_pdf(one: Certified) -> bytes:
    """The certificate; its attachments are the decision's document and its event.

    Raises:
        ArgumentError: when the decision doesn't release.
        InputError: when typst isn't installed.
    """
    if one.decision.verdict not in _RELEASING:
        raise ArgumentError(
            where="verdict",
            rule="a certificate is of a roll that is released, whole or with parts cut out",
            value=one.decision.verdict,
            mend="Print the decision sheet instead.",
        )
    word, _ = _RELEASING[one.decision.verdict]
    return typeset(
        PdfSheet(
            title=f"Release certificate of roll {one.card.name}",
            about=f"{word}: {one.decision.why}",
            author=one.sealed.decision.who,
            when_utc=one.sealed.when_utc,
            foot=f"Roll {one.card.name}: release certificate (event {one.sealed.decision.number})",
            parts=list(_parts(one)),
            files=one.sealed.files(),
        )
    )


def _parts(one: Certified) -> Iterator[Part]:
    word, what = _RELEASING[one.decision.verdict]
    yield verdict(one.decision.verdict, word, one.decision.why)
    yield pairs(_roll_facts(one))
    if one.card.batches:
        yield table(_batches_grid(one.card))
    yield heading("What is released")
    yield words(f"{what} {_area_words(one)}")
    if one.decision.regions:
        yield table(regions_grid(one.decision, one.whole))
    yield heading("Limits, and what was found in what is released")
    yield table(_criteria_grid(one.decision))
    yield from _apart_words(one.decision)
    yield heading("What was not looked at")
    yield words(_NOT_SEEN)
    yield table(coverage_grid(one.decision.coverage, one.whole))
    if one.decision.missing:
        yield table(missing_grid(one.decision.missing, one.whole))
    yield heading("Who decided")
    yield from record_parts(one.sealed)
    yield heading("How to check this certificate")
    yield steps(_proof(one.sealed))
    yield lines_to_sign()
    yield from _finished(one)


def _roll_facts(one: Certified) -> list[tuple[str, str]]:
    card, whole = one.card, one.whole
    facts = [
        ("roll", card.name),
        ("product", one.head.product),
        ("plant", one.head.plant),
        ("length and width", f"{show_number(whole.length_m, 1)} m × {show_number(whole.width_mm, 0)} mm"),
    ]
    if card.coated:
        facts.append(("coated", card.coated.replace("T", " ")))
    if card.splices_m:
        facts.append(("splices at", f"{', '.join(show_number(at, 2) for at in card.splices_m)} m"))
    return facts


def _batches_grid(card: RollCard) -> Grid:
    return Grid(
        caption="Emulsion batches",
        columns=(Column(head="batch", keep=True), Column(head="along from the head, m", keep=True)),
        rows=tuple(
            (
                Cell(text=batch.name, tone="strong"),
                Cell(text=show_span(batch.along_from_m, batch.along_to_m, "", 2).rstrip()),
            )
            for batch in card.batches
        ),
    )


def _area_words(one: Certified) -> str:
    share, whole_m2 = one.decision.released_share, one.whole.area_m2
    area = f"{show_share(share)} of its area, {show_number(share * whole_m2, 2)} of {show_number(whole_m2, 2)} m²"
    if one.decision.regions:
        return f"That is {area}: what was looked at and no part below names."
    return f"{area}, was looked at."


def _criteria_grid(decision: Decision) -> Grid:
    """Of each criterion the worst finding that releases."""
    apart = {criterion.name for criterion in (*_only_apart(decision), *_when_cut(decision))}
    shown = replace(
        decision,
        findings=tuple(found for found in _releasing(decision) if found.criterion not in apart),
        criteria=tuple(criterion for criterion in decision.criteria if criterion.name not in apart),
    )
    grid = decision_grid(shown, most_per_criterion=1, most_released=1)
    return replace(grid, caption="Each criterion, with the worst that was found in what is released", left_out=0)


def _apart_words(decision: Decision) -> Iterator[Part]:
    if apart := _only_apart(decision):
        names = ", ".join(criterion.name for criterion in apart)
        yield words(
            f"{names}: the film that these find fault with, or leave open, is cut out; they found nothing else."
        )
    if later := _when_cut(decision):
        names = ", ".join(criterion.name for criterion in later)
        yield words(f"{names}: kept by the cut, roll by roll; see the finished rolls.")


def _releasing(decision: Decision) -> list[Finding]:
    return [finding for finding in decision.findings if finding.verdict is Verdict.RELEASE]


def _only_apart(decision: Decision) -> list[Criterion]:
    """Criteria with findings, none of which releases."""
    found = {finding.criterion for finding in decision.findings}
    released = {finding.criterion for finding in _releasing(decision)}
    return [criterion for criterion in decision.criteria if criterion.name in found - released]


def _when_cut(decision: Decision) -> list[Criterion]:
    return [criterion for criterion in decision.criteria if criterion.measurand is Measurand.MARK_COUNT]


def _finished(one: Certified) -> Iterator[Part]:
    yield heading("Finished rolls and where they were coated", page=True)
    if one.plan is None or not one.plan.pieces:
        yield words("No finished roll is planned from this roll.")
        return
    yield words(
        "As the recorded cut list plans them. Along is from the roll's head, across from the datum edge "
        f"({one.head.datum_edge}); the parts of a spliced roll stand in the order the slitter meets them. Labels read "
        f"{one.head.label('number')}; below, “{one.head.roll}/” is left out."
    )
    if one.plan.counts:
        yield table(counts_grid(one.plan))
    yield columned((table(grid) for grid in _finished_grids(one.plan, one.head)), count=2)


def _finished_grids(plan: CutPlan, head: CutHead) -> Iterator[Grid]:
    """One for each width and quality, in the order of the plan's widths."""
    pieces = {piece.number: piece for piece in plan.pieces}
    rolls = dict.fromkeys(finished_rolls(plan)[piece.number] for piece in plan.pieces)
    for width in plan.widths:
        for quality in Quality:
            alike = [roll for roll in rolls if (roll.width, roll.quality) == (width.name, quality)]
            if alike:
                kind = "◇ second quality" if quality is Quality.SECOND else "first quality"
                caption = f"{width.name}, {kind}: {show_count(len(alike), 'finished roll')}"
                yield _finished_grid(caption, alike, pieces, head.units)


def _finished_grid(caption: str, rolls: Sequence[FinishedRoll], pieces: Mapping[str, Piece], units: CutUnits) -> Grid:
    return Grid(
        caption=caption,
        columns=(
            Column(head="label"),
            Column(head=f"length, {units.along}", number=True),
            Column(head=f"along, {units.along}", keep=True),
            Column(head=f"across, {units.across}", keep=True),
        ),
        rows=tuple(
            _finished_row(roll, pieces[number], rank, units)
            for roll in rolls
            for rank, number in enumerate(roll.pieces)
        ),
    )


def _finished_row(roll: FinishedRoll, piece: Piece, rank: int, units: CutUnits) -> tuple[Cell, ...]:
    return (
        Cell(text=roll.number, note=_note(roll, rank), tone="strong"),
        Cell(text=units.show_along(piece.extent.length_m)),
        Cell(text=units.show_stretch(piece.extent.along_from_m, piece.extent.along_to_m)),
        Cell(text=_across(piece.extent, units)),
    )


def _note(roll: FinishedRoll, rank: int) -> str:
    part = f"part {rank + 1} of {len(roll.pieces)}" if roll.splices else ""
    order = f"order {roll.order}" if roll.order else ""
    return "; ".join(filter(None, (part, order)))


def _across(extent: Extent, units: CutUnits) -> str:
    return f"{units.show_across(extent.across_from_mm)} to {units.show_across(extent.across_to_mm)}"


def _proof(sealed: Sealed) -> tuple[str, str, str]:
    number = sealed.decision.number
    signer = "who signed" if sealed.signatures else "who signs the record"
    at_plant = (
        "At the plant: “wideroll record verify PLANT” proves the chain of events, the signatures, and that every file "
        "the decision rests on is still the one that was sealed."
    )
    elsewhere = (
        f"Elsewhere: ask for the bundle of the record and the public key of {signer}. “wideroll record verify "
        f"bundle.zip --key signer.pub” proves it without the plant; event {number} in it must have the digest above."
    )
    this_file = (
        f"In this file: decision.json and event-{number}.json are attached. The SHA-256 of decision.json is the digest "
        f"above, which event-{number}.json names among its outputs. The digest of the event is the SHA-256 of that "
        "JSON without the field “digest”."
    )
    return at_plant, elsewhere, this_file
