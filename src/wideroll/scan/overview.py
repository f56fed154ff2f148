"""The web in coarse cells, handed on as it comes, and a picture of it that stays small however long the web."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.roll import Extent
from wideroll.scan.background import Background
from wideroll.scan.extremes import Extremes
from wideroll.scan.frame import Frame, Grey
from wideroll.scan.model import Overview
from wideroll.scan.sums import BlockSums

__all__ = [
    "MOST_ROWS",
    "OverviewRows",
    "Picture",
    "blind_rows",
    "coarsen",
    "join_overview",
    "join_rows",
    "overview_rows",
]

MOST_ROWS: Final = 16_384
"""Beyond this, neighbouring rows of the picture are joined in pairs."""
_MOST_SUMMED: Final = 256
_SLIVER: Final = 0.05
"""A last column of cells that the web fills by no more than this is left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OverviewRows:
    """Cells ``[along, across]`` from the datum edge on, as ``Overview`` describes them."""

    mean: NDArray[np.float32]
    worst: NDArray[np.float32]


def overview_rows(
    totals: BlockSums, found: Extremes, ground: Background, smooth: NDArray[np.float64], frame: Frame
) -> OverviewRows:
    """Average and worst of each cell, over the smooth course of the profile (so that streaks show)."""
    cuts = found.cuts
    weight = np.add.reduceat(np.where(ground.used, ground.gain, 0.0), cuts[:-1])
    count = np.add.reduceat(ground.used.astype(np.float64), cuts[:-1])
    tall = np.arange(0, len(totals.cuts) - 1, totals.parts)
    signal = totals.sums if totals.parts == 1 else np.add.reduceat(totals.sums, tall, axis=0, dtype=np.uint32)
    everything = np.add.reduceat(ground.gain, cuts[:-1])
    columns = _cell_columns(ground, smooth, frame)
    out = np.full((2, len(cuts) - 1, int(columns.cell.max(initial=-1)) + 1), np.nan, np.float32)
    part = slice(ground.first, ground.last)
    faulty = ground.faults > 0
    found.lowest[:, faulty] = np.iinfo(found.lowest.dtype).max
    found.highest[:, faulty] = 0
    given = np.ascontiguousarray(signal[:, part]), found.lowest, found.highest
    _cell_rows(given, columns, (everything, weight / np.maximum(count, 1.0), count > 0.0), out)
    return OverviewRows(mean=out[0], worst=out[1])


class _Columns(NamedTuple):
    """The cells of a row that are looked at, by their columns from the first that is looked at."""

    cell: NDArray[np.int64]
    start: NDArray[np.int64]
    end: NDArray[np.int64]
    sound: NDArray[np.float32]
    """(columns,) 1, or 0 in a faulty column."""
    course: NDArray[np.float64]
    """(cells,) smooth profile summed over the sound columns."""
    level: NDArray[np.float64]
    """(cells,) its mean over them."""
    whole: NDArray[np.bool_]
    """(cells,) all of their columns are sound, and few enough for a sum of 32 bits."""


