"""What the pages of a decided roll show, made once from the assessment behind the decision and kept beside it.

``results/<roll>/shown/`` holds a file for each page, ``<page>.json``, with its headings, sentences, tables and
figures in order, and the pictures of the figures. It can be made again at any time and is no part of the record.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import assessment_behind
from wideroll.errors import InputError
from wideroll.release.model import Verdict
from wideroll.report import (
    cost_grids,
    decision_grids,
    detection_grids,
    dye_grids,
    evidence_grids,
    repeat_grids,
)
from wideroll.report.caution import ROLLER_CAUTION
from wideroll.report.curves import CURVES_GUIDE
from wideroll.report.grid import Grid
from wideroll.report.grid_json import figure_json, grid_json
from wideroll.report.matching_words import matching_text
from wideroll.report.page import PageFigure
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
from wideroll.store import json_bytes, read_json
from wideroll.store.folders import write_folder
from wideroll.workflow import Assessment

__all__ = ["PAGES", "SHOWN", "is_shown", "show_roll"]

SHOWN: Final = "shown"
"""The folder in the roll's results."""
_SCHEMA: Final = "wideroll/shown/1"
_INDEX: Final = "index.json"


@dataclass(slots=True)
class _Page:
    """A page as it grows: blocks in order, and pictures by the name of their file."""

    name: str
    blocks: list[dict[str, Any]] = field(default_factory=list)
    pictures: dict[str, bytes] = field(default_factory=dict)

    def heading(self, words: str) -> None:
        self.blocks.append({"heading": words})

    def text(self, words: str) -> None:
        if words:
            self.blocks.append({"text": words})

    def caution(self, words: str) -> None:
        self.blocks.append({"caution": words})

    def table(self, key: str, grid: Grid, *, folded: str = "") -> None:
        """``folded`` are the words behind which a long table waits."""
        self.blocks.append({"key": key, "table": grid_json(grid), "folded": folded})

    def figure(self, key: str, figure: PageFigure, title: str) -> None:
        name = f"{self.name}-{key}.svg"
        self.pictures[name] = figure.svg.encode()
        self.blocks.append({"key": key, "figure": figure_json(figure, name, title)})


def show_roll(hand: RollInHand, assessment: Assessment | None = None) -> None:
    """Make the pages of a decided roll.

    Args:
        hand: the roll, whose decision stands.
        assessment: what the decision was made from; made again unless given.

    Raises:
        RecordError: when the decision made again isn't the one that stands.
    """
    behind = assessment_behind(hand, assessment)
    files: dict[str, bytes] = {}
    for name, fill in PAGES.items():
        page = _Page(name)
        fill(page, behind)
        files |= page.pictures
        files[f"{name}.json"] = json_bytes({"schema": _SCHEMA, "page": name, "blocks": page.blocks}, sort_keys=False)
    files[_INDEX] = json_bytes({"schema": _SCHEMA, "fingerprint": hand.fingerprint, "size": size_words(behind)})
    write_folder(hand.results.path / SHOWN, files)


def _decision(page: _Page, found: Assessment) -> None:
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


def _strips(page: _Page, found: Assessment) -> None:
    room = found.strip_room
    page.table("strips", evidence_grids.strips_grid(room.results))
    if dye_grids.has_dyes(room.results):
        page.table("dyes", dye_grids.dyes_grid(room.results, room.runs))
    page.text(strips_left_out(found))
    page.text(CURVES_GUIDE)
    for number, figure in enumerate(curve_figures(found), start=1):
        page.figure(f"curves-{number}", figure, "measures and densities")
    page.heading("Process runs")
    page.table("runs", evidence_grids.runs_grid(room.runs, room.processors))


def _examination(page: _Page, found: Assessment) -> None:
    page.table("sightings", evidence_grids.sightings_grid(found.examination.examined))
    matching = found.examination.matching
    page.text("" if matching is None else matching_text(matching))


def _repeats(page: _Page, found: Assessment) -> None:
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


def _cut(page: _Page, found: Assessment) -> None:
    part = cut_part(found)
    if part is None:
        page.text("No cut is planned for this roll.")
        return
    if found.decision.verdict is Verdict.HOLD:
        page.text(
            "Provisional: the roll is on hold; the plan leaves out what is held. Don't slit before it is released."
        )
    page.figure("cut", part.picture, "cut")
    for fact in (*part.facts, part.datum):
        page.text(fact)
    page.table("yield", part.yields)
    page.table("losses", part.losses)


PAGES: Final[Mapping[str, Callable[[_Page, Assessment], None]]] = {
    "decision": _decision,
    "strips": _strips,
    "examination": _examination,
    "repeats": _repeats,
    "cut": _cut,
}
"""Every page, and what fills it."""


def is_shown(hand: RollInHand) -> bool:
    """Whether the pages are there, made from the evidence as it is now."""
    try:
        index = read_json(hand.results.path / SHOWN / _INDEX)
    except InputError:
        return False
    return bool(index.get("schema") == _SCHEMA and index.get("fingerprint") == hand.fingerprint)
