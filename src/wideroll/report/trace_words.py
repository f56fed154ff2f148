"""A trace in words and tables, for the terminal and the page."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from wideroll.repeats.model import ANOTHER
from wideroll.report.cut_head import METRIC, CutUnits
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.history_words import utc_day
from wideroll.report.quantities import show_interval, show_number
from wideroll.workflow.tracing_model import CoatedStretch, NearMark, NearSeries, Trace

__all__ = ["TraceHead", "stretch_grids", "trace_facts", "trace_grids"]

_NOBODY: Final = "nobody has signed the record since"
_MM_PER_M: Final = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TraceHead:
    """What is shown with a trace: the shop's units and the edge that places across are measured from."""

    units: CutUnits = METRIC
    datum_edge: str = "datum edge"

    def along(self, from_m: float, to_m: float | None = None) -> str:
        """A place or stretch along, with its unit."""
        units = self.units
        words = units.show_along(from_m) if to_m is None else f"{units.show_along(from_m)} to {units.show_along(to_m)}"
        return f"{words} {units.along}"

    def across(self, across_mm: float) -> str:
        """A place or width across, without its unit."""
        return show_number(across_mm / self.units.across_mm, self.units.across_decimals - 2)

    def lane(self, from_mm: float, to_mm: float) -> str:
        """A lane across, with its unit."""
        units = self.units
        return f"{units.show_across(from_mm)} to {units.show_across(to_mm)} {units.across}"


def trace_facts(trace: Trace, head: TraceHead, *, day: Callable[[str], str] = utc_day) -> tuple[tuple[str, str], ...]:
    """What the trace says, as pairs of name and value; ``day`` makes a day of a moment."""
    return tuple(_facts(trace, head, day))


def _facts(trace: Trace, head: TraceHead, day: Callable[[str], str]) -> Iterator[tuple[str, str]]:
    quality = "" if trace.quality == "first" else f", {trace.quality} quality"
    order = f", for order {trace.order}" if trace.order else ""
    yield (
        "finished roll",
        f"{trace.finished}: {trace.product}, {trace.width}{quality}, {head.along(trace.length_m)}{order}",
    )
    yield "asked", _asked(trace, head)
    times = {0: "not at all", 1: "once", 2: "twice"}.get(trace.windings, f"{trace.windings} times")
    yield (
        "wound over",
        f"{times} after the slitter, by the product's windings: once more, and the outer end is the other",
    )
    for number, one in enumerate(trace.stretches, start=1):
        name = "coated" if len(trace.stretches) == 1 else f"coated, part {number}"
        yield name, _coated(one, head)
    batches = dict.fromkeys(name for one in trace.stretches for name in one.batches)
    yield "batch", ", ".join(batches) or "none is listed there"
    yield "decided", _decided(trace, day)
    if trace.half_widths:
        parts = "; ".join(f"{head.along(part.metres)}: {part.why}" for part in trace.half_widths)
        yield "interval", f"± {head.along(trace.half_width_m)}, the root of the sum of squares of: {parts}"


def _asked(trace: Trace, head: TraceHead) -> str:
    if trace.asked is None:
        return f"the whole roll, 0 to {head.along(trace.length_m)} from its outer end"
    half = f" (± {head.along(trace.half_width_m)})"
    ends = head.along(trace.from_m, trace.to_m)
    return f"{trace.asked.words}: {ends} from the outer end{half}"


def _coated(one: CoatedStretch, head: TraceHead) -> str:
    extent = one.extent
    likely = f", most likely {head.along(one.at_m)}" if one.at_m is not None else ""
    way = "outwards" if one.reversed else "inwards"
    turns = [
        "its edges have changed places" if one.mirrored else "",
        "its other face looks outwards" if one.turned else "",
    ]
    said = "".join(f", {words}" for words in turns if words)
    return (
        f"roll {one.roll}, {head.along(extent.along_from_m, extent.along_to_m)} from the head{likely}; "
        f"{head.lane(extent.across_from_mm, extent.across_to_mm)} from the {head.datum_edge}; "
        f"coated metres rise {way}{said}"
    )


