"""The sightings of sheets, look by look, made ready to be compared with one another and with the scan."""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from wideroll.examination import (
    Origin,
    SeenThing,
    Sheet,
    Sighting,
    find_origin,
    match_sightings,
    merge_looks,
)
from wideroll.roll import EXTENDED_KINDS, marks_within
from wideroll.workflow.agreement_model import RollSeen
from wideroll.workflow.take_in import LOOKS_ACROSS_MM, LOOKS_ALONG_M, MATCH_ACROSS_MM, MATCH_ALONG_M, scan_blind

__all__ = ["BlindLook", "ScannedSheet", "SheetSeen", "is_handling", "is_mark", "on_sheets", "scanned", "size_class"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindLook:
    """What an examiner saw on a sheet without knowing what had been noted before."""

    name: str
    examiner: str
    sightings: tuple[Sighting, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSeen:
    """A sheet with its blind looks, the first one first."""

    sheet: Sheet
    looks: tuple[BlindLook, ...]

    def things(self, *, without: str | None = None) -> tuple[SeenThing, ...]:
        """What is on it by all these looks, each once; ``without`` leaves out an examiner's."""
        looks = [look for look in self.looks if look.examiner != without]
        return merge_looks([s for look in looks for s in look.sightings], LOOKS_ALONG_M, LOOKS_ACROSS_MM)

    def by(self, examiner: str) -> tuple[BlindLook, ...]:
        """The examiner's looks."""
        return tuple(look for look in self.looks if look.examiner == examiner)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScannedSheet:
    """What was seen on a sheet beside what the scanner saw there: sizes in mm."""

    both: Mapping[int, float]
    """By number of the sighting; size by the scanner."""
    only_examiner: Mapping[int, float]
    """By number of the sighting; size by the examiner."""
    only_scanner: tuple[float, ...]


def on_sheets(seen: RollSeen) -> Iterator[SheetSeen]:
    """Each sheet of a roll with its blind looks: its own first look, then those of looks.csv in their order."""
    for sheet in seen.sheets:
        further = [(one.name, one.examiner) for one in seen.looks if one.sheet == sheet.name and one.blind]
        looks = [
            BlindLook(
                name=name,
                examiner=examiner,
                sightings=tuple(s for s in seen.sightings if (s.sheet, s.look) == (sheet.name, name)),
            )
            for name, examiner in [("", sheet.examiner), *further]
        ]
        yield SheetSeen(sheet=sheet, looks=tuple(looks))


def scanned(seen: RollSeen, sheet: Sheet, sightings: Sequence[Sighting]) -> ScannedSheet | None:
    """Marks on a sheet by examiners and by the scanner; None where it didn't look at the sheet at all.

    Left aside: what came by handling the sheet, streaks, bands, fog and edge faults, and what lies where the scanner
    didn't look.
    """
    scan = seen.scan
    if scan is None or scan.coverage.share(sheet.extent) <= 0.0:
        return None
    around = sheet.extent.grown(along_m=MATCH_ALONG_M, across_mm=MATCH_ACROSS_MM)
    marks = marks_within(scan.marks, [around]).with_columns(size=pl.max_horizontal("length_mm", "width_mm"))
    sizes = dict(marks.select("id", "size").iter_rows())
    found = match_sightings([sheet], sightings, marks, MATCH_ALONG_M, MATCH_ACROSS_MM)
    looked = {n: sightings[n] for n in found.only_examiner if not scan_blind(scan, sightings[n].place)}
    return ScannedSheet(
        both={match.sighting: sizes[match.mark_id] for match in found.matches},
        only_examiner={n: one.size_mm for n, one in looked.items()},
        only_scanner=tuple(sizes[name] for name in found.only_scanner),
    )


def is_handling(sighting: Sighting) -> bool:
    """Whether it came by handling the sheet, by what was said of it."""
    return find_origin(sighting, seen_by_scanner=None).origin is Origin.HANDLING


def is_mark(sighting: Sighting) -> bool:
    """Whether it has a place and a size: not a streak, band, fog or edge fault."""
    return sighting.kind not in EXTENDED_KINDS


def size_class(size_mm: float, borders_mm: Sequence[float]) -> int:
    """Number of the class, from the smallest; a size on a border lies in the greater class.

    Example:
        >>> [size_class(size, (0.3, 0.8)) for size in (0.1, 0.3, 2.0)]
        [0, 1, 2]
    """
    return bisect_right(borders_mm, size_mm)
