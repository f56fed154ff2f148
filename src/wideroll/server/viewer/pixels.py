"""The finest levels: the raster's own pixels as departures from the level of their surroundings.

That level is the one the scan used: a cell's mean signal over one plus what the overview says it departs by. So the
pixels of a cell average to the cell, and what the overview doesn't show isn't shown here either.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wideroll.scan import LostLines
from wideroll.scan.edges import Edges, find_edges
from wideroll.scan.frame import Frame, make_frame

if TYPE_CHECKING:
    from wideroll.readers import SegmentedRaster
    from wideroll.store import Pyramid
    from wideroll.store.scan_files import ScanCard

__all__ = ["PixelSource", "read_pixels"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PixelSource:
    """A raster with the overview that was made of it, and what the scan says of itself."""

    raster: "SegmentedRaster"
    pyramid: "Pyramid"
    card: "ScanCard"


def read_pixels(source: PixelSource, first_line: int, lines: int, joined: int) -> NDArray[np.float32]:
    """``(2, lines / joined, across)``: mean and worst of each block of so many pixels along and across; NaN unseen.

    Across starts at the datum edge of the web, to the nearest pixel, as it lies in these lines.

    Args:
        source: of the pixels.
        first_line: the first, counted from the head.
        lines: how many; a last block may be shorter.
        joined: pixels of a block, along and across.
    """
    frame = _frame(source)
    tall = frame.cell_lines
    start, stop = first_line // tall * tall, min(-(-(first_line + lines) // tall) * tall, source.raster.lines)
    raw, there = _read(source.raster, start, max(stop, start))
    wide = -(-round(source.pyramid.extent.width_mm / frame.pitch_mm[1]) // joined)
    out = np.full((2, -(-lines // joined), wide), np.nan, np.float32)
    if not there.any():
        return out
    edges = find_edges(raw[there].mean(axis=0), frame, None)
    first, last = edges.inside(frame)
    level = _levels(raw, there, (source, frame, edges), start // tall)
    shift = first_line - start
    part = raw[shift : shift + lines], there[shift : shift + lines]
    blocks = _blocks(part, (first, last), (round(edges.left), wide, joined))
    rows = (shift + np.arange(blocks.shape[1]) * joined + joined // 2) // tall
    columns = round(edges.left) + np.arange(wide) * joined + joined // 2
    columns = np.clip(columns, first, max(last - 1, first))
    cell = _cell_of(columns, edges, frame)
    known = cell < level.shape[1]
    ground = np.full((blocks.shape[1], wide), np.nan)
    ground[:, known] = level[np.minimum(rows, len(level) - 1)][:, cell[known]]
    out[:, : blocks.shape[1]] = _departures(blocks, ground)
    return out


def _frame(source: PixelSource) -> Frame:
    raster, card = source.raster, source.card
    return make_frame(raster.columns, card.pitch_mm, raster.dtype, card.settings)


def _read(raster: "SegmentedRaster", start: int, stop: int) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Lines ``[along, across]`` of the first channel, and which of them are there."""
    raw = np.zeros((stop - start, raster.columns), raster.dtype)
    there = np.zeros(stop - start, np.bool_)
    for begin, file in zip(raster.starts, raster.files, strict=True):
        line, end = max(start, begin), min(stop, begin + file.lines)
        if line >= end:
            continue
        for block in file.blocks(line - begin, end - begin):
            if isinstance(block, LostLines):
                line += block.lines
                continue
            raw[line - start : line - start + len(block)] = block if block.ndim == raw.ndim else block[:, :, 0]
            there[line - start : line - start + len(block)] = True
            line += len(block)
    return raw, there


