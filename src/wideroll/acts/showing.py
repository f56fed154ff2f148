"""What the pages of a decided roll show, made once from the assessment behind the decision and kept beside it.

``results/<roll>/shown/`` holds a file for each page, ``<page>.json``, with its headings, sentences, tables and
figures in order, and the pictures of the figures. It can be made again at any time and is no part of the record.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from wideroll.acts.deciding import Planned
from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import assessment_behind
from wideroll.acts.showing_cut import fill_cut
from wideroll.acts.showing_strips import fill_strips
from wideroll.acts.shown_page import SHOWN_SCHEMA, ShownPage
from wideroll.errors import InputError
from wideroll.record import digest
from wideroll.report import (
    cost_grids,
    decision_grids,
    detection_grids,
    evidence_grids,
    repeat_grids,
)
from wideroll.report.caution import ROLLER_CAUTION
from wideroll.report.matching_words import matching_text
from wideroll.report.quantities import show_share
from wideroll.report.sheet import (
    map_figure,
    provenance_grid,
    repeat_parts,
    size_words,
)
from wideroll.store import json_bytes, read_bytes, read_json
from wideroll.store.folders import write_folder
from wideroll.workflow import Assessment

__all__ = ["PAGES", "SHOWN", "is_shown", "show_roll"]

SHOWN: Final = "shown"
"""The folder in the roll's results."""
_INDEX: Final = "index.json"
_CUT: Final = "cut.json"


def show_roll(hand: RollInHand, assessment: Assessment | None = None) -> None:
    """Make the pages of a decided roll.

    Args:
        hand: the roll, whose decision stands.
        assessment: what the decision was made from; made again unless given.

    Raises:
        RecordError: when the decision made again isn't the one that stands.
    """
    index = {
        "schema": SHOWN_SCHEMA,
        "fingerprint": hand.fingerprint,
        "cut": digest(read_bytes(hand.results.path / _CUT)),
    }
    behind = _with_standing_cut(hand, assessment_behind(hand, assessment))
    files: dict[str, bytes] = {}
    for name, fill in PAGES.items():
        page = ShownPage(name)
        fill(page, behind)
        files |= page.pictures
        document = {"schema": SHOWN_SCHEMA, "page": name, "blocks": page.blocks}
        files[f"{name}.json"] = json_bytes(document, sort_keys=False)
    files[_INDEX] = json_bytes({**index, "size": size_words(behind)})
    write_folder(hand.results.path / SHOWN, files)


def _with_standing_cut(hand: RollInHand, behind: Assessment) -> Assessment:
    """A cut recorded for the order book stands in the place of the one that was made with the decision."""
    planned = hand.results.load("state/plan", Planned, hand.fingerprint)
    return behind if planned is None else replace(behind, plan=planned.plan)


def _decision(page: ShownPage, found: Assessment) -> None:
    decision = found.decision
    grid = decision_grids.decision_grid(decision)
    page.text(f"{show_share(decision.released_share)} of the roll's area is released.")
    page.table("criteria", grid)
    if grid.left_out:
        every = len(decision.findings) + 1
        whole = decision_grids.decision_grid(decision, most_per_criterion=every, most_released=every)
        page.table("findings", whole, folded=f"All findings, {len(whole.rows)} rows")
    page.heading("What was not looked at, and what is missing")
    page.table("coverage", decision_grids.coverage_grid(decision.coverage, found.whole))
    page.table("missing", decision_grids.missing_grid(decision.missing, found.whole))
    page.table("detected", detection_grids.detected_grid(found.detected))
    page.heading("Where")
    page.figure("map", map_figure(found), "marks and streaks")
    page.table("regions", decision_grids.regions_grid(decision, found.whole))
    if found.costs is not None:
        page.heading("Expected costs")
        page.table("costs", cost_grids.costs_grid(found.costs))
    page.heading("Where this comes from")
    page.table("provenance", provenance_grid(found))


def _examination(page: ShownPage, found: Assessment) -> None:
    page.table("sightings", evidence_grids.sightings_grid(found.examination.examined))
    matching = found.examination.matching
    page.text("" if matching is None else matching_text(matching))


def _repeats(page: ShownPage, found: Assessment) -> None:
    parts = repeat_parts(found)
    if parts:
        page.caution(ROLLER_CAUTION)
    page.table("series", repeat_grids.series_grid(found.repeats))
    for number, part in enumerate(parts, start=1):
        page.heading(part.title)
        page.text(f"{'; '.join(part.facts)}.")
        page.table(f"candidates-{number}", part.candidates)
        if part.figure is not None:
            page.figure(f"fold-{number}", part.figure, "members of the series")


PAGES: Final[Mapping[str, Callable[[ShownPage, Assessment], None]]] = {
    "decision": _decision,
    "strips": fill_strips,
    "examination": _examination,
    "repeats": _repeats,
    "cut": fill_cut,
}
"""Every page, and what fills it."""


def is_shown(hand: RollInHand) -> bool:
    """Whether the pages are there, made from the evidence as it is now."""
    try:
        index = read_json(hand.results.path / SHOWN / _INDEX)
    except InputError:
        return False
    return bool(index.get("schema") == SHOWN_SCHEMA and index.get("fingerprint") == hand.fingerprint)
