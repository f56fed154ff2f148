"""The page of a roll's cut: the one that stands, made for the roll alone or for the order book."""

from dataclasses import replace
from typing import Any, Final

from wideroll.acts.shown_page import ShownPage
from wideroll.release.model import Verdict
from wideroll.report import CutHead, cut_head_of
from wideroll.report.caution import SLITTER_CAUTION
from wideroll.report.cut_grids import cut_grid, regions_grid
from wideroll.report.cut_picture import cut_caption, cut_frame, draw_cut
from wideroll.report.cut_words import SLITTER_ZERO, datum_sentence, label_words, work_sentence, worth_sentence
from wideroll.report.cut_yield import counts_grid, losses_grid, yield_grid
from wideroll.report.knife_grids import all_knives_grid, sets_grid
from wideroll.report.machine import plain
from wideroll.report.page import PageFigure
from wideroll.report.svg import slug
from wideroll.slitting import CutPlan
from wideroll.workflow import Assessment

__all__ = ["BOOK_FACTS", "cut_setting", "fill_cut"]

BOOK_FACTS: Final = (("planned for", "the order book"),)


def fill_cut(page: ShownPage, found: Assessment) -> None:
    """Picture, work, knives, cut list, yields and losses of the cut that stands.

    Args:
        page: to fill.
        found: behind the decision, with the cut that stands.
    """
    plan = found.plan
    if plan is None:
        page.text("No cut is planned for this roll.")
        return
    head = replace(cut_head_of(found), facts=BOOK_FACTS if plan.of_book else ())
    if found.decision.verdict is Verdict.HOLD:
        page.text(
            "Provisional: the roll is on hold; the plan leaves out what is held. Don't slit before it is released."
        )
    page.caution(SLITTER_CAUTION)
    page.setting("cut", cut_setting(plan, head))
    page.figure(
        "picture",
        PageFigure(
            svg=draw_cut(plan, head, key=f"cut-{slug(head.roll)}"),
            caption=cut_caption(plan, head.currency),
            data=(regions_grid(plan, head.units),),
        ),
        "film that is avoided or downgraded",
    )
    for fact in (work_sentence(plan), worth_sentence(plan, head.currency)):
        page.text(fact)
    _tables(page, plan, head)
    for fact in (label_words(head), datum_sentence(head.datum_edge), SLITTER_ZERO):
        page.text(fact)


def _tables(page: ShownPage, plan: CutPlan, head: CutHead) -> None:
    units = head.units
    page.table("yield", yield_grid(plan, units, head.currency))
    page.table("losses", losses_grid(plan, units))
    if plan.counts and plan.pieces:
        page.table("counts", counts_grid(plan))
    page.table("sets", sets_grid(plan, units))
    page.table("knives", all_knives_grid(plan, units))
    page.table("pieces", cut_grid(plan, units))


def cut_setting(plan: CutPlan, head: CutHead) -> dict[str, Any]:
    """Where the web lies on the cut picture, where knives may stand, and the units people write in.

    Args:
        plan: as it is drawn.
        head: as it is drawn with.
    """
    return {
        "frame": plain(cut_frame(plan, head)),
        "units": plain(head.units),
        "knife_first_mm": plan.whole.across_from_mm + plan.rules.edge_trim_mm,
        "knife_step_mm": plan.rules.knife_step_mm,
        "widths": [width.name for width in plan.widths],
        "of_book": plan.of_book,
        "datum_edge": head.datum_edge,
    }