def _decided(trace: Trace, day: Callable[[str], str]) -> str:
    one = trace.decision
    cut = "" if one.cut_event is None else f", cut for the order book by event {one.cut_event}"
    signed = "; ".join(f"signed by {by.who} on {day(by.when_utc)} (event {by.event})" for by in one.signed) or _NOBODY
    return (
        f"{one.verdict}, by {one.who} on {day(one.when_utc)}, event {one.event} of a record that holds{cut}; {signed}"
    )


def trace_grids(trace: Trace, head: TraceHead) -> tuple[Grid, ...]:
    """Marks, streaks, series, sightings, strips and readings of each stretch, those that there are."""
    return tuple(grid for number in range(len(trace.stretches)) for grid in stretch_grids(trace, number, head))


def stretch_grids(trace: Trace, number: int, head: TraceHead) -> tuple[Grid, ...]:
    """The same of one stretch, by its place in the trace, from 0."""
    return tuple(_grids(trace, number, head))


def _grids(trace: Trace, number: int, head: TraceHead) -> Iterator[Grid]:
    one = trace.stretches[number]
    of = "" if len(trace.stretches) == 1 else f", part {number + 1}"
    yield _marks(one, head, of)
    if one.streaks:
        yield _streaks(one, head, of)
    if one.series:
        yield _series(one, head, of)
    if one.sightings or one.sheets:
        yield _sightings(one, head, of)
    if one.strips:
        yield _strips(one, head, of)
    if one.readings:
        yield _readings(one, head, of)


def _from_outer(head: TraceHead) -> Column:
    return Column(head=f"from outer end, {head.units.along}", number=True)


def _marks(one: CoatedStretch, head: TraceHead, of: str) -> Grid:
    units = head.units
    unseen = f"; not looked at in part: {', '.join(one.not_seen)}" if one.not_seen else ""
    return Grid(
        caption=f"Marks of the scan{of}",
        columns=(
            Column(head="no.", number=True),
            _from_outer(head),
            Column(head=f"from its edge, {units.across}", number=True),
            Column(head="mark", keep=True),
            Column(head=f"coated at, {units.along}", number=True),
            Column(head=f"across, {units.across}", number=True),
            Column(head="size, mm", keep=True),
            Column(head="contrast, %", number=True),
        ),
        rows=tuple(_mark_row(number, mark, head) for number, mark in enumerate(one.marks, start=1)),
        empty=f"The scan saw no mark there{unseen}.",
        foot=tuple(_foot(one)),
    )


def _mark_row(number: int, mark: NearMark, head: TraceHead) -> tuple[Cell, ...]:
    series = f"series {mark.series}" if mark.series else ""
    notes = [words for words in (mark.id, "" if mark.inside else "beside this lane", series) if words]
    return (
        Cell(text=str(number)),
        Cell(text=head.units.show_along((mark.on.from_m + mark.on.to_m) / 2.0), tone="strong"),
        Cell(text=head.across(mark.on.edge_mm), note=f"other edge {head.across(mark.on.other_edge_mm)}"),
        Cell(text=f"{mark.polarity} {mark.kind}", note="; ".join(notes)),
        Cell(text=head.units.show_along(mark.along_m)),
        Cell(text=head.across(mark.across_mm)),
        Cell(text=f"{mark.length_mm:.1f} × {mark.width_mm:.1f}"),
        Cell(text=f"{100.0 * mark.contrast:.0f}"),
    )


def _foot(one: CoatedStretch) -> Iterator[str]:
    if one.not_seen:
        yield f"Not looked at in part: {', '.join(one.not_seen)}."
    for number, mark in enumerate(one.marks, start=1):
        if mark.chip:
            yield f"Crop of {number}: {mark.chip}"


def _streaks(one: CoatedStretch, head: TraceHead, of: str) -> Grid:
    units = head.units
    return Grid(
        caption=f"Streaks{of}",
        columns=(
            Column(head=f"from its edge, {units.across}", number=True),
            Column(head=f"across, {units.across}", number=True),
            Column(head=f"coated, {units.along}"),
            Column(head="width, mm", number=True),
            Column(head="contrast, %", number=True),
        ),
        rows=tuple(
            (
                Cell(text=head.across(streak.on.edge_mm), note=f"other edge {head.across(streak.on.other_edge_mm)}"),
                Cell(text=head.across(streak.across_mm)),
                Cell(text=units.show_stretch(streak.along_from_m, streak.along_to_m)),
                Cell(text=f"{streak.width_mm:.1f}"),
                Cell(text=f"{100.0 * streak.contrast:.2f}"),
            )
            for streak in one.streaks
        ),
    )


