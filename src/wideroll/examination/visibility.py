"""How visible a streak or a spot is: its contrast after the eye's filter, from density, width and viewing."""

import math
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import j0, j1

from wideroll.errors import ArgumentError
from wideroll.examination.grade_model import MarkShape, Viewing
from wideroll.examination.model import Floats

__all__ = ["contrast_sensitivity", "predict_visibility", "visual_density"]

_HEIGHT: Final = 2.6
_LOW: Final = 0.0192
_SCALE: Final = 0.114
_POWER: Final = 1.1
_MOST_CYCLES: Final = 100.0
_NODES: Final = 4001
_WIDEST_DEG: Final = 3.0
"""From here on both edges are looked at one by one, and width makes no difference."""
_EDGE_DEG: Final = 0.3
_PLACES: Final = 41
_LUMINANCE: Final = (0.2126, 0.7152, 0.0722)


def contrast_sensitivity(cycles_per_degree: ArrayLike) -> Floats:
    """The eye's sensitivity to a grating, about 1 at the 8 cycles per degree it sees best.

    A(f) = 2.6·(0.0192 + 0.114·f)·exp(−(0.114·f)^1.1) [@mannos1974]; the peak seen in others' text, the constants from
    memory.

    Example:
        >>> round(float(contrast_sensitivity(8.0)), 3)
        0.981
    """
    f = _SCALE * np.asarray(cycles_per_degree, dtype=np.float64)
    found: Floats = _HEIGHT * (_LOW + f) * np.exp(-(f**_POWER))
    return found


def visual_density(density: ArrayLike) -> float:
    """Visual density of a change in red, green and blue, weighted as the three make up luminance in sRGB.

    Example:
        >>> round(visual_density([0.3, 0.3, 0.3]), 6)
        0.3
    """
    red, green, blue = (10.0 ** -float(value) for value in np.asarray(density, dtype=np.float64))
    passed = _LUMINANCE[0] * red + _LUMINANCE[1] * green + _LUMINANCE[2] * blue
    return -math.log10(passed)


def predict_visibility(density: float, width_mm: float, *, shape: MarkShape, viewing: Viewing) -> float:
    """The greatest contrast that is left of a mark after the eye's filter: what one sees of it.

    The mark is a bar that runs on, or a disc, with contrast c = 10^(−ΔD) − 1 and the visual angle w. Its profile after
    the filter A(f) of ``contrast_sensitivity`` is

    - streak: 2·c·w·∫ sinc(w·f)·A(f)·cos(2π·f·x) df,
    - spot: 2π·c·(w⁄2)·∫ J₁(π·w·f)·A(f)·J₀(2π·f·r) df,

    and the visibility its greatest departure from 0. Proportional to the contrast; for thin streaks to the width, for
    small spots to the area. 1 is about what a strong edge of contrast 1 gives: it isn't a threshold, which comes from
    graded samples.

    Args:
        density: visual density of the mark less its surround's.
        width_mm: across a streak, or a spot's diameter.
        shape: streak or spot.
        viewing: loupe and distance.

    Raises:
        ArgumentError: when the width isn't positive or the density isn't finite.

    Example:
        >>> faint = predict_visibility(0.01, 1.0, shape=MarkShape.STREAK, viewing=Viewing(magnification=3.0))
        >>> strong = predict_visibility(0.10, 1.0, shape=MarkShape.STREAK, viewing=Viewing(magnification=3.0))
        >>> round(strong / faint, 2)
        9.04
    """
    if not (width_mm > 0.0 and math.isfinite(width_mm)):
        raise ArgumentError(where="width_mm", rule="greater than 0", value=width_mm, mend="Measure it.")
    if not math.isfinite(density):
        raise ArgumentError(where="density", rule="must be finite", value=density, mend="Measure it.")
    angle = min(viewing.angle_deg(width_mm), _WIDEST_DEG)
    contrast: float = abs(10.0**-density - 1.0)
    return contrast * (_streak(angle) if shape is MarkShape.STREAK else _spot(angle))


@cache
def _filter() -> tuple[Floats, Floats]:
    """Frequencies, and the eye's sensitivity with the weights of Simpson's rule."""
    f = np.linspace(0.0, _MOST_CYCLES, _NODES)
    simpson = np.where(np.arange(_NODES) % 2 == 1, 4.0, 2.0)
    simpson[[0, -1]] = 1.0
    return f, contrast_sensitivity(f) * simpson * (f[1] / 3.0)


def _places(angle: float) -> Floats:
    """From the middle, and about the edge: there the profile is greatest."""
    near = np.linspace(max(0.0, angle / 2.0 - _EDGE_DEG), angle / 2.0 + _EDGE_DEG, _PLACES)
    return np.concatenate([[0.0], near])


def _streak(angle: float) -> float:
    f, weight = _filter()
    spectrum = 2.0 * angle * np.sinc(angle * f) * weight
    return float(np.abs(np.cos(2.0 * math.pi * np.outer(_places(angle), f)) @ spectrum).max())


def _spot(angle: float) -> float:
    f, weight = _filter()
    spectrum = math.pi * angle * j1(math.pi * angle * f) * weight
    return float(np.abs(j0(2.0 * math.pi * np.outer(_places(angle), f)) @ spectrum).max())