def _cell_of(columns: NDArray[np.int64], edges: Edges, frame: Frame) -> NDArray[np.int64]:
    places = (columns + 0.5 - edges.left) * frame.pitch_mm[1]
    return np.asarray(np.maximum(places // frame.cell_mm, 0.0), np.int64)


def _levels(
    raw: NDArray[Any], there: NDArray[np.bool_], given: tuple[PixelSource, Frame, Edges], first_row: int
) -> NDArray[np.float64]:
    """Level of the surroundings of each cell ``[along, across]``; NaN where nobody looked."""
    source, frame, edges = given
    tall = np.arange(0, len(raw), frame.cell_lines)
    size = source.pyramid.cell_m
    rows = source.pyramid.stretch(first_row * size, (first_row + len(tall)) * size, level=0).overview.mean
    level = np.full((len(tall), rows.shape[1]), np.nan)
    first, last = edges.inside(frame)
    if last <= first:
        return level
    cell = _cell_of(np.arange(first, last), edges, frame)
    wide = np.flatnonzero(np.diff(cell, prepend=-1))
    here = cell[wide] < level.shape[1]
    sums = np.add.reduceat(raw[:, first:last], tall, axis=0, dtype=np.uint32)
    total = np.add.reduceat(sums, wide, axis=1, dtype=np.uint64)[:, here]
    count = np.add.reduceat(there, tall, dtype=np.int64)[:, None] * np.diff(np.append(wide, last - first))[here]
    departs = rows[:, cell[wide][here]].astype(np.float64)
    many = min(len(departs), len(level))
    found = np.full((len(tall), int(here.sum())), np.nan)
    seen = (count[:many] > 0) & (departs[:many] > 0.0)
    np.divide(total[:many], count[:many] * np.where(seen, departs[:many], 1.0), out=found[:many], where=seen)
    level[:, cell[wide][here]] = found
    return level


def _blocks(
    part: tuple[NDArray[Any], NDArray[np.bool_]], inside: tuple[int, int], how: tuple[int, int, int]
) -> NDArray[np.float64]:
    """``(3, rows, across)``: mean, lowest and highest of each block from the datum edge on; NaN where none is.

    Args:
        part: lines, and which of them are there.
        inside: columns from, and up to but without, between the edge beads.
        how: column of the datum edge, blocks across, and pixels of a block along and across.
    """
    (raw, there), (left, wide, joined) = part, how
    tall = -(-len(raw) // joined)
    pad = np.zeros((tall * joined, wide * joined), raw.dtype)
    sound = np.zeros(pad.shape[1], np.bool_)
    begin = max(left, inside[0])
    end = max(min(left + pad.shape[1], inside[1]), begin)
    pad[: len(raw), begin - left : end - left] = raw[:, begin:end]
    sound[begin - left : end - left] = True
    lines = np.zeros(len(pad), np.bool_)
    lines[: len(raw)] = there
    count = lines.reshape(tall, joined).sum(axis=1)[:, None] * sound.reshape(wide, joined).sum(axis=1)
    pad[~lines] = 0
    total = _joined(pad.astype(np.uint32), joined, np.add)
    highest = _joined(pad, joined, np.maximum)
    pad[~lines] = np.iinfo(raw.dtype).max
    pad[:, ~sound] = np.iinfo(raw.dtype).max
    lowest = _joined(pad, joined, np.minimum)
    seen = count > 0
    stacked = np.stack([total / np.maximum(count, 1), lowest, highest]).astype(np.float64)
    return np.where(seen, stacked, np.nan)


def _joined(values: NDArray[Any], joined: int, how: np.ufunc) -> NDArray[Any]:
    rows = values[::joined].copy()
    for place in range(1, joined):
        how(rows, values[place::joined], out=rows)
    out = rows[:, ::joined].copy()
    for place in range(1, joined):
        how(out, rows[:, place::joined], out=out)
    return out


def _departures(blocks: NDArray[np.float64], ground: NDArray[np.float64]) -> NDArray[np.float32]:
    mean, low, high = blocks / ground - 1.0
    return np.stack([mean, np.where(high > -low, high, low)]).astype(np.float32)
