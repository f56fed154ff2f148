"""What was measured of a sighting, what its grade was held against, and what was taken back, in words."""

from wideroll.examination import Entry, MarkPhotograph, Section, SightingLog
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_number
from wideroll.workflow.model import Examined

__all__ = ["layer_note", "seen_note", "taken_back_grid"]

_DYES = ("cyan", "magenta", "yellow")


def seen_note(item: Examined) -> str:
    """What the examiner said beside kind and size, and whether the grade agrees with what was measured."""
    sighting, grade = item.sighting, item.grade
    hidden = [str(section) for section, shows in sighting.shows_in.items() if not shows]
    shown = [str(section) for section, shows in sighting.shows_in.items() if shows]
    if len(shown) == len(Section):
        shown = ["every section"]
    parts = [
        f"grade {sighting.grade}" if sighting.grade else "",
        f"at {sighting.magnification:g}×" if sighting.magnification else "",
        f"measured as grade {grade.likeliest}" if grade and grade.likeliest and not sighting.grade else "",
        f"⚠ {grade.warning}" if grade and grade.warning else "",
        "metallic" if sighting.metallic else "",
        f"first noted in look {sighting.look}" if sighting.look else "",
        f"noted in {len(item.seen)} looks" if item.seen else "",
        f"⚠ the looks differ: {item.differs}" if item.differs else "",
        f"shows in {', '.join(shown)}" if shown else "",
        f"not in {', '.join(hidden)}" if hidden else "",
        sighting.note,
    ]
    return "; ".join(part for part in parts if part)


def layer_note(item: Examined) -> str:
    """Measured dye amounts, why a photograph is no evidence, and what contradicts what."""
    layer = item.layer
    amounts = (
        ", ".join(
            f"{dye} {show_number(value, 2, signed=True)} ± {show_number(sd, 2)}"
            for dye, value, sd in zip(_DYES, layer.amounts, layer.amounts_standard_uncertainty, strict=True)
        )
        if layer.amounts
        else ""
    )
    parts = [
        f"⚠ {layer.contradiction}" if layer.contradiction else "",
        f"measured {amounts} in density" if amounts else "",
        _photograph(item.photograph),
    ]
    return "; ".join(part for part in parts if part)


def _photograph(found: MarkPhotograph | None) -> str:
    if found is None:
        return ""
    if found.refused:
        return f"photograph not used: {found.refused}"
    size = f"{show_number(found.size_mm, 2)} ± {show_number(found.size_standard_uncertainty_mm, 2)} mm"
    return f"{size} on its photograph, taken for {found.taken_for}"


def taken_back_grid(log: SightingLog) -> Grid:
    """Each line that no longer holds, with the one that took it back."""
    return Grid(
        caption="Lines taken back",
        columns=(Column(head="line"), Column(head="said", keep=True), Column(head="taken back by"), Column(head="why")),
        rows=tuple(
            (
                Cell(text=before.name, tone="strong"),
                Cell(text=_said(before)),
                Cell(text=after.name, note="which says otherwise" if after.sighting else ""),
                Cell(text=after.note),
            )
            for before, after in log.taken_back
        ),
        empty="No line was taken back.",
    )


def _said(entry: Entry) -> str:
    sighting = entry.sighting
    if sighting is None:
        return f"took back {entry.takes_back}"
    grade = f", grade {sighting.grade}" if sighting.grade else ""
    place = f"{show_number(sighting.place.along_m, 2)} m, {show_number(sighting.place.across_mm, 1)} mm"
    return f"{sighting.kind} on {sighting.sheet} at {place}, {show_number(sighting.size_mm, 2)} mm{grade}"
