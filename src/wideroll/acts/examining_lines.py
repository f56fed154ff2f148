"""An examiner's looks as lines below those of others: which sheets are new, and which are looked at again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.acts.examining_files import ExaminationFiles
from wideroll.acts.table_lines import with_rows
from wideroll.errors import InputError
from wideroll.examination import Sheet

__all__ = ["LookedAt", "SentSheet", "with_looks", "without_line"]

_SIGHTING_COLUMNS: Final = (
    *("sheet", "kind", "along", "across", "size", "red", "green", "blue", "embedded", "wipes_off", "metallic"),
    *("grade", "magnification", "high_density", "mid_density", "unexposed", "cyan_separation", "magenta_separation"),
    *("yellow_separation", "density_red", "density_green", "density_blue", "density_uncertainty", "photograph"),
    *("photograph_scale", "side", "look", "takes_back", "note"),
)
_SHEET_COLUMNS: Final = ("sheet", "along_from", "along_to", "across_from", "across_to", "examiner", "taken")
_LOOK_COLUMNS: Final = ("look", "sheet", "examiner", "on", "blind")


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """A sheet as an examiner leaves it, in the words of sheets.csv, looks.csv and sightings.csv."""

    sheet: str
    along_from: str
    along_to: str
    across_from: str = ""
    across_to: str = ""
    taken: str = "drawn"
    blind: bool
    """Whether the examiner didn't know what others noted on it."""
    on: str
    """The day, as 2026-11-20."""
    noted: tuple[Mapping[str, str], ...] = ()
    """Lines by the columns of sightings.csv but sheet and look; none says that nothing was seen."""

    @property
    def cells(self) -> dict[str, str]:
        """Its line in sheets.csv, without the examiner."""
        places = {name: getattr(self, name) for name in _SHEET_COLUMNS[1:5]}
        return {"sheet": self.sheet, **places, "taken": self.taken}


@dataclass(frozen=True, slots=True, kw_only=True)
class SentSheet:
    """As which sheet, and in which further look, it came among the evidence; the look is empty for a first one."""

    sheet: str
    look: str
    sightings: int


def with_looks(
    before: ExaminationFiles, looked: Sequence[LookedAt], examiner: str
) -> tuple[tuple[SentSheet, ...], dict[str, str]]:
    """As what each comes in, and the new texts of the tables that change; sightings first.

    Should a crash come between them, lines about a sheet or look that isn't listed are refused by whoever reads.

    Args:
        before: the examination as its files hold it.
        looked: sheets in the order they were looked at.
        examiner: who looked.

    Raises:
        InputError: when a sheet of the same name is listed at another place.
    """
    first = "sightings.csv" not in before.texts
    names = _look_names(before)
    sent, sheets, looks, lines = [], [], [], []
    for one in looked:
        listed = _listed(before, one)
        name, look = (one.sheet, "") if listed is None else (listed.name, "" if first else next(names))
        if listed is None:
            sheets.append({**one.cells, "examiner": examiner})
        elif look:
            blind = "yes" if one.blind else "no"
            looks.append({"look": look, "sheet": name, "examiner": examiner, "on": one.on, "blind": blind})
        lines += [{**noted, "sheet": name, "look": look} for noted in one.noted]
        sent.append(SentSheet(sheet=name, look=look, sightings=len(one.noted)))
    tables = (
        ("sightings.csv", _SIGHTING_COLUMNS, lines, bool(lines) or first),
        ("looks.csv", _LOOK_COLUMNS, looks, bool(looks)),
        ("sheets.csv", _SHEET_COLUMNS, sheets, bool(sheets)),
    )
    return tuple(sent), {
        file: with_rows(before.texts.get(file, ""), columns, rows) for file, columns, rows, wanted in tables if wanted
    }


def without_line(before: ExaminationFiles, line: str, note: str) -> dict[str, str]:
    """The new text of sightings.csv, with a further line by which one no longer holds; none is changed or removed.

    Args:
        before: the examination as its files hold it.
        line: name of the one that is taken back.
        note: why, and by whom.

    Raises:
        InputError: when there is no such line, or it doesn't hold any more.
    """
    if line not in {entry.name for entry in before.log.entries}:
        mend = "Take its name from the table of what was noted."
        raise InputError(where="line", rule="must name a line of the sightings", value=line, mend=mend)
    after = next((after for one, after in before.log.taken_back if one.name == line), None)
    if after is not None:
        mend = f"To make it hold again, take {after.name} back."
        raise InputError(where="line", rule=f"was taken back already, by line {after.name}", value=line, mend=mend)
    row = {"takes_back": line, "note": note}
    return {"sightings.csv": with_rows(before.texts["sightings.csv"], _SIGHTING_COLUMNS, [row])}


def _look_names(before: ExaminationFiles) -> "filter[str]":
    taken = {one.name for one in before.looks}
    return filter(lambda name: name not in taken, (f"L{number}" for number in range(1, 10**6)))


def _listed(before: ExaminationFiles, one: LookedAt) -> Sheet | None:
    """The listed sheet of the same name, or else the one that is the same piece of film."""
    by_name = next((sheet for sheet in before.sheets if sheet.name == one.sheet), None)
    same = next((sheet for sheet in before.sheets if before.is_same(sheet, one.cells)), None)
    if by_name is not None and same is not by_name:
        raise InputError(
            where=str(before.folder / "sheets.csv"),
            rule=f"a sheet of the name {one.sheet} is listed at another place",
            value=f"{by_name.extent.along_from_m:g} m to {by_name.extent.along_to_m:g} m",
            mend="Give the sheet another name, or correct its place.",
        )
    return same
