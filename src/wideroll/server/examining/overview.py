"""The sheets of a roll as an examiner finds them: to be taken, listed, in hand."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from wideroll.server.examining.data import Basics, extent_of
from wideroll.server.examining.drafts import Draft, DraftSheet

if TYPE_CHECKING:
    from wideroll.acts.examining_files import ExaminationFiles
    from wideroll.roll import Extent

__all__ = ["SheetLine", "sheet_lines"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """A sheet in the list: its cells as in sheets.csv, where it lies in metres, who looked, and what is in hand."""

    cells: Mapping[str, str]
    from_m: float
    to_m: float
    across: str
    why: str
    looked: str
    """Who looked at it and sent it, in words; empty where nobody did."""
    in_hand: DraftSheet | None = None

    @property
    def sheet(self) -> str:
        """Its name."""
        return self.cells["sheet"]


def sheet_lines(basics: Basics, files: "ExaminationFiles", draft: Draft, plan: Any) -> tuple[SheetLine, ...]:
    """All sheets, in their order along the roll.

    Args:
        basics: of the roll.
        files: what is listed.
        draft: of whoever looks at the page.
        plan: the sheets to take, ``sampling.SheetPlan``, or None.
    """
    lines = [*_listed(files, draft), *_own(basics, files, draft)]
    if plan is not None:
        lines += _planned(basics, plan, [extent for extent, _ in _held(basics, files, draft)], lines)
    return tuple(sorted(lines, key=lambda line: (line.from_m, line.to_m, line.sheet)))


def _listed(files: "ExaminationFiles", draft: Draft) -> Iterator[SheetLine]:
    from wideroll.acts.examining import sheet_cells  # noqa: PLC0415  (loads the rooms)

    noted = "sightings.csv" in files.texts
    for sheet in files.sheets:
        looks = [look.examiner for look in files.looks if look.sheet == sheet.name]
        looked = f"{sheet.examiner}{'; again ' + ', '.join(looks) if looks else ''}" if noted else ""
        yield _line(
            sheet_cells(sheet, files.whole.width_mm),
            sheet.extent,
            why="drawn" if sheet.drawn else "chosen",
            looked=looked,
            in_hand=draft.sheet(sheet.name),
        )


def _own(basics: Basics, files: "ExaminationFiles", draft: Draft) -> Iterator[SheetLine]:
    listed = {sheet.name for sheet in files.sheets}
    for sheet in draft.sheets:
        if not sheet.dropped and sheet.sheet not in listed:
            yield _line({"sheet": sheet.sheet}, extent_of(basics, sheet), why=sheet.taken, looked="", in_hand=sheet)


def _held(basics: Basics, files: "ExaminationFiles", draft: Draft) -> Iterator[tuple["Extent", str]]:
    yield from ((sheet.extent, sheet.name) for sheet in files.sheets)
    yield from ((extent_of(basics, one), one.sheet) for one in draft.sheets if not one.dropped)


def _planned(basics: Basics, plan: Any, held: list["Extent"], lines: list[SheetLine]) -> Iterator[SheetLine]:
    """Those of the plan on film that no other sheet holds, with names that no other has."""
    taken = {line.sheet for line in lines}
    for sheet in plan.sheets:
        extent = sheet.extent
        meets = [extent.meet(other) for other in held]
        if any(common is not None and common.area_m2 > 0.0 for common in meets):
            continue
        clear = not {sheet.name, f"sheet {sheet.name}"} & taken
        name = sheet.name if clear else f"{sheet.name} of the plan"
        cells = {
            "sheet": name,
            "along_from": f"{round(extent.along_from_m, 2)} m",
            "along_to": f"{min(round(extent.along_to_m, 2), basics.whole.along_to_m)} m",
            "taken": "chosen" if sheet.beside else "drawn",
        }
        why = f"chosen, beside {sheet.beside}" if sheet.beside else "drawn"
        yield _line(cells, extent, why=why, looked="", in_hand=None)


def _line(
    cells: Mapping[str, str], extent: "Extent", *, why: str, looked: str, in_hand: DraftSheet | None
) -> SheetLine:
    return SheetLine(
        cells=cells,
        from_m=extent.along_from_m,
        to_m=extent.along_to_m,
        across=f"{extent.across_from_mm:g} to {extent.across_to_mm:g}",
        why=why,
        looked=looked,
        in_hand=in_hand,
    )
