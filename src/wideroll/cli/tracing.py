"""The command that leads from a place on a finished roll back to where it was coated."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

import typer

from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.deciding import who_acts
from wideroll.cli.finished_table import finished_table
from wideroll.cli.options import Json, PlantArg
from wideroll.cli.recalling import check_recall, write_recall
from wideroll.cli.sampling import plant_files
from wideroll.cli.standing_acts import StandingActs, standing_acts
from wideroll.cli.tracing_evidence import EvidenceRoom
from wideroll.errors import InputError
from wideroll.report import rich_table, units_of
from wideroll.report.sister_words import sister_sentences, sisters_grid, sisters_json
from wideroll.report.trace_document import trace_json
from wideroll.report.trace_page import TracePictures, render_trace
from wideroll.report.trace_words import TraceHead, trace_facts, trace_grids
from wideroll.roll import parse_length
from wideroll.store import read_bytes, write_whole
from wideroll.workflow.finished_index import FinishedIndex
from wideroll.workflow.sisters import find_sisters
from wideroll.workflow.sisters_model import SisterList
from wideroll.workflow.tracing import trace_finished
from wideroll.workflow.tracing_model import FinishedFilm, Trace
from wideroll.workflow.tracing_place import read_asked

__all__ = ["TraceDesk", "open_trace_desk", "trace", "trace_of"]

At = Annotated[
    str | None,
    typer.Option(metavar="PLACE", help="Like '14 ft 3 in from outer end' or '4.3 m from core'; else the whole roll."),
]
Within = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="Half the interval along, like 0.3m, in place of the rule's.")
]


_RECALL: Final = "Also write a recall list of all rolls at risk, and record that it was written."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TraceDesk:
    """A plant's finished rolls at hand, with what stands on their wide rolls."""

    index: FinishedIndex
    standing: dict[str, StandingActs]
    room: EvidenceRoom
    head: TraceHead

    def film(self, number: str) -> FinishedFilm:
        """A finished roll, by its number.

        Raises:
            InputError: when there is none, or several.
        """
        rows = self.index.find(number)
        first = rows.row(0, named=True)
        wide = self.index.rolls[first["roll"]]
        return FinishedFilm(
            number=first["finished"],
            rows=rows,
            decision=self.standing[wide.name].decided(),
            status=wide.status,
            wide_m=wide.length_m,
            windings=wide.windings.get(first["width"], 1),
        )

    def trace(self, number: str, at: str | None = None, within: str | None = None) -> Trace:
        """Where a place on a finished roll was coated, and what is known of it.

        Raises:
            InputError: when the number, the place or the length can't be used, or a file has a fault.
            RecordError: when a sealed file isn't the one that the record names.
        """
        asked = None if at is None else read_asked(at)
        within_m = None if within is None else _half_width(within)
        return trace_finished(self.film(number), asked, self.room.of, within_m=within_m)

    def sisters(self, found: Trace) -> SisterList:
        """Other finished rolls that may carry the same flaw.

        Raises:
            RecordError: when a sealed file isn't the one that the record names.
        """
        return find_sisters(found, self.index, self.room.of, self.room.series_of)

    def page(self, found: Trace, others: SisterList | None) -> str:
        """The trace as a page."""
        root = self.room.files.root
        crops = {mark.id: read_bytes(root / mark.chip) for one in found.stretches for mark in one.marks if mark.chip}
        pictures = TracePictures(evidence=self.room.of, web_width_mm=self.room.files.plant().web_width_mm, crops=crops)
        return render_trace(found, self.head, pictures, others)


def open_trace_desk(plant: Path) -> TraceDesk:
    """Take the finished rolls of a plant in hand: the record is proven, and their table brought up to date.

    Raises:
        InputError: when the folder isn't a plant, or a file has a fault.
        RecordError: when the record doesn't hold, or a cut list isn't the one that it names.
    """
    files = plant_files(plant)
    line, standing = files.plant(), standing_acts(plant)
    return TraceDesk(
        index=finished_table(plant, standing),
        standing=standing,
        room=EvidenceRoom(files, standing),
        head=TraceHead(units=units_of(line.shop_units), datum_edge=line.datum_edge),
    )


def trace_of(plant: Path, finished: str, at: str | None = None, within: str | None = None) -> Trace:
    """As ``open_trace_desk`` and ``TraceDesk.trace``, for one finished roll."""
    return open_trace_desk(plant).trace(finished, at, within)


@app.command()
def trace(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    finished: Annotated[str, typer.Argument(metavar="FINISHED", help="Number of the finished roll, as on its label.")],
    *,
    at: At = None,
    within: Within = None,
    sisters: Annotated[bool, typer.Option("--sisters", help="Also other finished rolls at risk, ranked.")] = False,
    recall: Annotated[Path | None, typer.Option(metavar="FILE.csv", help=_RECALL)] = None,
    page: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Also write the trace as a page.")] = None,
    who: Annotated[str | None, typer.Option(help="Who recalls, for the record; else your login's name.")] = None,
    as_json: Json = False,
) -> None:
    """Lead from a place on a finished roll back to where it was coated, and out again to rolls at risk.

    \b
    Examples:
      wideroll trace demo W-2042/001-05 --at '14 ft 3 in from outer end'
      wideroll trace demo W-2042/001-05 --at '1.2 m from core' --within 0.3m --sisters --recall recall.csv
    """
    if recall is not None:
        check_recall(recall)
    desk = open_trace_desk(plant)
    found = desk.trace(finished, at, within)
    others = desk.sisters(found) if sisters or recall is not None else None
    if page is not None:
        write_whole(page, desk.page(found, others).encode())
        tell(f"page: {page}")
    if recall is not None and others is not None:
        event = write_recall(plant, recall, found, others, who=who_acts(who))
        listed = len(others.at_risk)
        tell(f"recall list: {recall}, {listed + 1} finished rolls, event {event} of the record")
        if listed < len(others.sisters):
            tell(f"left out of it: {len(others.sisters) - listed} finished rolls in which the scan looked and saw none")
    if as_json:
        print_json({**trace_json(found), "sisters": None if others is None else sisters_json(others)})
    else:
        _show(found, others, desk.head)


def _show(found: Trace, others: SisterList | None, head: TraceHead) -> None:
    for name, words in trace_facts(found, head):
        say(f"{name}: {words}")
    for grid in trace_grids(found, head):
        print_table(rich_table(grid))
    for note in dict.fromkeys(note for one in found.stretches for note in one.notes):
        say(note)
    if others is not None:
        print_table(rich_table(sisters_grid(others, head)))
        for sentence in sister_sentences(others):
            say(sentence)
    for caution in found.cautions:
        say(f"Caution: {caution}")


def _half_width(text: str) -> float:
    length = parse_length(text, where="--within")
    if length.mm <= 0:
        raise InputError(
            where="--within", rule="must be above 0", value=text, mend="Give half the width of the interval, like 0.3m."
        )
    return float(length.m)
