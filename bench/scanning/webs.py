"""Invented webs, 8 bit, with the truth: where each mark and streak was put."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

__all__ = [
    "BLOCK",
    "COLUMNS",
    "LEVEL",
    "MARKS_PER_PIXEL",
    "SETS",
    "SIGMA",
    "MarkSet",
    "PlantedStreak",
    "Web",
    "make_web",
    "stream_web",
]

COLUMNS = 13_720
LEVEL, SIGMA, GAIN, BOW = 150.0, 3.0, 0.005, 0.1
MARKS_PER_PIXEL = 300 / 56e6
BLOCK = 2560
"""Lines with marks of one set; the next block has the next set."""
ROOM = 40
"""Each mark has a square of this side to itself."""
BESIDE, WANDER = 250.0, 10.0
_CHUNK = 160


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkSet:
    """Marks of one kind: sides in pixels and contrast in pixel noise."""

    name: str
    sides: tuple[tuple[int, int], ...]
    snr: tuple[float, float]


_MIXED = tuple((high, wide) for high in range(3, 9) for wide in range(3, 9))
SETS = (
    MarkSet(name="3×3 pixels at 5 σ", sides=((3, 3),), snr=(5.0, 5.0)),
    MarkSet(name="7×7 pixels at 2 σ", sides=((7, 7),), snr=(2.0, 2.0)),
    MarkSet(name="3 to 8 pixels at 8 to 16 σ", sides=_MIXED, snr=(8.0, 16.0)),
    MarkSet(name="2 pixels at 10 σ", sides=((1, 2), (2, 1)), snr=(10.0, 10.0)),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Web:
    """A raster and its marks ``[mark, (along, across, high, wide)]`` in pixels: centres, and sides."""

    image: NDArray[np.uint8]
    marks: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedStreak:
    """A streak three pixels wide; lines and contrast in pixel noise."""

    column: int
    first_line: int
    end_line: int
    snr: float


def make_web(blocks: int, *, seed: int, marked: bool = True, edges: bool = False) -> Web:
    """A web of so many blocks of ``BLOCK`` lines; its sets of marks take turns.

    With ``edges`` the web's edges wander within the raster and across is counted from the left one.
    """
    rng = np.random.Generator(np.random.SFC64(seed))
    image = np.empty((blocks * BLOCK, COLUMNS), np.uint8)
    marks = [_plant(block, rng) for block in range(blocks)] if marked else []
    planted = np.concatenate(marks) if marks else np.empty((0, 5))
    for start in range(0, len(image), _CHUNK):
        signal = _bare(_CHUNK, COLUMNS, rng)
        for top, left, high, wide, snr in planted[(planted[:, 0] // _CHUNK).astype(int) == start // _CHUNK]:
            i, j = int(top) - start, int(left)
            signal[i : i + int(high), j : j + int(wide)] += snr * SIGMA
        if edges:
            _bare_beside(signal, np.arange(start, start + _CHUNK))
        _expose(signal, rng.standard_normal(signal.shape, np.float32), image[start : start + _CHUNK])
    truth = planted[:, :4].copy()
    truth[:, :2] += planted[:, 2:4] / 2.0
    if edges:
        truth[:, 1] -= _edges(planted[:, 0])[0]
    return Web(image=image, marks=truth)


def stream_web(
    lines: int, columns: int, streaks: tuple[PlantedStreak, ...], *, seed: int
) -> Iterator[NDArray[np.uint8]]:
    """A clean web with streaks in pieces of a few lines, each pixel with fresh noise; pieces share their memory."""
    rng = np.random.Generator(np.random.SFC64(seed))
    image = np.empty((_CHUNK, columns), np.uint8)
    noise = np.empty((_CHUNK, columns), np.float32)
    for start in range(0, lines, _CHUNK):
        height = min(_CHUNK, lines - start)
        signal = _bare(height, columns, rng)
        for streak in streaks:
            on = slice(max(streak.first_line - start, 0), max(streak.end_line - start, 0))
            signal[on, streak.column : streak.column + 3] += streak.snr * SIGMA
        rng.standard_normal(out=noise, dtype=np.float32)
        _expose(signal, noise, image)
        yield image[:height]


def _plant(block: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Marks of one block, [mark, (first line, first column, high, wide, snr)]; clear of the web's wandering edges."""
    kind = SETS[block % len(SETS)]
    across = (COLUMNS - 1200) // ROOM
    count = round(MARKS_PER_PIXEL * BLOCK * COLUMNS)
    rooms = rng.choice(BLOCK // ROOM * across, count, replace=False)
    sides = np.array(kind.sides)[rng.integers(0, len(kind.sides), count)]
    top = block * BLOCK + rooms // across * ROOM + rng.integers(2, ROOM - 10, count)
    left = 600 + rooms % across * ROOM + rng.integers(2, ROOM - 10, count)
    snr = rng.choice([-1.0, 1.0], count) * rng.uniform(*kind.snr, count)
    return np.column_stack([top, left, sides, snr])


def _bare_beside(signal: NDArray[np.float32], line: NDArray[np.int64]) -> None:
    """What the scanner sees beside the web; a pixel on the edge sees some of both."""
    left, right = (edge[:, None] for edge in _edges(line))
    for part in (slice(0, 400), slice(COLUMNS - 400, COLUMNS)):
        at = np.arange(COLUMNS)[part]
        beside = np.clip(left - at, 0.0, 1.0) + np.clip(at + 1.0 - right, 0.0, 1.0)
        signal[:, part] += beside * (BESIDE - signal[:, part])


def _edges(line: NDArray[Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Left and right: they wander by a millimetre either way in 25 m."""
    wander = WANDER * np.sin(line / 40_000.0)
    return 300.0 + wander, COLUMNS - 300.0 + wander


def _bare(lines: int, columns: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """Profile times gain; a narrow web is the middle of the wide one."""
    beside = (COLUMNS - columns) // 2
    profile = LEVEL * (1.0 - BOW * np.linspace(-1.0, 1.0, COLUMNS, dtype=np.float32) ** 2)
    gain = 1.0 + GAIN * rng.standard_normal((lines, 1), np.float32)
    return np.asarray(profile[beside : beside + columns] * gain, np.float32)


@njit(cache=True, nogil=True)
def _expose(signal: NDArray[np.float32], noise: NDArray[np.float32], out: NDArray[np.uint8]) -> None:
    """Signal and noise in whole grey values."""
    for i in range(signal.shape[0]):
        for j in range(signal.shape[1]):
            value = signal[i, j] + np.float32(SIGMA) * noise[i, j] + np.float32(0.5)
            out[i, j] = np.uint8(min(max(value, np.float32(0.0)), np.float32(255.0)))
