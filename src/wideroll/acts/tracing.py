"""From a place on a finished roll back to where it was coated, and out again to rolls at risk."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wideroll.acts.finished_table import finished_table
from wideroll.acts.plants import plant_files
from wideroll.acts.standing_acts import StandingActs, standing_acts
from wideroll.acts.tracing_evidence import EvidenceRoom
from wideroll.errors import InputError
from wideroll.report import units_of
from wideroll.report.sister_words import sisters_json
from wideroll.report.trace_document import trace_json
from wideroll.report.trace_page import TracePictures, render_trace
from wideroll.report.trace_words import TraceHead
from wideroll.roll import parse_length
from wideroll.store import read_bytes
from wideroll.workflow.finished_index import FinishedIndex
from wideroll.workflow.sisters import find_sisters
from wideroll.workflow.sisters_model import SisterList
from wideroll.workflow.tracing import trace_finished
from wideroll.workflow.tracing_model import FinishedFilm, Trace
from wideroll.workflow.tracing_place import read_asked

__all__ = ["TraceDesk", "open_trace_desk", "trace_document", "trace_of"]


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
        return render_trace(found, self.head, self.pictures(found), others)

    def pictures(self, found: Trace) -> TracePictures:
        """What the pictures of a trace are drawn from."""
        root = self.room.files.root
        crops = {mark.id: read_bytes(root / mark.chip) for one in found.stretches for mark in one.marks if mark.chip}
        return TracePictures(evidence=self.room.of, web_width_mm=self.room.files.plant().web_width_mm, crops=crops)


def open_trace_desk(plant: Path, standing: dict[str, StandingActs] | None = None) -> TraceDesk:
    """Take the finished rolls of a plant in hand: the record is proven, and their table brought up to date.

    Args:
        plant: its folder.
        standing: what stands, by a record that was proven just so before; None proves it.

    Raises:
        InputError: when the folder isn't a plant, or a file has a fault.
        RecordError: when the record doesn't hold, or a cut list isn't the one that it names.
    """
    files = plant_files(plant)
    line = files.plant()
    standing = standing_acts(plant) if standing is None else standing
    return TraceDesk(
        index=finished_table(plant, standing),
        standing=standing,
        room=EvidenceRoom(files, standing),
        head=TraceHead(units=units_of(line.shop_units), datum_edge=line.datum_edge),
    )


def trace_document(found: Trace, others: SisterList | None) -> dict[str, Any]:
    """A trace for machines.

    Args:
        found: the trace.
        others: finished rolls at risk; None where nobody asked for them.
    """
    return {**trace_json(found), "sisters": None if others is None else sisters_json(others)}


def trace_of(plant: Path, finished: str, at: str | None = None, within: str | None = None) -> Trace:
    """As ``open_trace_desk`` and ``TraceDesk.trace``, for one finished roll.

    Args:
        plant: its folder.
        finished: number of the finished roll.
        at: where on it, like '4.3 m from core'; None for all of it.
        within: half the interval along, like '0.3m'; None takes the rule's.

    Raises:
        InputError: when the folder isn't a plant, there is no such roll or place, or a file has a fault.
        RecordError: when the record, or a file that it names, doesn't hold.
    """
    return open_trace_desk(plant).trace(finished, at, within)


def _half_width(text: str) -> float:
    length = parse_length(text, where="--within")
    if length.mm <= 0:
        raise InputError(
            where="--within", rule="must be above 0", value=text, mend="Give half the width of the interval, like 0.3m."
        )
    return float(length.m)
