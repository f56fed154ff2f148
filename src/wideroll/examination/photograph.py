"""Photographs of marks: code values to light, and what is found of the mark in them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.examination.model import DensityChange, Floats

__all__ = ["MarkPhotograph", "Photograph", "linear_light"]

Codes = NDArray[np.uint8] | NDArray[np.uint16]

_COLOURS: Final = 3
_KNEE: Final = 0.04045
_SLOPE: Final = 12.92
_OFFSET: Final = 0.055
_POWER: Final = 2.4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photograph:
    """A photograph by transmitted light, as code values ``[row, column, colour]`` of 8 or 16 bit.

    Raises:
        ArgumentError: when the pixels aren't red, green and blue of 8 or 16 bit, or gamma isn't positive.
    """

    pixels: Codes
    gamma: float | None = None
    """Exponent from code value to light, 1 for a linear photograph; None for the curve of sRGB."""
    taken_for: str = "sRGB"
    """What the code values were taken for and why, in words."""

    def __post_init__(self) -> None:
        """Refuse what isn't a photograph in colour."""
        shape, dtype = self.pixels.shape, self.pixels.dtype
        if len(shape) != _COLOURS or shape[2:] != (_COLOURS,) or not all(shape) or dtype not in (np.uint8, np.uint16):
            raise ArgumentError(
                where="pixels",
                rule="rows, columns and three colours, 8 or 16 bit",
                value=f"{shape} {dtype}",
                mend="Give red, green and blue.",
            )
        if self.gamma is not None and not 0.1 <= self.gamma <= 10.0:  # noqa: PLR2004  -- none in use lies outside
            raise ArgumentError(where="gamma", rule="from 0.1 to 10", value=self.gamma, mend="Give 2.2 or the like.")

    @property
    def full(self) -> int:
        """The greatest code value."""
        return int(np.iinfo(self.pixels.dtype).max)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MarkPhotograph:
    """What a photograph tells of a mark; only ``refused`` where it can't tell."""

    refused: str = ""
    """Why the photograph is no evidence, or empty."""
    change: DensityChange | None = None
    """Density of the mark less its surround's."""
    length_mm: float = float("nan")
    """Its long axis where it is half as strong as in its core; NaN where the mark runs through the photograph."""
    width_mm: float = float("nan")
    size_standard_uncertainty_mm: float = float("nan")
    mark_pixels: int = 0
    surround_pixels: int = 0
    taken_for: str = ""
    """What the code values were taken for."""

    @property
    def size_mm(self) -> float:
        """The length of a spot; the width of a streak that runs through the photograph."""
        return self.width_mm if np.isnan(self.length_mm) else self.length_mm


def linear_light(photograph: Photograph) -> Floats:
    """Light in each pixel and colour, 1 at the greatest code value.

    sRGB: code⁄12.92 up to 0.04045, from there ((code + 0.055)⁄1.055)^2.4, code from 0 to 1 [@iec61966], from memory.

    Example:
        >>> grey = Photograph(pixels=np.full((1, 1, 3), 188, dtype=np.uint8))
        >>> round(float(linear_light(grey)[0, 0, 0]), 3)
        0.503
    """
    # by a table: there are few code values and many pixels
    code = np.arange(photograph.full + 1, dtype=np.float64) / photograph.full
    if photograph.gamma is not None:
        light = code**photograph.gamma
    else:
        light = np.where(code <= _KNEE, code / _SLOPE, ((code + _OFFSET) / (1.0 + _OFFSET)) ** _POWER)
    found: Floats = light[photograph.pixels]
    return found
