"""A roll's examination as its files hold it, and whether they could be read with lines added."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from wideroll.errors import InputError
from wideroll.examination import Sheet, SheetLook, SightingLog
from wideroll.readers.look_files import read_looks
from wideroll.readers.sheet_files import read_sheets
from wideroll.readers.sighting_files import read_sighting_log
from wideroll.roll import Extent, parse_length

__all__ = ["ExaminationFiles", "read_examination", "try_examination"]

_TABLES: Final = ("sheets.csv", "looks.csv", "sightings.csv")
_SAME_M: Final = 0.0005
_SAME_MM: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ExaminationFiles:
    """The examination of a roll: what its tables say, and their texts as they stand."""

    folder: Path
    whole: Extent
    texts: Mapping[str, str] = field(default_factory=dict)
    sheets: tuple[Sheet, ...] = ()
    looks: tuple[SheetLook, ...] = ()
    log: SightingLog = field(default_factory=SightingLog)

    def extent_of(self, cells: Mapping[str, str]) -> Extent:
        """The part of the web that a line of sheets.csv names.

        Raises:
            InputError: when a cell is no length.
        """
        along = [float(parse_length(cells[name], where=name).m) for name in ("along_from", "along_to")]
        edges = (("across_from", self.whole.across_from_mm), ("across_to", self.whole.across_to_mm))
        across = [float(parse_length(cells[name], where=name).mm) if cells.get(name) else edge for name, edge in edges]
        return Extent(along_from_m=along[0], along_to_m=along[1], across_from_mm=across[0], across_to_mm=across[1])

    def is_same(self, sheet: Sheet, cells: Mapping[str, str]) -> bool:
        """Whether a line of sheets.csv names the same piece of film, to half a millimetre."""
        one, other = sheet.extent, self.extent_of(cells)
        return (
            abs(one.along_from_m - other.along_from_m) <= _SAME_M
            and abs(one.along_to_m - other.along_to_m) <= _SAME_M
            and abs(one.across_from_mm - other.across_from_mm) <= _SAME_MM
            and abs(one.across_to_mm - other.across_to_mm) <= _SAME_MM
        )


def read_examination(plant: Path, roll: str, whole: Extent) -> ExaminationFiles:
    """The files as they are now; sheets without a table of sightings weren't examined yet.

    Args:
        plant: its folder.
        roll: its name.
        whole: the roll's web.

    Raises:
        InputError: when one of them has a fault.
    """
    folder = plant / "rolls" / roll / "examination"
    texts = {name: (folder / name).read_bytes().decode("utf-8", "replace") for name in _there(folder)}
    sheets = read_sheets(folder, whole) if "sheets.csv" in texts else ()
    looks = read_looks(folder, sheets)
    log = read_sighting_log(folder, sheets) if "sightings.csv" in texts else SightingLog()
    return ExaminationFiles(folder=folder, whole=whole, texts=texts, sheets=sheets, looks=looks, log=log)


def _there(folder: Path) -> tuple[str, ...]:
    return tuple(name for name in _TABLES if (folder / name).is_file())


def try_examination(
    before: ExaminationFiles, texts: Mapping[str, str], *, more: int, photographs: Sequence[str] = ()
) -> SightingLog:
    """Read the tables with new texts as they would be read in place, without touching any.

    Args:
        before: as they are.
        texts: of those that change.
        more: lines that are added to the sightings.
        photographs: names of files that come with them.

    Raises:
        InputError: when they would have a fault, named as in their own place.
    """
    names = {path.name for path in before.folder.glob("*") if path.is_file()} | set(photographs)
    with TemporaryDirectory() as temporary:
        trial = Path(temporary)
        for name in names - set(_TABLES):
            (trial / name).touch()
        for name, text in {**before.texts, **texts}.items():
            (trial / name).write_bytes(text.encode())
        try:
            sheets = read_sheets(trial, before.whole)
            read_looks(trial, sheets)
            log = read_sighting_log(trial, sheets)
        except InputError as error:
            where = error.where.replace(temporary, str(before.folder))
            raise InputError(where=where, rule=error.rule, value=error.value, mend=error.mend) from error
    if len(log.entries) != len(before.log.entries) + more:
        raise InputError(
            where=str(before.folder / "sightings.csv"),
            rule=f"{more} further lines must be read as {more}",
            value=len(log.entries) - len(before.log.entries),
            mend="See that the last lines of the file are whole.",
        )
    return log
