"""Probability of detection: what is planted in a user's own raster, and what was learnt from finding it or not.

Marks of graded size and contrast are laid on the web, the web is scanned again, and hit or miss is fitted as a curve
(the hit/miss method of [milhdbk1823a]).
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.roll import Polarity
from wideroll.scan.model import ScanSettings

__all__ = [
    "ContrastUnit",
    "DetectionClass",
    "DetectionCurve",
    "DetectionPlan",
    "DetectionProbability",
    "DetectionResult",
    "DetectionThreshold",
    "DetectionTrial",
    "FitMethod",
    "Injected",
    "Reach",
]

_LEAST_LEVELS: Final = 2
_FITS: Final = 0.05


class ContrastUnit(StrEnum):
    """What the contrasts of a trial are measured in."""

    SIGNAL = "fraction of the signal"
    NOISE = "pixel noise at the place"


class FitMethod(StrEnum):
    """How the curve was fitted."""

    LIKELIHOOD = "maximum likelihood"
    FIRTH = "Firth's penalised likelihood"
    """Used where found and missed are cleanly separated: the plain likelihood then has no greatest value."""


class Reach(StrEnum):
    """Where a threshold lies among what was tested; each is the sign to show before its value."""

    INSIDE = ""
    AT_MOST = "≤"
    """Already the smallest that was tested reaches the probability; the value is that smallest."""
    ABOVE = ">"
    """Not even the greatest that was tested reaches it; the value is that greatest."""
    UNTESTED = "?"
    """Asked at a size or contrast that was not tested; the value is NaN."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionTrial:
    """What is planted to learn what would be found.

    Raises:
        ArgumentError: when there are fewer than two sizes or contrasts, one isn't a finite number above 0 or comes
            twice, or a count is not above 0.
    """

    sizes_px: tuple[float, ...] = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)
    """Diameters in pixels: √(pitch along × pitch across). The marks are round on the web."""
    contrasts_noise: tuple[float, ...] = (0.7, 1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0)
    """Contrasts as multiples of the pixel noise."""
    contrasts: tuple[float, ...] = ()
    """Contrasts as fractions of the signal; where there are none, ``contrasts_noise`` × the scan's median noise.
    Nothing is looked up here when the unit is the noise at the place."""
    unit: ContrastUnit = ContrastUnit.SIGNAL
    """With SIGNAL a class has one contrast everywhere; with NOISE it follows the noise from place to place."""
    marks_per_class: int = 8
    """Marks of each size, contrast and polarity, over all stretches together."""
    stretches: int = 4
    """Stretches of web, spread evenly over the roll."""
    guard_px: int = 16
    """Pixels kept free around each mark."""
    seed: int = 1

    def __post_init__(self) -> None:
        """Refuse a trial from which nothing could be learnt."""
        for name in ("sizes_px", "contrasts_noise", "contrasts"):
            values = getattr(self, name)
            if name == "contrasts" and not values:
                continue
            fair = all(math.isfinite(value) and value > 0.0 for value in values)
            if not (fair and len(set(values)) == len(values) >= _LEAST_LEVELS):
                raise _refuse(name, "must be two or more different finite numbers above 0", values)
        for name in ("marks_per_class", "stretches", "guard_px"):
            if getattr(self, name) < 1:
                raise _refuse(name, "must be above 0", getattr(self, name))
        if self.seed < 0:
            raise _refuse("seed", "must be 0 or more", self.seed)


