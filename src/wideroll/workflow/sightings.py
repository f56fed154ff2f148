"""One sighting, from what was said and measured of it to its layer, origin and grade."""

from collections.abc import Callable, Mapping, Sequence

from wideroll.examination import (
    DensityChange,
    GradeFinding,
    MarkPhotograph,
    MarkShape,
    Photograph,
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

__all__ = ["examine_sighting", "measure_photographs"]


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


def examine_sighting(
    sighting: Sighting,
    *,
    seen_by_scanner: bool | None,
    product: Product | None = None,
    photograph: MarkPhotograph | None = None,
) -> Examined:
    """Layer and origin of a sighting, and its grade beside what was measured.

    Args:
        sighting: what the examiner saw.
        seen_by_scanner: whether the scan has something at that place, None where it didn't look.
        product: its dyes, film type and scale of grades.
        photograph: what its photograph tells; a densitometer's reading goes before it.
    """
    dyes = product.aims.dyes if product else None
    change = sighting.density or (photograph.change if photograph else None)
    return Examined(
        sighting=sighting,
        layer=locate_layer(
            sighting,
            change=change,
            second=photograph.change if photograph and sighting.density else None,
            dye_matrix=dyes.matrix if dyes else None,
            reversal=product is not None and product.film_type is FilmType.COLOUR_REVERSAL,
        ),
        origin=find_origin(sighting, seen_by_scanner=seen_by_scanner),
        photograph=photograph,
        grade=_grade(sighting, change, product, photograph),
    )


def _grade(
    sighting: Sighting, change: DensityChange | None, product: Product | None, photograph: MarkPhotograph | None
) -> GradeFinding | None:
    fit = product.grades if product else None
    if fit is None:
        return None
    if change is None:
        return judge_grade(fit, sighting.grade, None)
    width = None
    if photograph and photograph.change is not None:
        across = photograph.width_mm if shape_of(sighting.kind) is MarkShape.STREAK else photograph.size_mm
        width = (across, photograph.size_standard_uncertainty_mm)
    seen = sighting_visibility(sighting, change, fit.viewing, width=width)
    return judge_grade(fit, sighting.grade, seen)
