"""What an examiner saw, back to its line in the file, and what was concluded from it."""

from collections.abc import Iterator

from wideroll.examination import Sheet, Sighting
from wideroll.release.words import number
from wideroll.report.explanation.node import Fact, Kind, Node, Origins, short_hash
from wideroll.report.quantities import show_probability
from wideroll.report.sighting_words import layer_note, seen_note
from wideroll.roll import Extent
from wideroll.workflow import Assessment, Examined

__all__ = ["sheet_nodes", "sighting_node"]


def sighting_node(found: Examined, assessment: Assessment, origins: Origins) -> Node:
    """One sighting: who saw what and where, layer, origin, grade and photograph, and its line."""
    seen = found.sighting
    at = f"{seen.place.along_m:.3f} m along, {seen.place.across_mm:.1f} mm across"
    return Node(
        kind=Kind.SIGHTING,
        title=f"sighting {seen.entry} on {seen.sheet}".replace("  ", " ")
        + f": {seen.kind}, {number(seen.size_mm)} mm, at {at}",
        facts=tuple(_sighting_facts(found, assessment, origins)),
        values={
            "entry": seen.entry,
            "sheet": seen.sheet,
            "kind": seen.kind.value,
            "along_m": seen.place.along_m,
            "across_mm": seen.place.across_mm,
            "size_mm": seen.size_mm,
            "metallic": seen.metallic,
            "grade": seen.grade,
            "layer": {layer.value: p for layer, p in found.layer.probability.items()},
            "origin": found.origin.origin.value,
            "photograph": seen.photograph,
        },
    )


def _sighting_facts(found: Examined, assessment: Assessment, origins: Origins) -> Iterator[Fact]:
    seen, layer = found.sighting, found.layer
    examiners = [one.examiner for one in assessment.examination.sheets if one.name == seen.sheet]
    yield Fact(name="seen by", value=", ".join(examiners))
    if found.seen:
        looks = ", ".join(one.entry or one.sheet for one in found.seen)
        yield Fact(name="seen in several looks", value="; ".join(part for part in (looks, found.differs) if part))
    through = ", ".join(f"{colour} {look}" for colour, look in seen.through.items())
    if through:
        yield Fact(name="through filters", value=through)
    likeliest = layer.likeliest
    told = f"{likeliest} ({show_probability(layer.probability[likeliest])})"
    yield Fact(name="layer", value="; ".join(part for part in (told, layer_note(found)) if part))
    yield Fact(name="origin", value=f"{found.origin.origin}: {found.origin.why}")
    if noted := seen_note(found):
        yield Fact(name="said", value=noted)
    if seen.density is not None:
        pairs = zip(("red", "green", "blue"), seen.density.density, strict=True)
        yield Fact(name="density less surround", value=", ".join(f"{name} {number(float(d))}" for name, d in pairs))
    yield Fact(name="line", value=_lines(seen, origins))


def _lines(seen: Sighting, origins: Origins) -> str:
    files = origins.of("examination", *([seen.photograph] if seen.photograph else []), "sightings.csv")
    return ", ".join(f"{one.name} {short_hash(one.content)}" for one in files) or "examination/sightings.csv"


def sheet_nodes(assessment: Assessment, extent: Extent) -> Iterator[Node]:
    """Each sheet that touches a part of the roll, and so counts for it."""
    seen = assessment.examination.examined
    for sheet in assessment.examination.sheets:
        if sheet.extent.meet(extent) is not None:
            sightings = sum(one.sighting.sheet == sheet.name for one in seen)
            yield _sheet(sheet, sightings)


def _sheet(sheet: Sheet, sightings: int) -> Node:
    box = sheet.extent
    return Node(
        kind=Kind.SHEET,
        title=f"{sheet.name} counts: {box.along_from_m:.2f} to {box.along_to_m:.2f} m, {number(box.area_m2)} m²",
        facts=(
            Fact(name="examiner", value=sheet.examiner),
            Fact(name="taken", value="where chance drew it" if sheet.drawn else "where somebody chose it"),
            Fact(name="sightings on it", value=str(sightings)),
        ),
        values={"sheet": sheet.name, "examiner": sheet.examiner, "area_m2": box.area_m2, "counts": True},
    )