def _cell_columns(ground: Background, smooth: NDArray[np.float64], frame: Frame) -> _Columns:
    places = (np.arange(ground.first, ground.last) + 0.5 - ground.edges.left) * frame.pitch_mm[1]
    of_column = np.maximum(places // frame.cell_mm, 0.0).astype(np.int64)
    start = np.flatnonzero(np.diff(of_column, prepend=-1))
    sound = (ground.faults == 0).astype(np.float32)
    course = np.add.reduceat(smooth * sound, start) if len(start) else np.empty(0)
    count = np.add.reduceat(sound, start) if len(start) else np.empty(0)
    seen = count > 0.0
    end = np.append(start[1:], len(of_column))
    return _Columns(
        cell=of_column[start][seen],
        start=start[seen],
        end=end[seen],
        sound=sound,
        course=course[seen],
        level=course[seen] / count[seen],
        whole=(count[seen] == end[seen] - start[seen]) & (end[seen] - start[seen] <= _MOST_SUMMED),
    )


def blind_rows(lines: int, frame: Frame) -> OverviewRows:
    """Cells of a block that shows no web."""
    nothing = np.full((-(-lines // frame.cell_lines), 1), np.nan, np.float32)
    return OverviewRows(mean=nothing, worst=nothing)


class Picture:
    """Rows put under each other as they come; when there are too many, neighbours are joined in pairs."""

    def __init__(self) -> None:
        self._parts: list[OverviewRows] = []
        self._waiting: list[OverviewRows] = []
        self._count = 0
        self.halvings = 0
        """How often they were."""

    def add(self, rows: OverviewRows) -> None:
        """Take the next rows."""
        self._waiting.append(rows)
        self._settle(whole=True)
        if self._count > 2 * MOST_ROWS:
            joined = join_rows(self._parts)
            even = len(joined.mean) // 2 * 2
            # An odd row at the end waits for its neighbour.
            self._parts = [coarsen(OverviewRows(mean=joined.mean[:even], worst=joined.worst[:even]))]
            rest = OverviewRows(mean=joined.mean[even:], worst=joined.worst[even:])
            self._waiting = [*(_repeated(rest, 1 << self.halvings),) * (len(rest.mean) > 0), *self._waiting]
            self._count = even // 2
            self.halvings += 1

    def parts(self) -> list[OverviewRows]:
        """All rows; the last may be of fewer lines than the others."""
        if self._waiting:
            self._settle(whole=False)
        return self._parts

    def _settle(self, *, whole: bool) -> None:
        step = 1 << self.halvings
        joined = join_rows(self._waiting)
        count = len(joined.mean) // step * step if whole else len(joined.mean)
        part = OverviewRows(mean=joined.mean[:count], worst=joined.worst[:count])
        for _ in range(self.halvings):
            part = coarsen(part)
        if count:
            self._parts.append(part)
            self._count += len(part.mean)
        rest = OverviewRows(mean=joined.mean[count:], worst=joined.worst[count:])
        self._waiting = [rest] if len(rest.mean) else []


def _repeated(rows: OverviewRows, times: int) -> OverviewRows:
    return OverviewRows(mean=np.repeat(rows.mean, times, axis=0), worst=np.repeat(rows.worst, times, axis=0))


def coarsen(rows: OverviewRows) -> OverviewRows:
    """Two rows to one: the mean of what was seen, and the value furthest from 1."""
    parts = []
    for values, worst in ((rows.mean, False), (rows.worst, True)):
        even = values if len(values) % 2 == 0 else np.concatenate([values, np.full_like(values[:1], np.nan)])
        one, other = even[::2], even[1::2]
        both = np.where(np.abs(other - 1.0) > np.abs(one - 1.0), other, one) if worst else (one + other) / 2.0
        parts.append(np.where(np.isnan(one), other, np.where(np.isnan(other), one, both)).astype(np.float32))
    return OverviewRows(mean=parts[0], worst=parts[1])


def join_rows(parts: Sequence[OverviewRows]) -> OverviewRows:
    """Rows under each other, as wide as the widest."""
    width = max(part.mean.shape[1] for part in parts)
    return OverviewRows(
        mean=np.concatenate([_fit(part.mean, width) for part in parts]),
        worst=np.concatenate([_fit(part.worst, width) for part in parts]),
    )


def join_overview(blocks: Sequence[OverviewRows], halvings: int, web: Extent, frame: Frame) -> Overview:
    """The blocks' cells under each other, as wide as the web.

    Args:
        blocks: From head to end.
        halvings: How often rows were joined in pairs.
        web: Where the web lies.
        frame: The raster.
    """
    width = max(1, math.ceil(web.width_mm / frame.cell_mm - _SLIVER))
    return Overview(
        mean=np.concatenate([_fit(block.mean, width) for block in blocks]),
        worst=np.concatenate([_fit(block.worst, width) for block in blocks]),
        cell_m=frame.cell_lines * frame.pitch_mm[0] / 1000.0 * 2**halvings,
        cell_mm=frame.cell_mm,
        extent=web,
    )


def _fit(cells: NDArray[np.float32], width: int) -> NDArray[np.float32]:
    out = np.full((len(cells), width), np.nan, np.float32)
    shared = min(width, cells.shape[1])
    out[:, :shared] = cells[:, :shared]
    return out


@njit(cache=True, nogil=True)
def _least_most(lowest: Grey, highest: Grey) -> tuple[int, int]:
    least, most = lowest[0], highest[0]
    for j in range(lowest.size):
        least = min(lowest[j], least)
        most = max(highest[j], most)
    return least, most


@njit(cache=True, nogil=True)
def _sum(values: NDArray[np.uint32]) -> int:
    total = np.uint32(0)
    for j in range(values.size):
        total = np.uint32(total + np.uint32(values[j]))
    return total  # type: ignore[return-value]


@njit(cache=True, nogil=True)
def _sum_sound(values: NDArray[np.uint32], sound: NDArray[np.float32]) -> float:
    total = 0.0
    for j in range(values.size):
        total += values[j] * sound[j]
    return total


@njit(cache=True, nogil=True)
def _cell_rows(
    given: tuple[NDArray[np.uint32], Grey, Grey],
    columns: _Columns,
    gain: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]],
    out: NDArray[np.float32],
) -> None:
    (sums, lowest, highest), (weight, scale, seen) = given, gain
    for i in range(out.shape[1]):
        for k in range(columns.cell.size if seen[i] else 0):
            start, end, here = columns.start[k], columns.end[k], columns.cell[k]
            if columns.whole[k]:
                total = float(_sum(sums[i, start:end]))
            else:
                total = _sum_sound(sums[i, start:end], columns.sound[start:end])
            out[0, i, here] = total / (columns.course[k] * weight[i])
            least, most = _least_most(lowest[i, start:end], highest[i, start:end])
            low, high = least / (columns.level[k] * scale[i]), most / (columns.level[k] * scale[i])
            out[1, i, here] = high if high - 1.0 > 1.0 - low else low
