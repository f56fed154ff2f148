"""The overview of a whole roll as a pyramid in Zarr: each level half as fine as the one before, both ways.

What is stored is the departure of the signal from the level of its surroundings, as a fraction of it: −0.1 is a tenth
darker. ``mean`` is that of a cell, ``worst`` the one in it furthest from 0, whichever way, so that a mark of one pixel
stays on every level. A cell that nobody looked at is NaN.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
import zarr
from numpy.typing import NDArray
from zarr.codecs import ZstdCodec

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.store.folders import refused
from wideroll.store.parts import PartFolder

__all__ = ["CHUNK", "LAYERS", "PYRAMID_VERSION", "STEP", "PyramidWriter"]

Layer = Literal["mean", "worst"]

LAYERS: Final[tuple[Layer, Layer]] = ("mean", "worst")
PYRAMID_VERSION: Final = 1
CHUNK: Final = (1024, 256)
"""Cells of a chunk, along and across."""
STEP: Final[dict[Layer, float]] = {"mean": 2.0**-13, "worst": 2.0**-11}
"""Departures are rounded to this, well under the noise of a cell: float16 holds that exactly up to 0.25 and 1, and
what doesn't hold noise needs a third of the space."""
_SMALL: Final = 256
"""No level is made from one of no more cells than this along and across."""
_GATHER: Final = 256
"""Rows are worked on so many at a time: a block of web has but a few."""
_GREATEST: Final = 60_000.0
_COMPRESSION: Final = 5


class PyramidWriter:
    """Takes the finest level's rows as they come and keeps no more than a chunk's height of each level.

    The folder appears when all is done; the same rows give the same bytes, however they were cut.

    Args:
        path: of the folder, such as ``results/W-2042/overview.zarr``.
        fingerprint: of what it is made from, kept in its attributes.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> web = Extent(along_from_m=0.0, along_to_m=6.0, across_from_mm=0.0, across_to_mm=30.0)
        >>> cells = np.full((600, 3), 0.75, np.float32)
        >>> with TemporaryDirectory() as folder:
        ...     writer = PyramidWriter(Path(folder, "overview.zarr"))
        ...     writer.put(cells, cells)
        ...     writer.finish(0.01, 10.0, web)
        ...     made = zarr.open_group(Path(folder, "overview.zarr"), mode="r")
        ...     [made[f"{level}/mean"].shape for level in range(3)], float(made["2/worst"][0, 0])
        ([(600, 3), (300, 2), (150, 1)], -0.25)
    """

    def __init__(self, path: Path, *, fingerprint: str = "") -> None:
        self._path = path
        self._fingerprint = fingerprint
        try:
            self._part = PartFolder(path)
        except OSError as error:
            raise refused(path, error) from error
        self._group = zarr.create_group(store=self._part.path, zarr_format=3)
        self._arrays: dict[str, zarr.Array[Any]] = {}
        self._fresh: list[NDArray[np.float32]] = []
        self._levels: list[_Level] = []

    def put(self, mean: NDArray[np.float32], worst: NDArray[np.float32]) -> None:
        """The next rows ``[along, across]``, as signal over the level of its surroundings; NaN where nobody looked.

        Blocks may differ in width: what one lacks was not looked at.

        Raises:
            ArgumentError: when the two differ in shape or aren't ``[along, across]``.
            InputError: when the disk refuses.
        """
        if mean.ndim != len(CHUNK) or mean.shape != worst.shape:
            raise ArgumentError(
                where="rows of the overview",
                rule="mean and worst have the same rows and cells",
                value=(mean.shape, worst.shape),
                mend="Hand over both layers of the same lines.",
            )
        rows = np.clip(np.stack([mean, worst]).astype(np.float32) - np.float32(1.0), -_GREATEST, _GREATEST)
        # The worst is chosen among what is stored, so that each level can be checked against the one before.
        rows[1] = _coded(rows[1], "worst")
        self._fresh.append(rows)
        if sum(piece.shape[1] for piece in self._fresh) >= _GATHER:
            self._take_fresh()

    def finish(self, cell_m: float, cell_mm: float, extent: Extent) -> None:
        """Write what is left and put the folder in its place.

        Args:
            cell_m: size of a cell of the finest level along the web.
            cell_mm: its size across.
            extent: the web; the last row and column may reach past it.

        Raises:
            InputError: when the disk refuses.
        """
        self._take_fresh()
        number = 0
        while number < len(self._levels):
            level = self._levels[number]
            if level.odd is not None and not level.small:
                self._take(number + 1, _halve(_under([level.odd, np.full_like(level.odd, np.nan)])))
            number += 1
        kept = 1 + next((n for n, level in enumerate(self._levels) if level.small), 0)
        for number, level in enumerate(self._levels[:kept] or [_Level()]):
            self._write(number, level, level.waiting)
            size = {"cell_m": cell_m * 2.0**number, "cell_mm": cell_mm * 2.0**number}
            self._group[str(number)].attrs.update(size)
        places = ("along_from_m", "along_to_m", "across_from_mm", "across_to_mm")
        self._group.attrs.update(
            {
                "version": PYRAMID_VERSION,
                "holds": "departure of the signal from the level of its surroundings, as a fraction of it",
                "levels": kept,
                "cell_m": cell_m,
                "cell_mm": cell_mm,
                "extent": {name: float(getattr(extent, name)) for name in places},
                "fingerprint": self._fingerprint,
            }
        )
        try:
            self._part.put_in_place()
        except OSError as error:
            raise refused(self._path, error) from error

    def abandon(self) -> None:
        """Leave what stood there before, and nothing of this."""
        self._part.drop()

    def _take_fresh(self) -> None:
        if self._fresh:
            self._take(0, _under(self._fresh))
            self._fresh = []

    def _take(self, number: int, rows: NDArray[np.float32]) -> None:
        if number == len(self._levels):
            self._levels.append(_Level())
        level = self._levels[number]
        level.rows.append(rows)
        level.waiting += rows.shape[1]
        level.count += rows.shape[1]
        level.width = max(level.width, rows.shape[2])
        while level.waiting >= CHUNK[0]:
            self._write(number, level, CHUNK[0])
        pairs = rows if level.odd is None else _under([level.odd, rows])
        even = pairs.shape[1] // 2 * 2
        level.odd = pairs[:, even:].copy() if even < pairs.shape[1] else None
        if even:
            self._take(number + 1, _halve(pairs[:, :even]))

    def _write(self, number: int, level: "_Level", lines: int) -> None:
        """Hand so many of the rows that wait to the disk; nothing more than the array itself where there are none."""
        waiting = _under(level.rows) if level.rows else np.empty((2, 0, level.width), np.float32)
        shape = (level.count - level.waiting + lines, level.width)
        for layer, values in zip(LAYERS, waiting[:, :lines], strict=True):
            array = self._array(f"{number}/{layer}")
            array.resize(shape)
            if values.size:
                array[shape[0] - lines :, : values.shape[1]] = _coded(values, layer)
        level.rows = [waiting[:, lines:].copy()] if lines < level.waiting else []
        level.waiting -= lines

    def _array(self, name: str) -> zarr.Array[Any]:
        if name not in self._arrays:
            self._arrays[name] = self._group.create_array(
                name,
                shape=(0, 0),
                chunks=CHUNK,
                dtype=np.float16,
                fill_value=np.nan,
                compressors=ZstdCodec(level=_COMPRESSION),
                dimension_names=("along", "across"),
            )
        return self._arrays[name]


