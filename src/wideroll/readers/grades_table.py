"""``[grades]`` of a product file: the scale, and the reference samples that anchor it."""

from typing import Annotated

from pydantic import Field

from wideroll.examination import GradedSample, GradeFit, GradeScale, MarkShape, Viewing, fit_grades
from wideroll.readers.fields import FileModel, Finite, Name, Positive, PositiveMillimetres

__all__ = ["GradedSampleTable", "GradesTable"]


class GradedSampleTable(FileModel):
    """``[[grades.samples]]`` in a product file."""

    grade: Name
    shape: MarkShape
    density: Finite
    width: PositiveMillimetres
    magnification: Positive | None = None

    def build(self) -> GradedSample:
        """The sample."""
        return GradedSample(
            grade=self.grade,
            shape=self.shape,
            density=self.density,
            width_mm=self.width,
            magnification=self.magnification,
        )


class GradesTable(FileModel):
    """``[grades]`` in a product file."""

    scale: Annotated[tuple[Name, ...], Field(min_length=2)]
    magnification: Positive = 1.0
    viewing_distance: PositiveMillimetres = 250.0
    samples: tuple[GradedSampleTable, ...]

    def build(self) -> GradeFit:
        """The scale, fitted to its samples.

        Raises:
            ArgumentError: when the samples don't carry it.
        """
        return fit_grades(
            GradeScale(
                grades=self.scale,
                samples=tuple(sample.build() for sample in self.samples),
                viewing=Viewing(magnification=self.magnification, distance_mm=self.viewing_distance),
            )
        )
