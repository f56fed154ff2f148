"""The decision sheet as PDF: the same tables and figures as the page, in the order in which they are needed."""

from collections.abc import Iterator
from typing import Final

from wideroll.release.model import Verdict
from wideroll.report import cost_grids, decision_grids, detection_grids, dye_grids, evidence_grids, repeat_grids
from wideroll.report.caution import ROLLER_CAUTION
from wideroll.report.curves import CURVES_GUIDE
from wideroll.report.matching_words import matching_text
from wideroll.report.pdf.parts import (
    Part,
    caution,
    heading,
    lines_to_sign,
    picture,
    pictures,
    table,
    verdict,
    words,
)
from wideroll.report.pdf.sealed import Sealed, record_parts
from wideroll.report.pdf.typesetting import PdfSheet, typeset
from wideroll.report.quantities import show_share
from wideroll.report.sheet import (
    curve_figures,
    cut_part,
    map_figure,
    provenance_grid,
    repeat_parts,
    size_words,
    strips_left_out,
)
from wideroll.workflow.model import Assessment

__all__ = ["decision_pdf"]

_FOOT: Final = (
    "Parts not looked at are not taken to be good. Site procedure, local code and licensed practice rule over this "
    "sheet."
)
_PROVISIONAL: Final = (
    "Provisional: the roll is on hold; the plan leaves out what is held. Don't slit before it is released."
)


def decision_pdf(assessment: Assessment, sealed: Sealed) -> bytes:
    """Verdict, why, what wasn't looked at, map, series, costs, evidence, cut, and the decision's place in the record.

    Args:
        assessment: from which the decision was made.
        sealed: the decision as it stands.

    Raises:
        InputError: when typst isn't installed.
    """
    name, decision = assessment.card.name, assessment.decision
    return typeset(
        PdfSheet(
            title=f"Decision sheet of roll {name}",
            about=f"{decision.verdict.value}: {decision.why}",
            author=sealed.decision.who,
            when_utc=sealed.when_utc,
            foot=f"Roll {name}: decision sheet, {decision.verdict.value} (event {sealed.decision.number})",
            parts=list(_parts(assessment, sealed)),
            files=sealed.files(),
        )
    )


def _parts(assessment: Assessment, sealed: Sealed) -> Iterator[Part]:
    yield from _verdict(assessment)
    yield from _unseen(assessment)
    yield heading("Map of the roll")
    yield picture(map_figure(assessment))
    yield from _repeats(assessment)
    if assessment.costs is not None:
        costs = cost_grids.costs_grid(assessment.costs)
        yield heading("Expected costs")
        yield table(costs)
        yield from (words(line) for line in costs.foot)
    yield from _strips(assessment)
    yield heading("Sightings")
    yield table(evidence_grids.sightings_grid(assessment.examination.examined))
    if assessment.examination.matching is not None:
        yield words(matching_text(assessment.examination.matching))
    yield from _cut(assessment)
    yield heading("Where this comes from")
    yield table(provenance_grid(assessment))
    yield heading("The record")
    yield from record_parts(sealed)
    yield lines_to_sign()
    yield words(_FOOT, size=8.5, muted=True)


def _verdict(assessment: Assessment) -> Iterator[Part]:
    decision = assessment.decision
    yield words(f"{assessment.product.name} · {size_words(assessment)} · {assessment.plant.name}", muted=True)
    yield verdict(decision.verdict, decision.verdict.value, decision.why)
    yield words(f"{show_share(decision.released_share)} of the roll's area is released.")
    yield heading("Why")
    yield table(decision_grids.decision_grid(decision))
    yield table(decision_grids.regions_grid(decision, assessment.whole))


def _unseen(assessment: Assessment) -> Iterator[Part]:
    decision = assessment.decision
    yield heading("What was not looked at, and what is missing")
    yield table(decision_grids.coverage_grid(decision.coverage, assessment.whole))
    yield table(decision_grids.missing_grid(decision.missing, assessment.whole))
    yield table(detection_grids.detected_grid(assessment.detected))


def _repeats(assessment: Assessment) -> Iterator[Part]:
    repeats = repeat_parts(assessment)
    yield heading("Repeats")
    if repeats:
        yield caution(ROLLER_CAUTION)
    yield table(repeat_grids.series_grid(assessment.repeats))
    for one in repeats:
        yield heading(one.title, level=2)
        yield words(f"{'; '.join(one.facts)}.")
        yield table(one.candidates)
        if one.figure is not None:
            yield picture(one.figure)


def _strips(assessment: Assessment) -> Iterator[Part]:
    room, curves = assessment.strip_room, curve_figures(assessment)
    yield heading("Strips")
    yield table(evidence_grids.strips_grid(room.results))
    if dye_grids.has_dyes(room.results):
        yield table(dye_grids.dyes_grid(room.results, room.runs))
    if left_out := strips_left_out(assessment):
        yield words(left_out)
    if curves:
        yield words(CURVES_GUIDE)
        yield pictures(curves)
    else:
        yield words("No curves are drawn: no strip of this roll is usable.")
    yield heading("Process runs", level=2)
    yield table(evidence_grids.runs_grid(room.runs, room.processors))


def _cut(assessment: Assessment) -> Iterator[Part]:
    cut = cut_part(assessment)
    yield heading("Cut")
    if cut is None:
        yield words("No cut is planned for this roll.")
        return
    if assessment.decision.verdict is Verdict.HOLD:
        yield words(_PROVISIONAL, strong=True, leads=True)
    yield picture(cut.picture)
    yield from (words(fact) for fact in cut.facts)
    yield words(cut.datum)
    yield words("The cut sheet, with knives, pieces and labels, is printed by itself.")
    yield table(cut.yields)
    yield table(cut.losses)
