"""The sheets of a roll, who looked at them, and the lines they wrote, as the files hold them."""

from collections.abc import Mapping, Sequence
from typing import Final

from wideroll.examination import FilterColour, Sheet, SheetLook, Sighting, SightingLog
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_number

__all__ = ["listed_grid", "noted_grid"]

_YES_NO: Final[Mapping[bool | None, str]] = {True: "yes", False: "no", None: ""}


def listed_grid(sheets: Sequence[Sheet], looks: Sequence[SheetLook], log: SightingLog) -> Grid:
    """Each look at each sheet, and how many sightings hold of it."""
    rows = []
    for sheet in sheets:
        rows.append(_look_row(sheet, sheet.examiner, "first", "", _count(log, sheet.name, "")))
        rows += [
            _look_row(sheet, look.examiner, f"{look.name}, {'blind' if look.blind else 'not blind'}", look.on, count)
            for look in looks
            if look.sheet == sheet.name
            for count in (_count(log, sheet.name, look.name),)
        ]
    return Grid(
        caption="Sheets that were looked at, look by look",
        columns=(
            Column(head="sheet", keep=True),
            Column(head="from, m", number=True),
            Column(head="to, m", number=True),
            Column(head="across, mm", keep=True),
            Column(head="taken", keep=True),
            Column(head="examiner"),
            Column(head="look", keep=True),
            Column(head="day", keep=True),
            Column(head="sightings", number=True),
        ),
        rows=tuple(rows),
        empty="Nobody has sent a sheet of this roll yet.",
    )


def noted_grid(log: SightingLog, sheets: Sequence[Sheet]) -> Grid:
    """Each sighting that holds, as it was said; along on its sheet."""
    starts = {sheet.name: sheet.extent.along_from_m for sheet in sheets}
    return Grid(
        caption="What was noted, line by line",
        columns=(
            Column(head="line", keep=True),
            Column(head="sheet", keep=True),
            Column(head="look", keep=True),
            Column(head="kind", keep=True),
            Column(head="along the sheet, mm", number=True),
            Column(head="across, mm", number=True),
            Column(head="size, mm", number=True),
            Column(head="through filters"),
            Column(head="embedded", keep=True),
            Column(head="wipes off", keep=True),
            Column(head="grade", keep=True),
            Column(head="remarks"),
        ),
        rows=tuple(_noted_row(one, starts.get(one.sheet, 0.0)) for one in log.sightings),
        empty="Nothing was seen on the sheets that were looked at." if sheets else "No sheet was looked at yet.",
    )


def _count(log: SightingLog, sheet: str, look: str) -> int:
    return sum(one.sheet == sheet and one.look == look for one in log.sightings)


def _look_row(sheet: Sheet, examiner: str, look: str, day: str, count: int) -> tuple[Cell, ...]:
    extent = sheet.extent
    across = f"{show_number(extent.across_from_mm)} to {show_number(extent.across_to_mm)}"
    return (
        Cell(text=sheet.name, tone="strong"),
        Cell(text=show_number(extent.along_from_m, 2)),
        Cell(text=show_number(extent.along_to_m, 2)),
        Cell(text=across),
        Cell(text="drawn" if sheet.drawn else "chosen"),
        Cell(text=examiner),
        Cell(text=look),
        Cell(text=day),
        Cell(text=show_number(count), note="" if count else "nothing seen"),
    )


def _noted_row(one: Sighting, start_m: float) -> tuple[Cell, ...]:
    shown = {colour: one.through[colour] for colour in FilterColour if colour in one.through}
    alike = len(shown) == len(FilterColour) and len(set(shown.values())) == 1
    seen = f"{shown[FilterColour.RED]} in each" if alike else ", ".join(f"{by} {how}" for by, how in shown.items())
    remarks = ("metal" if one.metallic else "", f"{one.side} side" if one.side else "", one.note, one.photograph)
    return (
        Cell(text=one.entry, tone="strong"),
        Cell(text=one.sheet),
        Cell(text=one.look or "first"),
        Cell(text=one.kind),
        Cell(text=show_number((one.place.along_m - start_m) * 1000.0, 1)),
        Cell(text=show_number(one.place.across_mm, 1)),
        Cell(text=show_number(one.size_mm, 2)),
        Cell(text=seen),
        Cell(text=_YES_NO[one.embedded]),
        Cell(text=_YES_NO[one.wipes_off]),
        Cell(text=one.grade),
        Cell(text="; ".join(remark for remark in remarks if remark)),
    )