def _refuse(name: str, rule: str, value: object) -> ArgumentError:
    return ArgumentError(where=f"DetectionTrial.{name}", rule=rule, value=value, mend="Correct it or leave it out.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Injected:
    """A mark to lay on the raster: round on the web, its contrast flat up to its border.

    ``line`` and ``column`` place its middle in the raster, in lines and columns from the start of the first of them.
    ``contrast`` is the signed change of the signal as a fraction of it; ``level`` is the contrast it was asked to
    have, without its sign and in the trial's unit.
    """

    line: float
    column: float
    size_mm: float
    contrast: float
    level: float

    @property
    def polarity(self) -> Polarity:
        """Whether the signal falls or rises there."""
        return Polarity.DARK if self.contrast < 0.0 else Polarity.BRIGHT


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionPlan:
    """The marks to lay on one stretch of a raster, in order along; places are in lines and columns of the raster."""

    first_line: int
    lines: int
    first_column: int
    """First column of the web that is scanned; its edges with their beads lie outside."""
    columns: int
    """Columns of it."""
    pitch_mm: tuple[float, float]
    unit: ContrastUnit
    seed: int
    marks: tuple[Injected, ...]
    no_room: int = 0
    """Marks asked for that found no free place."""
    left_out: int = 0
    """Marks left out because the pixels can't show them there: saturated, or darker than black."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionClass:
    """How many marks of one size and contrast were laid on the web, and how many of them were found."""

    size_mm: float
    contrast: float
    """Without its sign, in the trial's unit."""
    polarity: Polarity
    injected: int
    hits: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionCurve:
    """ln(p / (1 − p)) = b₀ + b₁ ln size + b₂ ln contrast, with all it was fitted to.

    A curve with bends has more: Σ bₖ max(0, ln(size / bendₖ)) + c ln size × ln contrast. Sizes are diameters in mm,
    contrasts are without their sign, in ``unit``.
    """

    polarity: Polarity | None
    """None: both together."""
    unit: ContrastUnit
    bends_mm: tuple[float, ...]
    """Sizes at which the slope in size changes; none where a straight line in both logarithms describes the hits."""
    coefficients: tuple[float, ...]
    """b₀, b₁, b₂; with bends, one for each of them, and the last for the product of both logarithms."""
    covariance: tuple[tuple[float, ...], ...]
    """Inverse of the expected information at the fit."""
    method: FitMethod
    log_likelihood: float
    """With its penalty where the method has one, without the binomial coefficients."""
    slopes_p: float
    """Probability, if size and contrast made no difference, of as great a likelihood ratio (χ²)."""
    deviance: float
    fit_p: float
    """Probability, if this curve were true, of as great a deviance: small where the curve doesn't describe the hits."""
    tested: tuple[DetectionClass, ...]

    @property
    def fits(self) -> bool:
        """Whether the hits could well have come of this curve, at 5 %; else look at the classes themselves."""
        return self.fit_p > _FITS

    @property
    def injected(self) -> int:
        """Marks laid on the web."""
        return sum(one.injected for one in self.tested)

    @property
    def hits(self) -> int:
        """Marks of these that were found."""
        return sum(one.hits for one in self.tested)

    @property
    def sizes_mm(self) -> tuple[float, float]:
        """Smallest and greatest size tested."""
        sizes = [one.size_mm for one in self.tested]
        return min(sizes), max(sizes)

    @property
    def contrasts(self) -> tuple[float, float]:
        """Least and greatest contrast tested."""
        contrasts = [one.contrast for one in self.tested]
        return min(contrasts), max(contrasts)


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionProbability:
    """How likely a mark is found, with its two-sided interval.

    Where ``tested`` is false the mark lies outside what was injected, and ``why`` says how: of one that is smaller or
    fainter only ``high`` is known (``value`` is NaN and ``low`` is 0); one that is larger or stronger is taken to be
    found as well as the nearest that was tested, with 1 for ``high``.
    """

    value: float
    low: float
    high: float
    confidence: float
    tested: bool
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionThreshold:
    """The size at a given contrast, or the contrast at a given size, from which on marks are found.

    Nothing is extrapolated: each number is a tested limit where the answer lies beyond it, and its reach says so.
    """

    probability: float
    confidence: float
    given: float
    """The contrast, or the size in mm, it was asked for."""
    value: float
    """Found there with ``probability``, by the curve: a90 for 0.9."""
    reach: Reach
    bound: float
    """Upper one-sided confidence bound of ``value``: a90/95 for 0.9 and 0.95."""
    bound_reach: Reach


@dataclass(frozen=True, slots=True, kw_only=True)
class DetectionResult:
    """What a trial on a user's own raster showed; plain values only, so that it can be kept with the scan."""

    curves: tuple[DetectionCurve, ...]
    """For dark, for bright and for both together, where each could be fitted."""
    tested: tuple[DetectionClass, ...]
    polarity_p: float
    """Probability, if dark and bright marks were found alike, of curves so different; NaN where it can't be said."""
    why: str
    """Why a curve is missing; empty where all are there."""
    stretches: tuple[tuple[int, int], ...]
    """Lines (from, to) of the raster that were scanned twice."""
    strays: int
    """Marks found in the second scan only, where nothing was laid."""
    no_room: int
    left_out: int
    noise: float
    """Median pixel noise as a fraction of the signal, in the first stretch."""
    pitch_mm: tuple[float, float]
    trial: DetectionTrial
    settings: ScanSettings

    @property
    def injected(self) -> int:
        """Marks laid on the web."""
        return sum(one.injected for one in self.tested)

    def curve(self, polarity: Polarity | None = None) -> DetectionCurve | None:
        """The curve of dark marks, of bright ones, or of both together (None); None if it couldn't be fitted."""
        return next((curve for curve in self.curves if curve.polarity is polarity), None)
