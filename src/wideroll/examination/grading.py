"""Whether an examiner's grade and the measurement agree."""

from typing import Final

import numpy as np

from wideroll.examination.grade_model import GradeFinding, GradeFit, MarkShape, Viewing, Visibility
from wideroll.examination.grades import grade_probabilities, visibility_of
from wideroll.examination.model import DensityChange, Sighting
from wideroll.examination.visibility import visual_density
from wideroll.roll import MarkKind

__all__ = ["judge_grade", "shape_of", "sighting_visibility"]

_TAIL: Final = 0.025
_LINES: Final = frozenset({MarkKind.STREAK, MarkKind.BAND, MarkKind.SCRATCH})
_SIZE_SHARE: Final = 0.1
"""How well a loupe's scale tells a size (common practice)."""
_STEP: Final = 1e-4


def judge_grade(fit: GradeFit, given: str, visibility: Visibility | None) -> GradeFinding:
    """Compare an examiner's grade with the one that a measurement predicts.

    A grade outside those that hold 95 % of the prediction, 2.5 % left out on either side, is warned of: one examiner's
    right grade in 20 or fewer.

    Args:
        fit: of the product's scale.
        given: the examiner's grade, empty where none was given.
        visibility: of the mark, None where it wasn't measured.

    Example:
        >>> fit = GradeFit(
        ...     grades=("1", "2"),
        ...     borders=np.zeros(1),
        ...     scatter=0.1,
        ...     covariance=np.eye(2) * 1e-6,
        ...     viewing=Viewing(),
        ...     samples=9,
        ... )
        >>> judge_grade(fit, "1", Visibility(log10=0.5, standard_uncertainty=0.05)).warning
        'graded 1, yet the measurement says 2 (99 %)'
    """
    if given and given not in fit.grades:
        return GradeFinding(given=given, warning=f"grade {given} isn't on the product's scale {', '.join(fit.grades)}")
    if visibility is None:
        return GradeFinding(given=given)
    probability = grade_probabilities(fit, visibility)
    below = np.cumsum(list(probability.values()))
    low = fit.grades[int(np.argmax(below > _TAIL))]
    high = fit.grades[min(int(np.argmax(below >= 1.0 - _TAIL)), len(fit.grades) - 1)]
    finding = GradeFinding(given=given, visibility=visibility, probability=probability, low=low, high=high)
    order = fit.grades.index
    if not given or order(low) <= order(given) <= order(high):
        return finding
    said = low if low == high else f"{low} to {high}"
    sure = sum(share for grade, share in probability.items() if order(low) <= order(grade) <= order(high))
    return GradeFinding(
        given=given,
        visibility=visibility,
        probability=probability,
        low=low,
        high=high,
        warning=f"graded {given}, yet the measurement says {said} ({sure:.0%})".replace("%", " %"),
    )


def shape_of(kind: MarkKind) -> MarkShape:
    """Streaks, bands and scratches are looked at as lines, all else as spots.

    Example:
        >>> str(shape_of(MarkKind.COMET))
        'spot'
    """
    return MarkShape.STREAK if kind in _LINES else MarkShape.SPOT


def sighting_visibility(
    sighting: Sighting, change: DensityChange, viewing: Viewing, *, width: tuple[float, float] | None = None
) -> Visibility:
    """Predicted visibility of a sighting whose densities were measured, under the loupe it was graded with.

    Args:
        sighting: its kind says the shape, its size the width, within 10 %.
        change: density of the mark less its surround's in red, green and blue.
        viewing: the scale's; the sighting's own magnification counts where it has one.
        width: in mm with its standard uncertainty, where it was measured better.

    Example:
        >>> from wideroll.examination.density_evidence import density_change
        >>> from wideroll.roll import Place
        >>> spot = Sighting(
        ...     sheet="A",
        ...     kind=MarkKind.SPOT,
        ...     place=Place(along_m=1.0, across_mm=9.0),
        ...     size_mm=0.5,
        ...     through={},
        ...     magnification=7.0,
        ... )
        >>> seen = sighting_visibility(spot, density_change([0.2, 0.2, 0.2], 0.01), Viewing())
        >>> round(seen.log10, 2), round(seen.standard_uncertainty, 2)
        (-0.73, 0.02)
    """
    density = visual_density(change.density)
    slope = np.array([(visual_density(change.density + d) - density) / _STEP for d in np.eye(3) * _STEP])
    own = Viewing(magnification=sighting.magnification or viewing.magnification, distance_mm=viewing.distance_mm)
    return visibility_of(
        density,
        float(np.sqrt(slope @ change.covariance @ slope)),
        width=width or (sighting.size_mm, _SIZE_SHARE * sighting.size_mm),
        shape=shape_of(sighting.kind),
        viewing=own,
    )
