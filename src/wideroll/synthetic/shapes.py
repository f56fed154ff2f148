"""What a planted mark looks like, and what it then measures.

A mark's own long axis points along the web, or ``angle_deg`` off it: turned positive towards greater places across.
"""

import math
from dataclasses import dataclass
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["Block", "Comet", "Ellipse", "Line", "Measures", "Ring", "Shape", "measure_shape", "outline"]

_SLICES: Final = 4096
_QUARTER_DEG: Final = 90.0
_HALF_DEG: Final = 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ellipse:
    """A flat ellipse, with half its contrast at its border."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comet:
    """A round head, as wide as the mark, and a tail that narrows to a point; the mark's place is the head's middle.

    The mark's length is head and tail together. The tail points towards the roll's tail, or ``angle_deg`` off that.
    """

    fade: float = 1.0
    """Share of its contrast that the tail has lost at its tip; it starts to lose where the head ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """An ellipse with a ring around it, such as a dark core in a bright halo."""

    width_mm: float
    contrast: float
    """Signed; the core has the mark's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line with round ends. Thinner than a pixel, it is as faint as its share of the pixel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A rectangle with sharp borders: each pixel changes by the share of it that is covered."""


Shape: TypeAlias = Ellipse | Comet | Ring | Line | Block


class Measures(NamedTuple):
    """What a perfect scanner would measure of a mark; of a ring, its core."""

    along_mm: float
    """Of the centroid, weighed by contrast, from the mark's place."""
    across_mm: float
    length_mm: float
    """Along the web, however the mark is turned."""
    width_mm: float
    area_mm2: float
    elongation: float
    angle_deg: float


def measure_shape(shape: Shape, *, length_mm: float, width_mm: float, angle_deg: float) -> Measures:
    """Place, sizes, area and direction of a shape; for comets and lines summed over 4096 slices.

    Args:
        shape: what it looks like.
        length_mm: full size along its own long axis.
        width_mm: full size across that.
        angle_deg: of that axis from along the web.

    Example:
        >>> slanted = measure_shape(Line(), length_mm=10.0, width_mm=0.1, angle_deg=30.0)
        >>> [round(value, 2) for value in (slanted.length_mm, slanted.width_mm, slanted.area_mm2)]
        [8.67, 5.05, 1.0]
    """
    core = Ellipse() if isinstance(shape, Ring) else shape
    low, high = outline(core, length_mm=length_mm, width_mm=width_mm, angle_deg=angle_deg)
    if isinstance(core, Comet | Line):
        shift, area, elongation = _slice_up(core, length_mm, width_mm)
    else:
        shift, elongation = 0.0, max(length_mm, width_mm) / min(length_mm, width_mm)
        area = (1.0 if isinstance(core, Block) else math.pi / 4.0) * length_mm * width_mm
    turned = math.radians(angle_deg)
    return Measures(
        along_mm=shift * math.cos(turned),
        across_mm=shift * math.sin(turned),
        length_mm=high[0] - low[0],
        width_mm=high[1] - low[1],
        area_mm2=area,
        elongation=max(elongation, 1.0),
        angle_deg=0.0 if elongation == 1.0 else _axis_deg(angle_deg + _QUARTER_DEG * (width_mm > length_mm)),
    )


def outline(
    shape: Shape, *, length_mm: float, width_mm: float, angle_deg: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Least and greatest (along, across) that a shape reaches from its place, in mm; of a ring, with the ring.

    Example:
        >>> outline(Comet(), length_mm=10.0, width_mm=2.0, angle_deg=0.0)
        ((-1.0, -1.0), (9.0, 1.0))
    """
    cos, sin = _direction(angle_deg)
    if isinstance(shape, Comet):
        head, tip = width_mm / 2.0, length_mm - width_mm / 2.0
        along, across = tip * cos, tip * sin
        return (min(-head, along), min(-head, across)), (max(head, along), max(head, across))
    if isinstance(shape, Line):
        reach = (length_mm - width_mm) / 2.0
        half = (reach * abs(cos) + width_mm / 2.0, reach * abs(sin) + width_mm / 2.0)
    else:
        # A block isn't turned, so that it reaches as far as the ellipse in it.
        ring = shape.width_mm if isinstance(shape, Ring) else 0.0
        along, across = math.hypot(length_mm * cos, width_mm * sin), math.hypot(length_mm * sin, width_mm * cos)
        half = (along / 2.0 + ring, across / 2.0 + ring)
    return (-half[0], -half[1]), half


def _direction(angle_deg: float) -> tuple[float, float]:
    turned = math.radians(angle_deg)
    return math.cos(turned), math.sin(turned)


def _slice_up(shape: Comet | Line, length_mm: float, width_mm: float) -> tuple[float, float, float]:
    """Centroid along its own axis from its place, area and elongation."""
    radius = width_mm / 2.0
    start = -radius if isinstance(shape, Comet) else -length_mm / 2.0
    at: NDArray[np.float64] = start + (np.arange(_SLICES) + 0.5) * length_mm / _SLICES
    beyond = np.abs(at) - (length_mm / 2.0 - radius) if isinstance(shape, Line) else np.abs(at)
    half = np.sqrt(np.maximum(radius**2 - np.maximum(beyond, 0.0) ** 2, 0.0))
    strength = np.ones(_SLICES)
    if isinstance(shape, Comet) and length_mm > width_mm:
        tip = length_mm - radius
        half = np.where(at > 0.0, np.maximum(half, radius * (1.0 - at / tip)), half)
        strength = 1.0 - shape.fade * np.clip((at - radius) / (tip - radius), 0.0, 1.0)
    area = float(half.sum() * 2.0 * length_mm / _SLICES)
    share = half / half.sum()
    variance = float((share * at**2).sum() - (share * at).sum() ** 2)
    shift = float((share * strength * at).sum() / (share * strength).sum()) if isinstance(shape, Comet) else 0.0
    return shift, area, math.sqrt(variance / float((share * half**2).sum() / 3.0))


def _axis_deg(angle_deg: float) -> float:
    """The same axis, above -90 and up to 90."""
    return _QUARTER_DEG - (_QUARTER_DEG - angle_deg) % _HALF_DEG
