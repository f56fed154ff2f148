"""What a scale of grades is made of, and what it says of a mark."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.examination.model import Floats

__all__ = ["GradeFinding", "GradeFit", "GradeScale", "GradedSample", "MarkShape", "Viewing", "Visibility"]

_LEAST_SAMPLES: Final = 6
_Z95: Final = 1.959964
_READING_MM: Final = 250.0


class MarkShape(StrEnum):
    """What a mark is taken for when its visibility is predicted."""

    STREAK = "streak"
    SPOT = "spot"


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewing:
    """How a sheet is looked at: the loupe, and from how far without it. A loupe's number refers to 250 mm."""

    magnification: float = 1.0
    distance_mm: float = _READING_MM

    def __post_init__(self) -> None:
        """Refuse a loupe or distance without size."""
        for where, value in (("magnification", self.magnification), ("distance_mm", self.distance_mm)):
            if not (value > 0.0 and math.isfinite(value)):
                raise ArgumentError(where=where, rule="greater than 0 and finite", value=value, mend="Correct it.")

    def angle_deg(self, width_mm: float) -> float:
        """The angle under which a width appears.

        Example:
            >>> round(Viewing().angle_deg(4.3635), 3)  # a degree at reading distance
            1.0
        """
        return math.degrees(2.0 * math.atan(0.5 * self.magnification * width_mm / self.distance_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class GradedSample:
    """A reference sample: what grade it stands for, and what was measured of it."""

    grade: str
    shape: MarkShape
    density: float
    """Visual density of the mark less its surround's."""
    width_mm: float
    magnification: float | None = None
    """Where it isn't the scale's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeScale:
    """A product's grades from best to worst, its samples, and how they are looked at.

    Raises:
        ArgumentError: when there are fewer than two grades or six samples, or a grade is named twice or has no sample.
    """

    grades: tuple[str, ...]
    samples: tuple[GradedSample, ...]
    viewing: Viewing

    def __post_init__(self) -> None:
        """Refuse a scale that nothing can be told from."""
        if len(self.grades) < 2 or len(set(self.grades)) < len(self.grades):  # noqa: PLR2004
            raise ArgumentError(
                where="scale", rule="two grades at least, each named once", value=self.grades, mend="Name them."
            )
        known = {sample.grade for sample in self.samples}
        if known != set(self.grades) or len(self.samples) < _LEAST_SAMPLES:
            odd = ", ".join(sorted(known ^ set(self.grades))) or f"{len(self.samples)} samples"
            raise ArgumentError(
                where="samples",
                rule=f"at least {_LEAST_SAMPLES} samples, of each grade on the scale one or more, and of no other",
                value=odd,
                mend="Measure more reference samples, or correct their grades.",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Visibility:
    """Predicted visibility of a mark, as log10, with its standard uncertainty."""

    log10: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GradeFit:
    """Visibility at which each grade goes over into the next, and how much judgements scatter."""

    grades: tuple[str, ...]
    borders: Floats
    """log10 of visibility (grades − 1,), ascending."""
    scatter: float
    """Scale of the logistic distribution of one judgement, in log10 of visibility."""
    covariance: Floats
    """Of the borders and ln scatter (grades, grades)."""
    viewing: Viewing
    """How the scale's samples are looked at."""
    samples: int

    @property
    def intervals(self) -> Floats:
        """95 % limits of each border (grades − 1, 2)."""
        half = _Z95 * np.sqrt(np.diag(self.covariance)[:-1])
        return np.column_stack([self.borders - half, self.borders + half])


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeFinding:
    """A grade beside what the measurement predicts."""

    given: str
    visibility: Visibility | None = None
    probability: Mapping[str, float] = field(default_factory=dict)
    """Of each grade, from the measurement alone; empty without one."""
    low: str = ""
    high: str = ""
    """The grades that hold 95 % of it, from better to worse."""
    warning: str = ""
    """Empty, or how the two disagree."""

    @property
    def likeliest(self) -> str:
        """The grade the measurement predicts, empty without one."""
        return max(self.probability, key=lambda grade: self.probability[grade], default="")
