"""One thing that was seen, from what was said and measured of it to its layer, origin and grade."""

from collections.abc import Callable, Mapping, Sequence

from wideroll.errors import InputError
from wideroll.examination import (
    DensityChange,
    GradeFinding,
    MarkPhotograph,
    MarkShape,
    Origin,
    OriginFinding,
    Photograph,
    Reliability,
    SeenThing,
    Sighting,
    find_origin,
    judge_grade,
    locate_layer,
    measure_photograph,
    shape_of,
    sighting_visibility,
)
from wideroll.sensitometry import FilmType
from wideroll.workflow.model import Examined, Product

__all__ = ["examine_thing", "measure_photographs"]


def measure_photographs(
    sightings: Sequence[Sighting], take: Callable[[str], Photograph]
) -> Mapping[str, MarkPhotograph]:
    """What the photographs tell, by the entry of their sighting; only one is held in memory at a time."""
    return {
        sighting.entry: measure_photograph(
            take(sighting.photograph), mm_per_pixel=sighting.photograph_mm_per_pixel or 0.0
        )
        for sighting in sightings
        if sighting.photograph
    }


def examine_thing(
    thing: SeenThing,
    *,
    seen_by_scanner: bool | None,
    product: Product | None = None,
    photograph: MarkPhotograph | None = None,
    reliability: Reliability | None = None,
) -> Examined:
    """Layer and origin of what was seen, and its grade beside what was measured.

    Args:
        thing: what was seen, in one look or several.
        seen_by_scanner: whether the scan has something at that place, None where it didn't look.
        product: its dyes, film type and scale of grades.
        photograph: what its photograph tells; a densitometer's reading goes before it.
        reliability: how often the answers of the examiner are wrong; None for what is usual.
    """
    sighting = thing.sighting
    dyes = product.aims.dyes if product else None
    change = sighting.density or (photograph.change if photograph else None)
    return Examined(
        sighting=sighting,
        seen=thing.seen if len(thing.seen) > 1 else (),
        differs=thing.differs,
        layer=locate_layer(
            sighting,
            change=change,
            second=photograph.change if photograph and sighting.density else None,
            dye_matrix=dyes.matrix if dyes else None,
            reversal=product is not None and product.film_type is FilmType.COLOUR_REVERSAL,
            reliability=reliability,
        ),
        origin=_origin(thing, seen_by_scanner=seen_by_scanner),
        photograph=photograph,
        grade=_grade(sighting, change, product, photograph),
    )


def _origin(thing: SeenThing, *, seen_by_scanner: bool | None) -> OriginFinding:
    """By the first look's words; what one look takes for handling and another doesn't is undecided, so it counts."""
    found = [find_origin(one, seen_by_scanner=seen_by_scanner) for one in thing.seen]
    if len({one.origin is Origin.HANDLING for one in found}) == 1:
        return found[0]
    said = dict.fromkeys(f"{one.origin} ({one.why})" for one in found)
    return OriginFinding(origin=Origin.UNDECIDED, why=f"the looks differ: {'; '.join(said)}")


def _grade(
    sighting: Sighting, change: DensityChange | None, product: Product | None, photograph: MarkPhotograph | None
) -> GradeFinding | None:
    fit = product.grades if product else None
    if fit is None:
        return None
    if sighting.grade and sighting.grade not in fit.grades:
        raise InputError(
            where=f"sightings.csv, entry {sighting.entry}, grade",
            rule=f"must be one of the product's grades: {', '.join(fit.grades)}",
            value=sighting.grade,
            mend="Take the line back and write it anew, or leave the grade out.",
        )
    if change is None:
        return judge_grade(fit, sighting.grade, None)
    width = None
    if photograph and photograph.change is not None:
        across = photograph.width_mm if shape_of(sighting.kind) is MarkShape.STREAK else photograph.size_mm
        width = (across, photograph.size_standard_uncertainty_mm)
    seen = sighting_visibility(sighting, change, fit.viewing, width=width)
    return judge_grade(fit, sighting.grade, seen)