def _series(one: CoatedStretch, head: TraceHead, of: str) -> Grid:
    return Grid(
        caption=f"Repeating marks{of}",
        columns=(
            Column(head="series", number=True),
            Column(head="every, mm", number=True),
            Column(head=f"across, {head.units.across}", number=True),
            Column(head="most probable maker"),
            Column(head="turns there", number=True),
            Column(head="seen", number=True),
        ),
        rows=tuple(
            (
                Cell(text=str(near.series.number)),
                Cell(
                    text=f"{_MM_PER_M * near.series.spacing_m:.1f}",
                    note=f"{_MM_PER_M * near.series.spacing_low_m:.1f} to {_MM_PER_M * near.series.spacing_high_m:.1f}",
                ),
                Cell(text=head.across(near.series.across_mm)),
                Cell(text=_maker(near)),
                Cell(text=str(len(near.turns))),
                Cell(text=str(near.seen)),
            )
            for near in one.series
        ),
    )


def _maker(near: NearSeries) -> str:
    if not near.series.candidates:
        return near.series.kind
    best = near.series.candidates[0]
    name = "a roller that isn't in plant.toml" if best.roller == ANOTHER else best.roller
    return f"{name} ({best.probability:.0%})"


def _sightings(one: CoatedStretch, head: TraceHead, of: str) -> Grid:
    units = head.units
    return Grid(
        caption=f"Seen on sample sheets of that stretch{of}",
        columns=(
            Column(head="sheet"),
            Column(head="seen"),
            Column(head=f"coated at, {units.along}", number=True),
            Column(head=f"across, {units.across}", number=True),
            Column(head="size, mm", number=True),
            Column(head="in this lane"),
        ),
        rows=tuple(
            (
                Cell(text=seen.sheet),
                Cell(text=seen.kind, note=seen.note),
                Cell(text=units.show_along(seen.along_m)),
                Cell(text=head.across(seen.across_mm)),
                Cell(text=f"{seen.size_mm:.1f}"),
                Cell(text="yes" if seen.inside else "no"),
            )
            for seen in one.sightings
        ),
        empty=f"Nothing was seen on {', '.join(one.sheets)}." if one.sheets else "No sheet was cut there.",
    )


def _strips(one: CoatedStretch, head: TraceHead, of: str) -> Grid:
    units = head.units
    return Grid(
        caption=f"Check strips nearest{of}",
        columns=(
            Column(head="strip"),
            Column(head=f"coated at, {units.along}", number=True),
            Column(head=f"across, {units.across}", number=True),
            Column(head=f"away along, {units.along}", number=True),
            Column(head="process run"),
        ),
        rows=tuple(
            (
                Cell(text=near.strip.name),
                Cell(text=units.show_along(near.strip.along_m)),
                Cell(text=head.across(near.strip.across_mm)),
                Cell(text=units.show_along(near.away_m)),
                Cell(text=f"{near.strip.run}" + ("" if near.strip.usable else ", void: says nothing of the film")),
            )
            for near in one.strips
        ),
    )


def _readings(one: CoatedStretch, head: TraceHead, of: str) -> Grid:
    units = head.units
    return Grid(
        caption=f"Measured over that stretch, by the decision{of}",
        columns=(
            Column(head="criterion"),
            Column(head="found", number=True),
            Column(head="interval"),
            Column(head="limit", number=True),
            Column(head="unit"),
            Column(head=f"for, {units.along}"),
            Column(head="verdict"),
        ),
        rows=tuple(
            (
                Cell(text=read.criterion),
                Cell(text=show_number(read.found, 3)),
                Cell(text="" if read.low is None or read.high is None else show_interval(read.low, read.high, 3)),
                Cell(text="" if read.limit is None else f"{read.limit:g}"),
                Cell(text=read.unit),
                Cell(text=units.show_stretch(read.extent.along_from_m, read.extent.along_to_m)),
                Cell(text=read.verdict),
            )
            for read in one.readings
        ),
    )
