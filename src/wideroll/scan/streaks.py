"""Lines along the web: windows that stand out, and the lines behind them with their course, width and contrast."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import MARKS_SCHEMA, Extent, MarkKind, Polarity, mark_id
from wideroll.scan.frame import Frame
from wideroll.scan.model import Streak
from wideroll.scan.origin import judge_length, judge_origin
from wideroll.scan.ridges import Course, take_out, trace_course
from wideroll.scan.traces import Candidate, Sheet, TracedBlock, Traces, find_candidates, lay_traces, sheet_parts
from wideroll.scan.widths import Width, measure_width

__all__ = ["find_lines", "is_streak", "line_marks", "outside_lines"]

_MOST_LINES: Final = 1000
_MOST_SEARCHES: Final = 8
_DECISIVE: Final = 10.0
"""Difference of log-likelihoods: odds of 20,000 to 1."""
_STILLER: Final = 2.0
_CONFIDENT: Final = 1.959964
_JOIN_M: Final = 0.5
_JOIN_MM: Final = 1.0
_BESIDE_MM: Final = 1.0
_LEAVES_PIECES: Final = 2.0
_PIECE_SHARE: Final = 1.3
_PIECE_NOISE: Final = 3.0
_DARKEST: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """A line in cells of the web, and how it lies there."""

    course: Course
    columns: NDArray[np.float64]
    """(blocks,) columns of the web by which it lies further across."""
    on_web: float
    """Deviation of its place on the web, in columns; NaN where nothing tells it."""
    on_raster: float
    """The same on the raster."""


def find_lines(blocks: Sequence[TracedBlock], web: Extent, frame: Frame) -> tuple[Streak, ...]:
    """All lines along the web that reach ``streak_snr``, of any length, in order of place.

    Args:
        blocks: From head to end; they may be joined in pairs, their residuals may be settled.
        web: Where the web lies.
        frame: The raster.
    """
    traces = lay_traces(blocks, frame)
    streak_snr = frame.settings.streak_snr
    found: list[Streak] = []
    sheets = [traces.web] if traces.raster is None else [traces.web, traces.raster]
    for sheet in sheets:
        for part in sheet_parts(sheet):
            for _ in range(_MOST_SEARCHES):
                lines = list(_search(traces, sheet, part, streak_snr))
                found += lines
                if not lines or len(found) >= _MOST_LINES:
                    break
    joined = _join_lines(found[:_MOST_LINES])
    return tuple(sorted((_judge(line, web, traces) for line in joined), key=lambda line: line.extent))


def is_streak(line: Streak, frame: Frame) -> bool:
    """Long enough to be reported as a streak."""
    return line.extent.length_m >= frame.settings.streak_least_m - 1e-9


def line_marks(lines: Sequence[Streak], frame: Frame) -> pl.DataFrame:
    """Lines too short for a streak, as marks of kind scratch."""
    source = frame.settings.source
    rows = []
    for line in lines:
        box = line.extent
        along = (box.along_from_m + box.along_to_m) / 2.0
        rows.append(
            {
                "id": mark_id(source=source, along_m=along, across_mm=line.across_mm, polarity=line.polarity),
                "along_m": along,
                "across_mm": line.across_mm,
                "length_mm": box.length_m * 1000.0,
                "width_mm": line.width_mm,
                "area_mm2": box.length_m * 1000.0 * line.width_mm,
                "contrast": abs(line.contrast),
                "snr": line.snr,
                "peak": abs(line.contrast),
                "elongation": max(box.length_m * 1000.0 / line.width_mm, 1.0),
                "angle_deg": 0.0,
                "ring": 0.0,
                "polarity": line.polarity.value,
                "kind": MarkKind.SCRATCH.value,
                "rule": "a line along the web too short for a streak",
                "source": source,
            }
        )
    return pl.DataFrame(rows, schema=MARKS_SCHEMA)


def outside_lines(marks: pl.DataFrame, lines: Sequence[Streak], noise: float, frame: Frame) -> pl.DataFrame:
    """The marks without pieces of a line.

    A strong line leaves some where it starts or ends in the middle of a block, whose profile then fits neither part.
    A mark that stands out more than the line is a mark of its own.
    """
    block_m = frame.along_m(float(frame.block_lines)) - frame.along_m(0.0)
    for line in lines:
        # Against a profile that holds the line, its surroundings stand out the other way.
        strength = max(abs(line.contrast), abs(line.contrast) / max(1.0 + line.contrast, _DARKEST))
        if strength >= _LEAVES_PIECES * noise:
            box = line.extent.grown(along_m=block_m, across_mm=_BESIDE_MM)
            piece = (
                pl.col("along_m").is_between(box.along_from_m, box.along_to_m)
                & pl.col("across_mm").is_between(box.across_from_mm, box.across_to_mm)
                & (pl.col("peak") <= _PIECE_SHARE * strength + _PIECE_NOISE * noise)
                & (pl.col("width_mm") <= box.width_mm + _BESIDE_MM)
            )
            marks = marks.filter(~piece)
    return marks


def _search(traces: Traces, sheet: Sheet, part: tuple[int, int], streak_snr: float) -> Iterator[Streak]:
    for hit in find_candidates(sheet, part, traces.cell_mm, streak_snr):
        line = _measure(traces, sheet, hit, streak_snr)
        if line is not None:
            width = measure_width(traces, line.course, line.columns)
            yield _line(traces, line, width)
            left = {"trough": width.trough, "root_lines": np.sqrt(traces.lines)}
            take_out(traces.web, line.course, path=line.course.path, **left)
            if traces.raster is not None:
                take_out(traces.raster, line.course, path=line.course.path + traces.raster.shift, **left)


def _measure(traces: Traces, sheet: Sheet, hit: Candidate, streak_snr: float) -> _Found | None:
    """The line behind a window as it lies best: on the web, on which it may wander, or on the raster."""
    on_web = sheet is traces.web
    own = trace_course(sheet, hit, traces.cell_mm, streak_snr, wandering=on_web)
    if own is None:
        return None
    if traces.raster is None:
        return _on_web(traces, own)
    other = _elsewhere(traces, own, (sheet, traces.raster if on_web else traces.web), streak_snr)
    best = own if other is None or own.score >= other.score else other
    found = _on_web(traces, best) if (best is own) == on_web else _on_raster(traces, best, traces.raster)
    moves = bool(np.ptp(best.path[best.top : best.end]))
    if other is not None and not moves and abs(own.score - other.score) < _DECISIVE:
        return replace(found, on_web=np.nan, on_raster=np.nan)
    return found


def _elsewhere(traces: Traces, own: Course, sheets: tuple[Sheet, Sheet], streak_snr: float) -> Course | None:
    """The same line sought on the other sheet."""
    here, there = sheets
    moved = own.path + there.shift - here.shift
    start = own.low + int(np.median(moved[own.top : own.end]))
    hit = Candidate(snr=0.0, block=own.top, blocks=own.end - own.top, cell=start, cells=own.high - own.low)
    if start < 0 or start + hit.cells > len(there.snr):
        return None
    found = trace_course(there, hit, traces.cell_mm, streak_snr, wandering=there is traces.web)
    return found if found is not None and found.sign == own.sign else None


def _on_web(traces: Traces, course: Course) -> _Found:
    """A line that wanders on the web just as the web wanders on the raster is a line of the raster."""
    columns = course.path.astype(np.float64) * traces.cell_columns
    blocks = slice(course.top, course.end)
    fixed = columns + np.rint(traces.left)
    on_web, on_raster = float(np.std(columns[blocks])), float(np.std(fixed[blocks]))
    if on_raster * _STILLER < on_web:
        columns = np.rint(float(np.mean(fixed[blocks])) - np.rint(traces.left))
    return _Found(course=course, columns=columns, on_web=on_web, on_raster=on_raster)


def _on_raster(traces: Traces, course: Course, raster: Sheet) -> _Found:
    columns, size = np.rint(traces.left), traces.cell_columns
    # Where the raster's sheet starts, in cells.
    first = np.rint(columns[0] / size) - raster.shift[0]
    return _Found(
        course=replace(course, path=course.path - raster.shift),
        columns=np.asarray(first * size - columns, np.float64),
        on_web=float(np.std(columns[course.top : course.end])),
        on_raster=float(np.std(course.path[course.top : course.end])) * size,
    )


def _line(traces: Traces, line: _Found, width: Width) -> Streak:
    course = line.course
    blocks = slice(course.top, course.end)
    moved, left = line.columns[blocks], traces.left[blocks]
    # Columns were counted from the whole column next to the edge.
    beyond = float(np.mean(np.rint(left) - left))
    half = _CONFIDENT * width.deviation
    streak = Streak(
        extent=Extent(
            along_from_m=float(traces.borders_m[course.top]),
            along_to_m=float(traces.borders_m[course.end]),
            across_from_mm=(width.low + float(moved.min()) + beyond) * traces.pitch_mm,
            across_to_mm=(width.high + float(moved.max()) + beyond) * traces.pitch_mm,
        ),
        across_mm=(width.centre + float(moved.mean()) + beyond) * traces.pitch_mm,
        width_mm=(width.high - width.low) * traces.pitch_mm,
        contrast=width.contrast,
        contrast_low=width.contrast - half,
        contrast_high=width.contrast + half,
        snr=float(course.snr),
        polarity=Polarity.BRIGHT if course.sign > 0.0 else Polarity.DARK,
        whole_length=False,
        column=float(np.mean(np.rint(left) + moved)) + width.centre,
    )
    return judge_origin(
        streak,
        on_web_mm=line.on_web * traces.pitch_mm,
        on_raster_mm=line.on_raster * traces.pitch_mm,
        wander_mm=_wander(left) * traces.pitch_mm,
    )


def _wander(left: NDArray[np.float64]) -> float:
    return float(np.ptp(np.percentile(left, (2.0, 98.0))))


def _join_lines(lines: Sequence[Streak]) -> list[Streak]:
    """Pieces of one line that broke off become one; the strongest piece gives its width and contrast."""
    joined: list[Streak] = []
    for line in sorted(lines, key=lambda piece: piece.extent):
        near = line.extent.grown(along_m=_JOIN_M, across_mm=_JOIN_MM)
        partner = next((k for k in joined if k.polarity is line.polarity and near.meet(k.extent)), None)
        if partner is not None:
            joined.remove(partner)
            line = _joined(partner, line)  # noqa: PLW2901
        joined.append(line)
    return joined


def _joined(one: Streak, other: Streak) -> Streak:
    strong = one if one.snr >= other.snr else other
    a, b = one.extent, other.extent
    extent = Extent(
        along_from_m=min(a.along_from_m, b.along_from_m),
        along_to_m=max(a.along_to_m, b.along_to_m),
        across_from_mm=min(a.across_from_mm, b.across_from_mm),
        across_to_mm=max(a.across_to_mm, b.across_to_mm),
    )
    return replace(strong, extent=extent)


def _judge(line: Streak, web: Extent, traces: Traces) -> Streak:
    slack = 1.01 * float(np.median(np.diff(traces.borders_m)))
    box = line.extent
    reaches = box.along_from_m <= web.along_from_m + slack and box.along_to_m >= web.along_to_m - slack
    whole = reaches and box.length_m > web.length_m / 2.0
    return judge_length(replace(line, whole_length=whole), wander_mm=_wander(traces.left) * traces.pitch_mm)
