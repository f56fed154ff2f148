"""A scan while the scanner still writes it: each segment handed over once it is whole.

A segment is whole when its header can be read, nothing that the header promises is missing, and either it hasn't
changed for a second or a later segment is there. One that isn't whole when two later ones are there, and no longer
changes, is lost: what can be read of it counts, the rest is not looked at.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.readers.encoder import read_encoder
from wideroll.readers.raster import open_raster
from wideroll.readers.raster_file import Lost, RasterFile
from wideroll.readers.raster_segments import check_alike
from wideroll.readers.scan_file import ScanFile, SegmentTable
from wideroll.readers.segment_list import in_order, names_there
from wideroll.readers.segment_starts import first_lines
from wideroll.readers.segment_whole import file_stamp, is_whole
from wideroll.readers.toml_files import read_toml
from wideroll.scan import LinePlaces, LostLines
from wideroll.workflow import Grey

__all__ = ["Arrival", "SegmentWatch"]

_STILL_S: Final = 1.0
_SLOW_S: Final = 10.0
_PATIENCE: Final = 2
"""Later segments that must be there before one is given up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """A segment that came, and what lies between it and the one before."""

    file: RasterFile
    gap: int
    """Lines that were never scanned."""
    note: str = ""
    """What a person should know of it."""

    def blocks(self) -> Iterator[Grey | LostLines]:
        """Its lines in order, those that are lost in their place.

        Raises:
            InputError: when the file is gone.
        """
        if self.gap:
            yield LostLines(lines=self.gap, why=f"not scanned before {self.file.path.name}")
        yield from self.file.blocks()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Nothing:
    """The lines of a file of which nothing can be read."""

    name: str
    lines: int

    def known(self) -> Sequence[Lost]:
        """All of it."""
        return (Lost(first=0, lines=self.lines, why="can't be read"),)

    def read(self, first: int, stop: int) -> Iterator[Grey | LostLines]:
        """Lost lines."""
        yield LostLines(lines=stop - first, why=f"{self.name} can't be read")


