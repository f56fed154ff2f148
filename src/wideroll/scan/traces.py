"""The traces of all blocks laid side by side, and where a line along the web may hide in them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Protocol

import numpy as np
from numba import njit
from numpy.typing import NDArray

from wideroll.scan.background import MAD
from wideroll.scan.edges import Edges
from wideroll.scan.frame import Frame
from wideroll.scan.residual import SETTLED_BLOCKS, Residual, columns_to_cell, settle_residuals

__all__ = [
    "Candidate",
    "Sheet",
    "TracedBlock",
    "Traces",
    "excess_scatter",
    "find_candidates",
    "lay_traces",
    "sheet_parts",
]

_MOST_BLOCKS: Final = 16_000
"""Beyond this, neighbouring blocks are joined in pairs."""
_WIDEST_MM: Final = 6.0
_FAINTER: Final = 0.7
"""A window that covers a line badly may show this share of its strength."""
_TILE: Final = 8
_PART_SIZE: Final = 4_000_000
_SAMPLE: Final = 48
_LEAST_PART: Final = 128
_MOST_PART: Final = 1024
_MOST: Final = 2000
_LEAST_WANDER: Final = 2
"""Cells that the web must wander before its own lines differ from the scanner's."""


class TracedBlock(Protocol):
    """What a block must keep for its lines along the web."""

    @property
    def first_line(self) -> int:
        """Counted from the head."""

    @property
    def lines(self) -> int:
        """Of the block, looked at or not."""

    @property
    def edges(self) -> Edges | None:
        """None where the block shows no web."""

    @property
    def residual(self) -> Residual | None:
        """Its trace; None where the block shows no web."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """Traces by cell and block, counted from the datum edge or from the raster's first column."""

    snr: NDArray[np.float16]
    """``[cell, block]``, 0 where nothing was looked at. What has become a line is taken out, in place."""
    shift: NDArray[np.int64]
    """(blocks,) cells by which the sheet lies beyond the datum edge: cell i is cell i − shift of the web."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Traces:
    """Departure from the smooth profile, by block and place from the datum edge."""

    web: Sheet
    raster: Sheet | None
    """None where the web wandered too little for it to differ."""
    lines: NDArray[np.int64]
    """(blocks,) that were looked at; 0 where the block shows no web."""
    left: NDArray[np.float64]
    """(blocks,) column of the datum edge."""
    borders_m: NDArray[np.float64]
    """(blocks + 1,) places along of the borders of the blocks."""
    fine: NDArray[np.float16]
    """``[column, group]`` the same by column, over the lines of a group of blocks."""
    fine_lines: NDArray[np.int64]
    """(groups,)."""
    fine_of: NDArray[np.int64]
    """(blocks,) group of each block."""
    spread: NDArray[np.float32]
    """``[cell, group of spread]`` deviation of a column over a single line, as a fraction of the signal."""
    spread_of: NDArray[np.int64]
    """(blocks,) group of spread of each block."""
    cell_columns: int
    pitch_mm: float
    """Width of a column."""

    @property
    def cell_mm(self) -> float:
        """Width of a cell."""
        return self.cell_columns * self.pitch_mm


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Candidate:
    """A window of blocks and cells whose mean stands out."""

    snr: float
    block: int
    blocks: int
    cell: int
    cells: int


def lay_traces(blocks: Sequence[TracedBlock], frame: Frame) -> Traces:
    """Lay the blocks' traces side by side, so that the datum edge lies at cell 0."""
    step = 1
    while -(-len(blocks) // step) > _MOST_BLOCKS:
        step *= 2
    step = min(step, SETTLED_BLOCKS)
    kept = [block.residual for block in blocks]
    settled = [part for i in range(0, len(kept), SETTLED_BLOCKS) for part in _one_group(kept[i : i + SETTLED_BLOCKS])]
    count = -(-len(blocks) // step)
    lines = np.array([0 if item is None else item.lines for item in kept], np.int64)
    held = np.add.reduceat(lines, np.arange(0, len(blocks), step)) if len(blocks) else lines
    snr = _lay_cells(kept, lines, step)
    left = _left_edges(blocks, step)
    size = columns_to_cell(frame)
    spread = _columns([None if item is None else item.spread for item in settled]).astype(np.float32)
    groups = np.arange(count) * step // SETTLED_BLOCKS
    fine_lines = np.array([0 if item is None else item.fine_lines for item in settled], np.int64)
    starts = [blocks[i].first_line for i in range(0, len(blocks), step)]
    ends = [blocks[-1].first_line + blocks[-1].lines] if blocks else [0]
    shift = np.rint(np.rint(left) / size).astype(np.int64)
    return Traces(
        web=Sheet(snr=snr, shift=np.zeros(count, np.int64)),
        raster=_raster_sheet(snr, shift - shift.min(initial=0), left, size),
        lines=held,
        left=left,
        borders_m=frame.lines_m(np.array(starts + ends, np.float64)),
        fine=snr if size == 1 else _columns([None if item is None else item.fine for item in settled]),
        fine_lines=held if size == 1 else fine_lines,
        fine_of=np.arange(count) if size == 1 else groups,
        spread=spread,
        spread_of=groups,
        cell_columns=size,
        pitch_mm=frame.pitch_mm[1],
    )


def excess_scatter(values: NDArray[np.float64] | NDArray[np.float32], axis: int = -1) -> NDArray[np.float64]:
    """How many times more than noise the values along an axis scatter; at least 1.

    Columns that differ everywhere, as by a pattern of the scanner, raise what a line must reach.
    """
    return np.maximum(1.0, MAD * np.median(np.abs(values), axis=axis))


def sheet_parts(sheet: Sheet) -> list[tuple[int, int]]:
    """Borders of the parts of a sheet (cell from, to) that are searched one by one."""
    seen = np.flatnonzero(np.any(sheet.snr != 0.0, axis=1))
    if not seen.size:
        return []
    low, high = int(seen[0]), int(seen[-1]) + 1
    size = int(np.clip(_PART_SIZE // sheet.snr.shape[1], _LEAST_PART, _MOST_PART))
    cuts = np.linspace(low, high, -(-(high - low) // size) + 1).astype(np.int64).tolist()
    return list(pairwise(cuts))


def find_candidates(sheet: Sheet, part: tuple[int, int], cell_mm: float, streak_snr: float) -> list[Candidate]:
    """Windows of doubling length and width that stand out, the strongest first.

    A window inside a longer one that stands out more is left out.
    """
    low, high = part
    widest = max(1, min(high - low, int(_WIDEST_MM / cell_mm)))
    high = min(high + widest - 1, len(sheet.snr))
    blocks = sheet.snr.shape[1]
    longer: NDArray[np.float32] | None = None
    found: list[Candidate] = []
    for length, sums in reversed(list(_doubled(sheet.snr[low:high], blocks))):
        starts = np.arange(sums.shape[1]) * max(1, length // 2)
        level, cells, where = _tiles(sums, np.minimum(length, blocks - starts), _doubling(widest))
        above = np.zeros_like(level) if longer is None else _within(longer, level.shape[1], halved=length > 1)
        for i, k in np.argwhere((level > _FAINTER * streak_snr) & (level > above)).tolist():
            start = int(starts[k])
            found.append(
                Candidate(
                    snr=float(level[i, k]),
                    block=start,
                    blocks=min(length, blocks - start),
                    cell=low + int(where[i, k]),
                    cells=int(cells[i, k]),
                )
            )
        longer = np.maximum(level, above)
    return sorted(found, reverse=True)[:_MOST]


def _one_group(residuals: list[Residual | None]) -> list[Residual | None]:
    """The one of the group that keeps its columns."""
    return [next((item for item in settle_residuals(residuals) if item and item.spread is not None), None)]


def _lay_cells(kept: Sequence[Residual | None], lines: NDArray[np.int64], step: int) -> NDArray[np.float16]:
    width = max((len(item.snr) for item in kept if item is not None), default=0)
    out = np.zeros((width, -(-len(kept) // step)), np.float16)
    for start in range(0, len(kept), 16 * step * _TILE):
        part = kept[start : start + 16 * step * _TILE]
        rows = np.zeros((-(-len(part) // step) * step, width), np.float16)
        for i, item in enumerate(part):
            if item is not None:
                rows[i, : len(item.snr)] = item.snr
        if step > 1:
            weight = np.zeros((len(rows), 1), np.float32)
            weight[: len(part), 0] = lines[start : start + len(part)]
            total = (rows * np.sqrt(weight)).reshape(-1, step, width).sum(axis=1)
            rows = (total / np.sqrt(np.maximum(weight.reshape(-1, step).sum(axis=1), 1.0))[:, None]).astype(np.float16)
        out[:, start // step : start // step + len(rows)] = rows.T
    return out


def _columns(rows: Sequence[NDArray[np.float16] | None]) -> NDArray[np.float16]:
    """As columns of one table, 0 where there are none."""
    out = np.zeros((max((len(row) for row in rows if row is not None), default=0), len(rows)), np.float16)
    for i, row in enumerate(rows):
        if row is not None:
            out[: len(row), i] = row
    return out


def _left_edges(blocks: Sequence[TracedBlock], step: int) -> NDArray[np.float64]:
    """Of each block or group of blocks; where none is known, that of the nearest."""
    left = np.array([np.nan if block.edges is None else block.edges.left for block in blocks])
    known = np.flatnonzero(~np.isnan(left))
    if not known.size:
        return np.zeros(-(-len(blocks) // step))
    filled = np.interp(np.arange(len(left)), known, left[known])
    starts = np.arange(0, len(left), step)
    return np.asarray(np.add.reduceat(filled, starts) / np.diff(np.append(starts, len(left))))


def _raster_sheet(
    snr: NDArray[np.float16], shift: NDArray[np.int64], left: NDArray[np.float64], size: int
) -> Sheet | None:
    if not snr.size or np.ptp(np.percentile(left, (2.0, 98.0))) < _LEAST_WANDER * size:
        return None
    moved = np.zeros((len(snr) + int(shift.max()), snr.shape[1]), np.float16)
    for step in np.unique(shift).tolist():
        blocks = np.flatnonzero(shift == step)
        moved[step : step + len(snr), blocks] = snr[:, blocks]
    return Sheet(snr=moved, shift=shift)


def _doubling(most: int) -> list[int]:
    sizes = []
    size = 1
    while size < most:
        sizes.append(size)
        size *= 2
    return [*sizes, most]


def _doubled(snr: NDArray[np.float16], blocks: int) -> Iterator[tuple[int, NDArray[np.float32]]]:
    """Sums over windows of 1, 2, 4 … blocks, each starting half a window after the one before."""
    length = 1
    padded = 1 << max(0, (blocks - 1).bit_length())
    sums = np.zeros((len(snr), padded), np.float32)
    sums[:, :blocks] = snr
    while True:
        yield length, sums[:, : -(-blocks // max(1, length // 2))]
        if length >= padded:
            return
        sums = sums[:, :-1] + sums[:, 1:] if length == 1 else sums[:, :-2:2] + sums[:, 2::2]
        length *= 2


def _tiles(
    sums: NDArray[np.float32], seen: NDArray[np.int64], widths: Sequence[int]
) -> tuple[NDArray[np.float32], NDArray[np.int32], NDArray[np.int32]]:
    """Greatest level in each tile of cells, the width that shows it, and its first cell."""
    cells, windows = sums.shape
    beside = np.zeros((cells + 1, windows), np.float32)
    np.cumsum(sums, axis=0, out=beside[1:])
    shape = (-(-cells // _TILE), windows)
    level, width, where = np.zeros(shape, np.float32), np.ones(shape, np.int32), np.zeros(shape, np.int32)
    for size in widths:
        step = max(1, (cells - size + 1) // _SAMPLE)
        some = (beside[size::step] - beside[: cells - size + 1 : step]) / np.sqrt(seen * float(size))
        scale = (1.0 / (np.sqrt(seen * float(size)) * excess_scatter(some, axis=0))).astype(np.float32)
        _raise_tiles(beside, size, scale, (level, width, where))
    return level, width, where


@njit(cache=True, nogil=True)
def _raise_tiles(
    beside: NDArray[np.float32],
    size: int,
    scale: NDArray[np.float32],
    best: tuple[NDArray[np.float32], NDArray[np.int32], NDArray[np.int32]],
) -> None:
    level, width, where = best
    for cell in range(beside.shape[0] - size):
        tile = cell // _TILE
        here, there = beside[cell], beside[cell + size]
        for k in range(scale.size):
            value = abs(there[k] - here[k]) * scale[k]
            if value > level[tile, k]:
                level[tile, k], width[tile, k], where[tile, k] = value, size, cell


def _within(longer: NDArray[np.float32], windows: int, *, halved: bool) -> NDArray[np.float32]:
    """Level of the window twice as long that holds each window, over the tile and its neighbours."""
    wide = longer.copy()
    np.maximum(wide[1:], longer[:-1], out=wide[1:])
    np.maximum(wide[:-1], longer[1:], out=wide[:-1])
    holder = np.arange(windows) // 2 if halved else np.arange(windows)
    return wide[:, np.minimum(holder, wide.shape[1] - 1)]
