"""Lines along the web: windows that stand out, their ends and sides set where the line is most likely to end.

For a step of height m in noise of deviation 1 the log-likelihood ratio of a stretch is m Σ(y − m/2): the stretch that
maximises it is the line [page1955]. Ends along and sides across are found in turn, and m anew each time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.roll import MARKS_SCHEMA, Extent, MarkKind, Polarity, mark_id
from wideroll.scan.frame import Frame
from wideroll.scan.model import Streak
from wideroll.scan.screening import BlockReport
from wideroll.scan.traces import Candidate, Traces, excess_scatter, find_candidates, lay_traces

__all__ = ["find_lines", "is_streak", "line_marks", "outside_lines"]

_ROUNDS: Final = 3
_REACH_MM: Final = 10.0
"""Sides are looked for this far from the window that stood out."""
_MOST_LINES: Final = 1000
_CONFIDENT: Final = 1.959964
_JOIN_M: Final = 0.5
_JOIN_MM: Final = 1.0
_BESIDE_MM: Final = 1.0
_LEAVES_PIECES: Final = 2.0
_PIECE_SHARE: Final = 1.3
_PIECE_NOISE: Final = 3.0
_DARKEST: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class _Box:
    """Blocks from, to and columns from, to; half open."""

    top: int
    end: int
    low: int
    high: int


def find_lines(blocks: Sequence[BlockReport], web: Extent, frame: Frame) -> tuple[Streak, ...]:
    """All lines along the web that reach ``streak_snr``, of any length, in order of place."""
    traces = lay_traces(blocks, frame)
    found: list[Streak] = []
    for hit in find_candidates(traces, frame) if traces.snr.size else ():
        line = _measure(traces, hit, frame.settings.streak_snr)
        if line is not None:
            found.append(line)
        if len(found) == _MOST_LINES:
            break
    joined = _join_lines(found)
    return tuple(sorted((_judge_length(line, web, frame) for line in joined), key=lambda line: line.extent))


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
                "polarity": line.polarity.value,
                "kind": MarkKind.SCRATCH.value,
                "source": source,
            }
        )
    return pl.DataFrame(rows, schema=MARKS_SCHEMA)


def outside_lines(marks: pl.DataFrame, lines: Sequence[Streak], noise: float, frame: Frame) -> pl.DataFrame:
    """The marks without pieces of a line.

    A strong line leaves some where it starts or ends in the middle of a block, whose profile then fits neither part.
    A mark that stands out more than the line is a mark of its own.
    """
    for line in lines:
        # Against a profile that holds the line, its surroundings stand out the other way.
        strength = max(abs(line.contrast), abs(line.contrast) / max(1.0 + line.contrast, _DARKEST))
        if strength >= _LEAVES_PIECES * noise:
            box = line.extent.grown(along_m=frame.along_m(frame.block_lines), across_mm=_BESIDE_MM)
            piece = (
                pl.col("along_m").is_between(box.along_from_m, box.along_to_m)
                & pl.col("across_mm").is_between(box.across_from_mm, box.across_to_mm)
                & (pl.col("contrast") <= _PIECE_SHARE * strength + _PIECE_NOISE * noise)
                & (pl.col("width_mm") <= box.width_mm)
            )
            marks = marks.filter(~piece)
    return marks


def _measure(traces: Traces, hit: Candidate, streak_snr: float) -> Streak | None:
    """The line behind a window, taken out of the traces; None where a stronger line already took what stood out."""
    box = _Box(top=hit.block, end=hit.block + hit.blocks, low=hit.column, high=hit.column + hit.columns)
    total = float(traces.snr[box.top : box.end, box.low : box.high].sum())
    if abs(total) / np.sqrt(hit.blocks * hit.columns) < hit.snr / 2.0:
        return None
    sign = 1.0 if total > 0.0 else -1.0
    box = _settle(traces.snr, box, sign, reach=max(1, round(_REACH_MM / traces.pitch_mm)))
    across = traces.snr[box.top : box.end].mean(axis=0, dtype=np.float64) * np.sqrt(box.end - box.top)
    excess = _excess(across, box.high - box.low)
    snr = sign * float(across[box.low : box.high].sum()) / np.sqrt(box.high - box.low) / excess
    if snr < streak_snr:
        return None
    line = _line(traces, box, across, sign * snr, excess)
    _take_out(traces.snr, box)
    return line


def _settle(snr: NDArray[np.float32], box: _Box, sign: float, *, reach: int) -> _Box:
    for _ in range(_ROUNDS):
        along = sign * snr[:, box.low : box.high].mean(axis=1, dtype=np.float64)
        top, end = _likeliest(along, box.top, box.end)
        low, high = max(box.low - reach, 0), min(box.high + reach, snr.shape[1])
        across = sign * snr[top:end, low:high].mean(axis=0, dtype=np.float64)
        left, right = _likeliest(across, box.low - low, box.high - low)
        box = _Box(top=top, end=end, low=low + left, high=low + right)
    return box


def _likeliest(values: NDArray[np.float64], start: int, end: int) -> tuple[int, int]:
    """The stretch (from, to) that a step of the height now found between start and end fits best."""
    height = float(values[start:end].mean())
    if height <= 0.0:
        return start, end
    sums = np.concatenate([[0.0], np.cumsum(values - height / 2.0)])
    lowest = np.minimum.accumulate(sums[:-1])
    last = int(np.argmax(sums[1:] - lowest)) + 1
    return int(np.argmin(sums[:last])), last


def _excess(across: NDArray[np.float64], columns: int) -> float:
    sums = np.concatenate([[0.0], np.cumsum(across)])
    return float(excess_scatter((sums[columns:] - sums[:-columns]) / np.sqrt(columns)))


def _line(traces: Traces, box: _Box, across: NDArray[np.float64], signed: float, excess: float) -> Streak:
    cells = np.sqrt(float((box.end - box.top) * (box.high - box.low)))
    spread = float(traces.spread[box.low : box.high].mean())
    contrast, half = signed * excess / cells * spread, _CONFIDENT * excess / cells * spread
    weight = np.maximum(across[box.low : box.high] * np.sign(signed), 0.0)
    centre = float(np.sum(weight * (np.arange(box.low, box.high) + 0.5)) / weight.sum())
    return Streak(
        extent=Extent(
            along_from_m=float(traces.borders_m[box.top]),
            along_to_m=float(traces.borders_m[box.end]),
            across_from_mm=box.low * traces.pitch_mm,
            across_to_mm=box.high * traces.pitch_mm,
        ),
        across_mm=centre * traces.pitch_mm,
        width_mm=(box.high - box.low) * traces.pitch_mm,
        contrast=float(contrast),
        contrast_low=float(contrast - half),
        contrast_high=float(contrast + half),
        snr=float(abs(signed)),
        polarity=Polarity.BRIGHT if signed > 0.0 else Polarity.DARK,
        whole_length=False,
    )


def _take_out(snr: NDArray[np.float32], box: _Box) -> None:
    beside = max(2, box.high - box.low)
    snr[max(box.top - 1, 0) : box.end + 1, max(box.low - beside, 0) : box.high + beside] = 0.0


def _join_lines(lines: Sequence[Streak]) -> list[Streak]:
    """Pieces of one line that wandered or broke off become one; the strongest piece gives its contrast."""
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
    return replace(strong, extent=extent, width_mm=extent.width_mm)


def _judge_length(line: Streak, web: Extent, frame: Frame) -> Streak:
    slack = 1.01 * frame.along_m(frame.block_lines)
    box = line.extent
    whole = box.along_from_m <= web.along_from_m + slack and box.along_to_m >= web.along_to_m - slack
    return replace(line, whole_length=whole and box.length_m > web.length_m / 2.0)