class SegmentWatch:
    """The folder of a scan, looked at again and again.

    Args:
        folder: With scan.toml in it.
        clock: Seconds that only rise.

    Raises:
        InputError: when scan.toml isn't there or has a fault.
    """

    def __init__(self, folder: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self.folder, self.path = folder, folder / "scan.toml"
        self.said = read_toml(self.path, ScanFile)
        self._taken: list[tuple[SegmentTable, RasterFile]] = []
        self._since: dict[Path, tuple[object, float]] = {}
        self._told: set[str] = set()

    @property
    def pitch_mm(self) -> tuple[float, float]:
        """Distance of lines along and of pixels across."""
        return self.said.pitch_along, self.said.pitch_across

    def places(self) -> LinePlaces | None:
        """Where lines lie as far as an encoder has counted; None without one, or while its table can't be read."""
        if self.said.encoder is None:
            return None
        try:
            return read_encoder(self.folder / self.said.encoder, pitch_along_mm=self.said.pitch_along)
        except InputError:
            return None

    def look(self) -> Iterator[Arrival]:
        """The segments that have become whole since the last look, in order from the head.

        Raises:
            InputError: when scan.toml has a fault that stays, a segment comes that belongs before one already taken,
                differs from the first in width, depth or channels, or starts before the one before it ends; when
                nothing can be read of a segment and of the next two.
        """
        self._read_again()
        due = self._due()
        for number, segment in enumerate(due):
            ready = self._ready(segment, due[number + 1 :])
            if ready is None:
                return
            file, note = ready
            if self._taken:
                check_alike(self._taken[0][1], file)
            yield self._take(segment, file, note)

    def waiting(self) -> str:
        """What is wrong with the next segment where it hasn't changed for ten seconds and isn't whole; said once."""
        due = self._due()[:1]
        path = self.folder / due[0].file if due else None
        if path is None or path.name in self._told or file_stamp(path) is None or self._still_s(path) < _SLOW_S:
            return ""
        self._told.add(path.name)
        return (
            f"{path.name} isn't whole and doesn't grow: {self._opened(path)[1] or 'waiting for the segment after it'}"
        )

    def _take(self, segment: SegmentTable, file: RasterFile, note: str) -> Arrival:
        self._taken.append((segment, file))
        starts = first_lines(
            [one for _, one in self._taken],
            [one.start for one, _ in self._taken],
            places=self.places() or LinePlaces.steady(self.said.pitch_along),
            where=str(self.path),
        )
        end = starts[-2] + self._taken[-2][1].lines if len(self._taken) > 1 else 0
        return Arrival(file=file, gap=starts[-1] - end, note=note)

    def _read_again(self) -> None:
        """scan.toml may grow while the machine runs; one that is just being written is read at the next look."""
        still_s = self._still_s(self.path)
        try:
            self.said = read_toml(self.path, ScanFile)
        except InputError:
            if still_s >= _STILL_S:
                raise

    def _due(self) -> tuple[SegmentTable, ...]:
        """What is still to come, as far as it is known."""
        taken = [one.file for one, _ in self._taken]
        if self.said.segments:
            names = [one.file for one in self.said.segments]
            if names[: len(taken)] != taken:
                wrong = next((a for a, b in zip(names, taken, strict=False) if a != b), "fewer")
                where = f"{self.path}, field segments"
                raise self._out_of_order(where, wrong)
            return self.said.segments[len(taken) :]
        names = [name for name in names_there(self.folder, self.said) if name not in set(taken)]
        if taken and names and in_order(names[0]) < in_order(taken[-1]):
            raise self._out_of_order(str(self.folder), names[0])
        return tuple(SegmentTable(file=name) for name in names)

    def _out_of_order(self, where: str, name: str) -> InputError:
        last = self._taken[-1][0].file
        return InputError(
            where=where,
            rule=f"segments come in order from the head; {last} was taken already",
            value=name,
            mend="If it belongs there, watch the roll again from the start; if not, take it out of the folder.",
        )

    def _ready(self, segment: SegmentTable, after: Sequence[SegmentTable]) -> tuple[RasterFile, str] | None:
        path = self.folder / segment.file
        later = [one for one in after if file_stamp(self.folder / one.file) is not None]
        still_s = self._still_s(path)
        file, why = self._opened(path)
        if file is not None and is_whole(file, followed=bool(later)) and (later or still_s >= _STILL_S):
            return file, ""
        if len(later) < _PATIENCE or still_s < _STILL_S:
            return None
        if file is not None:
            return file, f"{path.name} never became whole: what can't be read of it is lost"
        file = self._given_up(path, later, why)
        return file, f"{why} It is taken to be lost, with {file.lines} lines as its neighbour has."

    def _opened(self, path: Path) -> tuple[RasterFile | None, str]:
        try:
            return open_raster(path, channels=self.said.channels), ""
        except (InputError, OSError) as error:  # a file may go between two looks at it
            return None, str(error)

    def _given_up(self, path: Path, later: Sequence[SegmentTable], why: str) -> RasterFile:
        """A file of which nothing can be read is taken to be as long as its neighbour."""
        beside = self._taken[-1][1] if self._taken else None
        others = (self._opened(self.folder / one.file)[0] for one in later)
        beside = beside or next((one for one in others if one is not None), None)
        if beside is None:
            raise InputError(
                where=str(self.folder),
                rule="one of the first segments must be readable",
                value=path.name,
                mend=f"Mend what is wrong with it: {why}",
            )
        return RasterFile(
            path=path,
            lines=beside.lines,
            columns=beside.columns,
            channels=beside.channels,
            dtype=beside.dtype,
            pixels=_Nothing(name=path.name, lines=beside.lines),
        )

    def _still_s(self, path: Path) -> float:
        """For how long a file hasn't changed, as far as it was looked at."""
        stamp, now_s = file_stamp(path), self._clock()
        known, since = self._since.get(path, (None, now_s))
        if path not in self._since or known != stamp:
            self._since[path] = (stamp, now_s)
            return 0.0
        return now_s - since
