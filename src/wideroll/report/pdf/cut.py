"""The cut sheet as PDF: to print and carry to the slitter."""

from collections.abc import Iterator

from wideroll.release.model import Verdict
from wideroll.report.caution import SLITTER_CAUTION
from wideroll.report.cut_head import CutHead, CutStatus
from wideroll.report.cut_sheet import STATUS_WORDS, CutParts, cut_parts
from wideroll.report.cut_words import SLITTER_ZERO, datum_sentence, label_words
from wideroll.report.pdf.parts import Part, caution, columned, do, heading, picture, table, verdict, words
from wideroll.report.pdf.sealed import Sealed, clock_words
from wideroll.report.pdf.typesetting import AttachedFile, PdfSheet, typeset
from wideroll.slitting.model import CutPlan

__all__ = ["cut_pdf"]

_STYLE = {
    CutStatus.RELEASED: Verdict.RELEASE,
    CutStatus.PROVISIONAL: Verdict.HOLD,
    CutStatus.REJECTED: Verdict.REJECT,
    CutStatus.WHAT_IF: Verdict.HOLD,
}


def cut_pdf(plan: CutPlan | None, head: CutHead, sealed: Sealed, *, document: bytes) -> bytes:
    """Caution, status, knives, picture, what to do with each knife set, yield, and what the rewinder does.

    Args:
        plan: the recorded cut; None where nothing may be cut.
        head: whose it is, whether it may be slit by, and its units.
        sealed: the decision it was made from.
        document: cut.json as it was sealed.

    Raises:
        InputError: when typst isn't installed.
    """
    return typeset(
        PdfSheet(
            title=f"Cut list of roll {head.roll}",
            about=f"Cut list of roll {head.roll}, {head.status}.",
            author=sealed.last.who,
            when_utc=sealed.last.when_utc,
            foot=f"Roll {head.roll}: cut list, {head.status} (event {sealed.last.number})",
            warning=head.warning,
            parts=list(_parts(plan, head, sealed)),
            files=[AttachedFile(name="cut.json", data=document, about="The cut list for machines, as it was sealed.")],
        )
    )


def _parts(plan: CutPlan | None, head: CutHead, sealed: Sealed) -> Iterator[Part]:
    facts = [one for one in (head.product, head.plant) if one] + [f"{name} {value}" for name, value in head.facts]
    yield words(" · ".join(facts), muted=True)
    yield caution(SLITTER_CAUTION)
    _, _, word, why = STATUS_WORDS[head.status]
    yield verdict(_STYLE[head.status], word, why)
    if plan is None:
        yield words("Nothing of this roll is cut.")
    else:
        cut = cut_parts(plan, head)
        yield from _setting_up(cut, head)
        yield from _slitting(cut)
        yield from _yield(cut)
        yield from _rewinding(cut)
    act = sealed.last
    yield words(
        f"Event {act.number} of the record, {act.act}, by {act.who}, {clock_words(act.when_utc)}. Site procedure, "
        "local code and licensed practice rule over this list.",
        size=8.5,
        muted=True,
    )


def _setting_up(cut: CutParts, head: CutHead) -> Iterator[Part]:
    yield words(cut.work)
    if cut.sets:
        yield words(label_words(head))
        yield words(datum_sentence(head.datum_edge))
        yield words(SLITTER_ZERO)
    yield table(cut.table)
    if cut.knives:
        yield heading("Where the knives stand")
        yield from (table(knives) for knives in cut.knives)
    yield picture(cut.picture)
    yield from (picture(one) for one in cut.details)


def _slitting(cut: CutParts) -> Iterator[Part]:
    for one in cut.sets:
        yield heading(one.title)
        yield words(one.begin, leads=True)
        for pieces, end in one.runs:
            yield table(pieces)
            yield do(end)


def _yield(cut: CutParts) -> Iterator[Part]:
    yield heading("What it yields")
    yield words(cut.worth, leads=True)
    yield from (table(grid) for grid in (cut.yields, cut.losses, cut.counts) if grid is not None)


def _rewinding(cut: CutParts) -> Iterator[Part]:
    if cut.rewound:
        yield heading("At the rewinder", page=True)
        yield words(cut.rewinding)
    for run in cut.rewound:
        yield heading(run.title, level=2)
        yield columned((table(lane) for lane in run.lanes), count=3)