@dataclass(slots=True)
class _Level:
    """Rows of one level, ``(2, rows, cells)``: those that wait for the disk, and one that waits for its neighbour."""

    rows: list[NDArray[np.float32]] = field(default_factory=list)
    odd: NDArray[np.float32] | None = None
    waiting: int = 0
    count: int = 0
    width: int = 0

    @property
    def small(self) -> bool:
        return max(self.count, self.width) <= _SMALL


def _coded(values: NDArray[np.float32], layer: Layer) -> NDArray[np.float16]:
    step = np.float32(STEP[layer])
    return (np.round(values / step) * step).astype(np.float16)


def _under(pieces: Sequence[NDArray[np.float32]]) -> NDArray[np.float32]:
    """Rows under each other, all as wide as the widest."""
    width = max(piece.shape[2] for piece in pieces)
    if all(piece.shape[2] == width for piece in pieces):
        return np.concatenate(pieces, axis=1)
    pad = [np.pad(piece, ((0, 0), (0, 0), (0, width - piece.shape[2])), constant_values=np.nan) for piece in pieces]
    return np.concatenate(pad, axis=1)


def _halve(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    """``(2, rows / 2, ceil(cells / 2))``: of 2 × 2 cells the mean of those seen, and the worst."""
    if rows.shape[2] % 2:
        rows = np.pad(rows, ((0, 0), (0, 0), (0, 1)), constant_values=np.nan)
    four = [rows[:, i::2, j::2] for i in (0, 1) for j in (0, 1)]
    mean = np.stack([cells[0] for cells in four])
    seen = ~np.isnan(mean)
    count = seen.sum(axis=0, dtype=np.float32)
    total = np.where(seen, mean, np.float32(0.0)).sum(axis=0)
    low = np.fmin.reduce([cells[1] for cells in four])
    high = np.fmax.reduce([cells[1] for cells in four])
    out = np.empty((2, *low.shape), np.float32)
    out[0] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    out[1] = np.where(high > -low, high, low)
    return out
