"""A raster file: its size, how its lines are stored, and which of them are lost."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol, TypeAlias, cast

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import InputError
from wideroll.scan import LostLines
from wideroll.workflow import Grey

__all__ = [
    "DEPTHS",
    "GREY_MEND",
    "MOST_BYTES_AT_ONCE",
    "Depth",
    "Lost",
    "Pixels",
    "RasterFile",
    "Why",
    "as_blocks",
    "block_lines",
    "broken",
    "check_channels",
    "joined",
    "reading",
    "too_large",
]

Depth: TypeAlias = np.dtype[np.uint8] | np.dtype[np.uint16]
DEPTHS: Final[dict[str, Depth]] = {"uint8": np.dtype(np.uint8), "uint16": np.dtype(np.uint16)}
MOST_BYTES_AT_ONCE: Final = 1 << 30
"""Decoded size of what can only be decoded at once: a strip, a row of tiles or chunks, a PNG."""
GREY_MEND: Final = (
    "Save it as an 8 or 16 bit grey TIFF, Zarr, raw or PNG file with 0 as black; a file of several channels needs "
    'their names in scan.toml, like channels = ["infrared", "red"].'
)
# Blocks that fit a core's cache are worked on faster, and malloc hands the same warm pages out again and again.
_BLOCK_BYTES: Final = 4 << 20


class Why:
    """Why lines are lost, in words that follow the file's name."""

    CUT_OFF: Final = "is cut off"
    UNWRITTEN: Final = "was not written whole"
    DAMAGED: Final = "is damaged"
    UNREADABLE: Final = "can't be read from its disk"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Lines of a file that can't be read: from ``first``, so many."""

    first: int
    lines: int
    why: str


class Pixels(Protocol):
    """How the lines of a file are stored."""

    def known(self) -> Sequence[Lost]:
        """Lines that are known to be lost before any is read, in order."""

    def read(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        """Lines ``first`` to ``stop - 1`` in order, in pieces as they are stored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RasterFile:
    """One file. Its header says how many ``lines`` there should be; some of them may be lost."""

    path: Path
    lines: int
    columns: int
    channels: int
    dtype: Depth
    pixels: Pixels

    @property
    def known_lost(self) -> tuple[Lost, ...]:
        """Lines that are known to be lost before any is read, in order."""
        return tuple(self.pixels.known())

    def blocks(self, first: int = 0, stop: int | None = None) -> Iterator[Grey | LostLines]:
        """The lines in order, from ``first`` up to but without ``stop``.

        Yields:
            ``[along, across]``, or ``[along, across, channel]`` where there are several, about 4 MB each; what can't
            be read comes as lost lines in its place.

        Raises:
            InputError: when the file is gone since it was opened.
        """
        height = block_lines(self.columns * self.channels * self.dtype.itemsize)
        return as_blocks(self.pixels.read(first, self.lines if stop is None else stop), height)


def block_lines(line_bytes: int) -> int:
    """Lines of a block."""
    return max(1, _BLOCK_BYTES // line_bytes)


def as_blocks(pieces: Iterable[Grey | LostLines], height: int) -> Iterator[Grey | LostLines]:
    """Pieces of any height as blocks of about ``height`` lines; lost lines that follow one another become one."""
    held: list[Grey] = []
    lines = 0
    lost: LostLines | None = None
    for piece in pieces:
        if isinstance(piece, LostLines):
            yield from _together(held)
            if lost is not None and lost.why != piece.why:
                yield lost
                lost = None
            lost = LostLines(lines=piece.lines + (lost.lines if lost else 0), why=piece.why)
            continue
        if lost is not None:
            yield lost
            lost = None
        if len(piece) >= height:
            yield from _together(held)
            yield from _cut(piece, height)
            continue
        lines = len(piece) + (lines if held else 0)
        held.append(piece)
        if lines >= height:
            yield from _together(held)
    yield from _together(held)
    if lost is not None:
        yield lost


def _cut(piece: Grey, height: int) -> Iterator[Grey]:
    for start in range(0, len(piece), height):
        yield cast("Grey", np.ascontiguousarray(piece[start : start + height]))


def _together(held: list[Grey]) -> Iterator[Grey]:
    if held:
        whole: NDArray[Any] = np.ascontiguousarray(held[0]) if len(held) == 1 else np.concatenate(held)
        held.clear()
        yield cast("Grey", whole)


def joined(losses: Iterable[Lost]) -> tuple[Lost, ...]:
    """Losses in order; what overlaps or touches for the same reason becomes one."""
    found: list[Lost] = []
    for loss in sorted(losses, key=lambda one: (one.first, one.why)):
        last = found[-1] if found else None
        if last is not None and last.why == loss.why and loss.first <= last.first + last.lines:
            stop = max(last.first + last.lines, loss.first + loss.lines)
            found[-1] = Lost(first=last.first, lines=stop - last.first, why=last.why)
        else:
            found.append(loss)
    return tuple(found)


def check_channels(path: Path, found: int, names: Sequence[str]) -> None:
    """Refuse a file that hasn't as many channels as scan.toml names.

    Raises:
        InputError: naming the file and both counts.
    """
    if names and len(names) != found:
        raise InputError(
            where=str(path),
            rule=f"must have the {len(names)} channels that scan.toml names ({', '.join(names)})",
            value=f"{found} channels" if found > 1 else "1 channel",
            mend="Correct channels in scan.toml, or take the file out of the segments.",
        )


@contextmanager
def reading(path: Path, what: str) -> Iterator[None]:
    """Whatever a library makes of a damaged file, as one error."""
    try:
        yield
    except InputError:
        raise
    except MemoryError as error:
        raise too_large(path, str(error)) from error
    except Exception as error:  # the libraries answer damage with errors of a dozen kinds
        raise broken(path, f"{what} ({error})") from error


def broken(path: Path, value: str) -> InputError:
    """The error for a file of which nothing can be used."""
    return InputError(
        where=str(path),
        rule="the raster must be whole",
        value=value,
        mend="Copy the file again from the scanner, or take it out of the segments.",
    )


def too_large(path: Path, value: str) -> InputError:
    """The error for a file that can't be decoded piece by piece."""
    return InputError(
        where=str(path),
        rule="what must be decoded at once has to fit in memory",
        value=value,
        mend="Save it uncompressed, or in strips or tiles of a few hundred lines.",
    )
