"""A trace as a page to read, mail or print."""

from base64 import b64encode
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from wideroll.report.grid import Grid
from wideroll.report.page import PageFigure, page_template
from wideroll.report.sister_words import sister_sentences, sisters_grid
from wideroll.report.theme import VERDICTS
from wideroll.report.trace_picture import draw_traced, draw_traced_roll, traced_caption, traced_roll_caption
from wideroll.report.trace_words import TraceHead, stretch_grids, trace_facts
from wideroll.roll import Extent
from wideroll.workflow.sisters_model import SisterList
from wideroll.workflow.tracing_model import CoatedStretch, RollEvidence, Trace

__all__ = ["TraceCrop", "TracePart", "TracePictures", "render_trace", "trace_part"]

_CROPS: Final = 8
_SISTERS: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class TracePictures:
    """What the page's pictures are drawn from."""

    evidence: Callable[[str], RollEvidence]
    web_width_mm: float
    crops: Mapping[str, bytes]
    """Crops of marks (PNG), by the mark's id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceCrop:
    """A mark as the scanner saw it; ``data`` is its PNG in base64."""

    mark: str
    data: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TracePart:
    """One coated stretch as it is shown."""

    roll: str
    figures: tuple[PageFigure, ...]
    grids: tuple[Grid, ...]
    crops: tuple[TraceCrop, ...]
    notes: tuple[str, ...]


def render_trace(trace: Trace, head: TraceHead, pictures: TracePictures, sisters: SisterList | None = None) -> str:
    """One self-contained HTML text, the same bytes for the same trace.

    Args:
        trace: of a finished roll.
        head: the shop's units and the datum edge.
        pictures: what its pictures are drawn from.
        sisters: other finished rolls at risk, where they were asked for.
    """
    return page_template("trace.html.j2").render(
        title=f"Trace of {trace.finished}",
        facts=trace_facts(trace, head),
        cautions=trace.cautions,
        parts=[trace_part(trace, number, head, pictures) for number in range(len(trace.stretches))],
        sisters=None if sisters is None else sisters_grid(sisters, head, most=_SISTERS),
        sentences=[] if sisters is None else list(sister_sentences(sisters)),
        styles=VERDICTS,
        page_foot=f"Trace of {trace.finished}",
    )


def trace_part(trace: Trace, number: int, head: TraceHead, pictures: TracePictures) -> TracePart:
    """One stretch of a trace: figures, tables, crops.

    Args:
        trace: of a finished roll.
        number: of the stretch, from 0.
        head: the shop's units and the datum edge.
        pictures: what its pictures are drawn from.
    """
    one = trace.stretches[number]
    return TracePart(
        roll=one.roll,
        figures=_figures(one, number, head, pictures),
        grids=stretch_grids(trace, number, head),
        crops=tuple(
            TraceCrop(mark=mark.id, data=b64encode(pictures.crops[mark.id]).decode())
            for mark in one.marks[:_CROPS]
            if mark.id in pictures.crops
        ),
        notes=one.notes,
    )


def _figures(one: CoatedStretch, number: int, head: TraceHead, pictures: TracePictures) -> tuple[PageFigure, ...]:
    known, key = pictures.evidence(one.roll), f"trace-{number + 1}"
    whole = Extent(along_from_m=0.0, along_to_m=known.length_m, across_from_mm=0.0, across_to_mm=pictures.web_width_mm)
    return (
        PageFigure(svg=draw_traced_roll(one, known, whole, head.datum_edge, key=key), caption=traced_roll_caption(one)),
        PageFigure(svg=draw_traced(one, head.datum_edge, key=key), caption=traced_caption(one)),
    )
