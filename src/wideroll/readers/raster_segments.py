"""Several raster files as one scan, in order from the head, with what is lost of it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.raster import open_raster
from wideroll.readers.raster_file import Depth, Lost, RasterFile, broken, joined
from wideroll.readers.read_ahead import read_ahead
from wideroll.readers.segment_starts import first_lines
from wideroll.scan import LinePlaces, LostLines
from wideroll.workflow import Grey

__all__ = ["Damage", "SegmentedRaster", "check_alike", "open_segments"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """Lines that a segment should hold and that can't be read.

    Example:
        >>> str(Damage(file="a.tif", first=600, lines=400, along_from_m=0.06, along_to_m=0.1, why="a.tif is cut off"))
        'a.tif is cut off: 400 lines are lost, from 0.060 m to 0.100 m from the head'
    """

    file: str
    first: int
    """First of the lines, counted from the head of the scan."""
    lines: int
    along_from_m: float
    along_to_m: float
    why: str
    """A clause that begins with the file's name."""

    def __str__(self) -> str:
        """One line for a person."""
        lost = "1 line is" if self.lines == 1 else f"{self.lines} lines are"
        return f"{self.why}: {lost} lost, from {self.along_from_m:.3f} m to {self.along_to_m:.3f} m from the head"


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentedRaster:
    """Several files as one raster."""

    files: tuple[RasterFile, ...]
    starts: tuple[int, ...]
    """First line of each file, counted from the head; what lies between two was never scanned."""
    pitch_mm: tuple[float, float]
    source: str
    channel_names: tuple[str, ...] = ()
    """Empty where scan.toml doesn't name them."""
    places: LinePlaces | None = None
    """Where lines lie, where an encoder counted; else they are ``pitch_mm`` apart."""
    _found: list[tuple[int, Lost]] = field(default_factory=list, init=False, repr=False, compare=False)

    @property
    def lines(self) -> int:
        """Lines from the head to the end of the last segment, lost ones and gaps included."""
        return self.starts[-1] + self.files[-1].lines

    @property
    def columns(self) -> int:
        """Pixels across."""
        return self.files[0].columns

    @property
    def channels(self) -> int:
        """Values of a pixel; usually 1."""
        return self.files[0].channels

    @property
    def dtype(self) -> Depth:
        """Pixel type."""
        return self.files[0].dtype

    def blocks(self, first: int = 0, stop: int | None = None) -> Iterator[Grey | LostLines]:
        """The lines in order, from ``first`` up to but without ``stop``; the next block is read meanwhile in a thread.

        Yields:
            ``[along, across]``, or ``[along, across, channel]`` where ``channels`` is above 1. What can't be read, or
            was never scanned, comes as lost lines in its place.

        Raises:
            ArgumentError: when the lines asked for aren't the raster's.
            InputError: when no line of the whole raster can be read, or a file is gone since it was opened.
        """
        end = self.lines if stop is None else stop
        if not 0 <= first <= end <= self.lines:
            raise ArgumentError(
                where="lines", rule=f"must lie within 0 to {self.lines}", value=(first, end), mend="Ask for fewer."
            )
        return read_ahead(self._stretches(first, end))

    def damage(self) -> tuple[Damage, ...]:
        """What is lost of the segments: from their headers at once, the rest after the lines were read."""
        known = [(n, lost) for n, file in enumerate(self.files) for lost in file.known_lost]
        found = [*known, *self._found]
        return tuple(
            self._damage(n, lost) for n in range(len(self.files)) for lost in joined(one for m, one in found if m == n)
        )

    def _stretches(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        line, readable = 0, 0
        for number, (start, file) in enumerate(zip(self.starts, self.files, strict=True)):
            gap = min(stop, start) - max(first, line)
            if gap > 0:
                yield LostLines(lines=gap, why=self._gap(number))
            low, high = max(first - start, 0), min(stop - start, file.lines)
            if low < high:
                for block in self._noted(number, file.blocks(low, high), low):
                    readable += 0 if isinstance(block, LostLines) else len(block)
                    yield block
            line = start + file.lines
        if not readable and (first, stop) == (0, self.lines):
            raise nothing_left(self.files[0].path, (str(one) for one in self.damage()))

    def _noted(self, number: int, blocks: Iterator[Grey | LostLines], line: int) -> Iterator[Grey | LostLines]:
        name = self.files[number].path.name
        for block in blocks:
            lines = block.lines if isinstance(block, LostLines) else len(block)
            if isinstance(block, LostLines):
                why = block.why.removeprefix(f"{name} ")
                self._found.append((number, Lost(first=line, lines=lines, why=why)))
            yield block
            line += lines

    def _gap(self, number: int) -> str:
        after = self.files[number].path.name
        if number == 0:
            return f"not scanned before {after}"
        return f"not scanned between {self.files[number - 1].path.name} and {after}"

    def _damage(self, number: int, lost: Lost) -> Damage:
        name, first = self.files[number].path.name, self.starts[number] + lost.first
        along_m = self.places.along_m if self.places else LinePlaces.steady(self.pitch_mm[0]).along_m
        return Damage(
            file=name,
            first=first,
            lines=lost.lines,
            along_from_m=along_m(float(first)),
            along_to_m=along_m(float(first + lost.lines)),
            why=f"{name} {lost.why}",
        )


def nothing_left(path: Path, damage: Iterable[str]) -> InputError:
    """The error for a raster of which no line can be read."""
    return broken(path, f"no line can be read; {'; '.join(damage)}")


def open_segments(
    paths: Sequence[Path],
    *,
    pitch_mm: tuple[float, float],
    source: str,
    starts_m: Sequence[float | None] = (),
    channels: Sequence[str] = (),
    places: LinePlaces | None = None,
    where: str = "segments",
) -> SegmentedRaster:
    """Several files as one raster.

    Args:
        paths: The files in order from the head.
        pitch_mm: Distance of lines along and of pixels across.
        source: Name of the scanner.
        starts_m: Where each file starts, from the head; None where it follows the one before. Empty: all do.
        channels: Names of the channels.
        places: Where lines lie, where an encoder counted.
        where: What an error about the starts is said of.

    Raises:
        InputError: when one can't be opened, differs from the first in width, depth or channels, starts before the one
            before it ends, or when no line of any is there.
    """
    files = tuple(open_raster(path, channels=channels) for path in paths)
    for file in files[1:]:
        check_alike(files[0], file)
    raster = SegmentedRaster(
        files=files,
        starts=first_lines(
            files, starts_m or [None] * len(files), places=places or LinePlaces.steady(pitch_mm[0]), where=where
        ),
        pitch_mm=pitch_mm,
        source=source,
        channel_names=tuple(channels),
        places=places,
    )
    damage = raster.damage()
    if sum(one.lines for one in damage) >= sum(file.lines for file in files):
        raise nothing_left(files[0].path, map(str, damage))
    return raster


def check_alike(first: RasterFile, file: RasterFile) -> None:
    """Refuse a segment that can't be of the same scan.

    Raises:
        InputError: when it differs in width, depth or channels.
    """
    if (file.columns, file.dtype, file.channels) == (first.columns, first.dtype, first.channels):
        return
    many = f", {first.channels} channels" if first.channels > 1 or file.channels > 1 else ""
    raise InputError(
        where=str(file.path),
        rule=f"all segments must be {first.columns} pixels wide and {first.dtype}{many} like {first.path.name}",
        value=f"{file.columns} pixels, {file.dtype}" + (f", {file.channels} channels" if many else ""),
        mend="Take out the segment that belongs to another scan.",
    )
