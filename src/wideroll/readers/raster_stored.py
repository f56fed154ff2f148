"""Lines that lie in a file as they are, read without decoding."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from wideroll.readers.raster_file import Depth, Lost, Why, block_lines, reading
from wideroll.scan import LostLines
from wideroll.workflow import Grey

__all__ = ["NOWHERE", "Run", "StoredLines", "join_runs"]

NOWHERE: Final = -1
"""Offset of lines that were never written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Lines that follow one another in the file; ``offsets`` has one place for each plane of channels."""

    first: int
    lines: int
    offsets: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredLines:
    """Runs of lines. With one plane its ``channels`` lie pixel by pixel, with several each plane holds one channel.

    Reading into memory of our own costs 0.12 ns a byte from the page cache. Mapping the file would save most of that,
    but a disk's error or a file cut short while it is read would then end the program instead of losing some lines.
    """

    path: Path
    runs: tuple[Run, ...]
    columns: int
    channels: int
    stored: Depth
    """With the file's byte order."""
    size: int
    """Of the file when it was opened, in bytes."""

    def known(self) -> Sequence[Lost]:
        """What the file is too short for, and what was never written."""
        found = []
        for run in self.runs:
            there = self._there(run)
            if there < run.lines:
                found.append(Lost(first=run.first + there, lines=run.lines - there, why=self._why(run)))
        return found

    def read(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        """Lines in order, as many at a time as make a block."""
        height = block_lines(self.columns * self.channels * self.stored.itemsize)
        with reading(self.path, "it can't be opened"):
            file = FileIO(self.path)
        with file:
            for run in self.runs:
                low, high = max(first, run.first), min(stop, run.first + run.lines)
                there = min(high, run.first + self._there(run))
                for line in range(low, there, height):
                    yield from self._block(file, run, line, min(height, there - line))
                if high > max(low, there):
                    yield LostLines(lines=high - max(low, there), why=f"{self.path.name} {self._why(run)}")

    def _block(self, file: FileIO, run: Run, line: int, lines: int) -> Iterator[Grey | LostLines]:
        why = Why.CUT_OFF
        try:
            planes = [self._plane(file, offset, line - run.first, lines) for offset in run.offsets]
        except OSError:
            planes, why = [np.empty((0, self.columns, 1), self.stored)], Why.UNREADABLE
        there = min(map(len, planes))  # fewer only when the file was cut after it was opened
        if there:
            pixels = planes[0] if len(planes) == 1 else np.concatenate([plane[:there] for plane in planes], axis=2)
            if not pixels.dtype.isnative:
                pixels = pixels.byteswap(inplace=True).view(pixels.dtype.newbyteorder("="))
            yield cast("Grey", pixels.reshape(pixels.shape[:2]) if self.channels == 1 else pixels)
        if there < lines:
            yield LostLines(lines=lines - there, why=f"{self.path.name} {why}")

    def _plane(self, file: FileIO, offset: int, line: int, lines: int) -> NDArray[Any]:
        pixels = np.empty((lines, self.columns, self.channels if self._planes == 1 else 1), self.stored)
        bytes_ = pixels.reshape(-1).view(np.uint8).data
        file.seek(offset + line * self._line_bytes)
        filled = 0
        while filled < len(bytes_) and (got := file.readinto(bytes_[filled:])):
            filled += got
        return pixels[: filled // self._line_bytes]

    def _there(self, run: Run) -> int:
        if min(run.offsets) < 0:
            return 0
        return min(max(0, min(run.lines, (self.size - offset) // self._line_bytes)) for offset in run.offsets)

    def _why(self, run: Run) -> str:
        return Why.UNWRITTEN if min(run.offsets) < 0 else Why.CUT_OFF

    @property
    def _planes(self) -> int:
        return len(self.runs[0].offsets)

    @property
    def _line_bytes(self) -> int:
        return self.columns * self.stored.itemsize * (self.channels if self._planes == 1 else 1)


def join_runs(offsets: NDArray[np.int64], rows: int, lines: int, line_bytes: int) -> tuple[Run, ...]:
    """Strips of ``rows`` lines as runs; strips that touch become one.

    Args:
        offsets: ``[plane, strip]`` in bytes; negative where a strip was never written.
        rows: Lines of each strip but the last.
        lines: Lines of the image.
        line_bytes: Bytes of a line of a plane.
    """
    follows = (offsets[:, 1:] == offsets[:, :-1] + rows * line_bytes) & (offsets[:, :-1] >= 0)
    unwritten = (offsets[:, 1:] < 0) & (offsets[:, :-1] < 0)
    starts = [0, *(np.flatnonzero(~(follows | unwritten).all(axis=0)) + 1).tolist(), offsets.shape[1]]
    return tuple(
        Run(
            first=start * rows,
            lines=min(stop * rows, lines) - start * rows,
            offsets=tuple(int(offset) for offset in offsets[:, start]),
        )
        for start, stop in itertools.pairwise(starts)
    )
