"""Photographs of invented marks on a light box, with the truth about their density and size."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import ndimage

from wideroll.errors import ArgumentError
from wideroll.examination import Photograph
from wideroll.examination.model import Floats

__all__ = ["DrawnMark", "draw_photograph"]

_FULL: Final = 255
_KNEE: Final = 0.0031308


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnMark:
    """A photograph, and what its mark truly is."""

    photograph: Photograph
    density: Floats
    """Of the mark less its surround's, in red, green and blue."""
    across_pixels: float


def draw_photograph(  # noqa: PLR0913  -- a scene on a light box is so many plain numbers
    *,
    density: tuple[float, float, float],
    across_pixels: float,
    seed: int,
    streak: bool = False,
    light: tuple[float, float, float] = (0.55, 0.5, 0.45),
    tilt: float = 0.1,
    grain: float = 0.01,
    blur_pixels: float = 0.8,
    shape: tuple[int, int] = (120, 160),
) -> DrawnMark:
    """A disc, or a streak from top to bottom, near the middle of a photograph in sRGB.

    Args:
        density: of the mark less its surround's, in red, green and blue.
        across_pixels: diameter of the disc or width of the streak.
        seed: another seed, another place and other grain.
        streak: whether it runs through.
        light: of the surround, as a share of the camera's range.
        tilt: by how much the light differs from side to side, as a share.
        grain: standard deviation of density from pixel to pixel, neighbours alike as grain is.
        blur_pixels: standard deviation of the camera's blur.
        shape: rows and columns.

    Raises:
        ArgumentError: when the mark or the light has no size.

    Example:
        >>> draw_photograph(density=(0.2, 0.0, 0.0), across_pixels=20.0, seed=1).photograph.pixels.shape
        (120, 160, 3)
    """
    if not across_pixels > 0.0 or min(light) <= 0.0:
        raise ArgumentError(
            where="across_pixels", rule="greater than 0, as is the light", value=across_pixels, mend="Correct it."
        )
    random = np.random.Generator(np.random.PCG64(seed))
    rows, columns = shape
    row, column = np.mgrid[0:rows, 0:columns].astype(np.float64)
    middle = np.array(shape) / 2.0 + random.uniform(-0.1, 0.1, 2) * np.array(shape)
    away = np.abs(column - middle[1]) if streak else np.hypot(row - middle[0], column - middle[1])
    # a pixel at the edge is covered in part
    cover = np.clip(across_pixels / 2.0 - away + 0.5, 0.0, 1.0)
    direction = random.uniform(0.0, 2.0 * math.pi)
    slope = tilt * (math.cos(direction) * (row / rows - 0.5) + math.sin(direction) * (column / columns - 0.5))
    noise = ndimage.gaussian_filter(random.standard_normal((rows, columns, 3)), (0.7, 0.7, 0.0))
    noise *= grain / noise.std()
    clear = np.array(light) * (1.0 + slope)[:, :, None]
    passed = clear * 10.0 ** -(cover[:, :, None] * np.array(density) + noise)
    blurred = np.clip(ndimage.gaussian_filter(passed, (blur_pixels, blur_pixels, 0.0), mode="nearest"), 0.0, 1.0)
    code = np.where(blurred <= _KNEE, 12.92 * blurred, 1.055 * np.maximum(blurred, 1e-9) ** (1.0 / 2.4) - 0.055)
    pixels = np.rint(code * _FULL).astype(np.uint8)
    return DrawnMark(photograph=Photograph(pixels=pixels), density=np.array(density), across_pixels=across_pixels)
