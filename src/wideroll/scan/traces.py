"""The traces of all blocks laid side by side in web coordinates, and where a line along the web may hide in them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.scan.background import MAD
from wideroll.scan.frame import Frame
from wideroll.scan.screening import BlockReport

__all__ = ["Candidate", "Traces", "excess_scatter", "find_candidates", "lay_traces"]

_WIDEST_MM: Final = 6.0
_CHUNK: Final = 256
_FAINTER: Final = 0.6
"""A window that covers a line badly may show this share of its strength."""
_MOST: Final = 100_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Traces:
    """Departure from the smooth profile, by block and column from the datum edge."""

    snr: NDArray[np.float32]
    """``[block, column]``, 0 where nothing was looked at."""
    spread: NDArray[np.float64]
    """(columns,) its standard deviation as a fraction of the signal, averaged over the blocks."""
    borders_m: NDArray[np.float64]
    """(blocks + 1,) places along of the borders of the blocks."""
    pitch_mm: float
    """Width of a column."""


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Candidate:
    """A window of blocks and columns whose mean stands out."""

    snr: float
    block: int
    blocks: int
    column: int
    columns: int


def lay_traces(blocks: Sequence[BlockReport], frame: Frame) -> Traces:
    """Shift each block's trace by whole columns, so that the datum edge lies at column 0."""
    seen = [block.edges for block in blocks if block.edges]
    shifts = [round(block.edges.left) if block.edges else 0 for block in blocks]
    width = max((int(np.ceil(edges.right)) - round(edges.left) for edges in seen), default=0)
    snr = np.zeros((len(blocks), width), np.float32)
    total, count = np.zeros(width), np.zeros(width)
    for i, block in enumerate(blocks):
        if block.residual is not None:
            part = slice(shifts[i], shifts[i] + width)
            shown = block.residual.spread[part].astype(np.float64)
            snr[i, : len(shown)] = block.residual.snr[part]
            total[: len(shown)] += shown
            count[: len(shown)] += shown > 0.0
    lines = [block.first_line for block in blocks] + [blocks[-1].first_line + blocks[-1].lines]
    return Traces(
        snr=snr,
        spread=total / np.maximum(count, 1.0),
        borders_m=np.array([frame.along_m(line) for line in lines]),
        pitch_mm=frame.pitch_mm[1],
    )


def excess_scatter(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """How many times more than noise the values along the last axis scatter; at least 1.

    Columns that differ everywhere, as by a pattern of the scanner, raise what a line must reach.
    """
    seen = np.where(values == 0.0, np.nan, np.abs(values))
    some = np.any(values != 0.0, axis=-1, keepdims=True)
    return np.maximum(1.0, MAD * np.nanmedian(np.where(some, seen, 0.0), axis=-1))


def find_candidates(traces: Traces, frame: Frame) -> list[Candidate]:
    """Windows of doubling length and width that stand out, the strongest first."""
    found = [hit for blocks in _doubling(len(traces.snr)) for hit in _scan_length(traces, blocks, frame)]
    return sorted(found, reverse=True)[:_MOST]


def _doubling(most: int) -> list[int]:
    sizes = []
    size = 1
    while size < most:
        sizes.append(size)
        size *= 2
    return [*sizes, most]


def _scan_length(traces: Traces, blocks: int, frame: Frame) -> Iterator[Candidate]:
    count, width = traces.snr.shape
    starts = np.unique(np.append(np.arange(0, count - blocks + 1, max(1, blocks // 2)), count - blocks))
    widest = max(1, min(width, int(_WIDEST_MM / frame.pitch_mm[1])))
    for group in np.array_split(starts, -(-len(starts) // _CHUNK)):
        sums = np.stack([traces.snr[s : s + blocks].sum(axis=0, dtype=np.float64) for s in group.tolist()])
        beside = np.concatenate([np.zeros((len(sums), 1)), np.cumsum(sums, axis=1)], axis=1)
        for columns in _doubling(widest):
            step = max(1, columns // 2)
            boxes = (beside[:, columns:] - beside[:, :-columns])[:, ::step] / np.sqrt(blocks * columns)
            level = np.abs(boxes) / excess_scatter(boxes)[:, None]
            for i, j in np.argwhere(level > _FAINTER * frame.settings.streak_snr).tolist():
                yield Candidate(
                    snr=float(level[i, j]), block=int(group[i]), blocks=blocks, column=j * step, columns=columns
                )
