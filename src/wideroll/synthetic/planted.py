"""Marks and streaks to plant on a web, and the table that tells what is there."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import polars as pl

from wideroll.roll import MARKS_SCHEMA, MarkKind, Polarity, mark_id
from wideroll.synthetic.shapes import Comet, Ellipse, Line, Ring, Shape, measure_shape

__all__ = [
    "FULL_SCALE",
    "PlantedMark",
    "PlantedStreak",
    "plant_comet",
    "plant_hole",
    "plant_ring",
    "plant_scratch",
    "tabulate",
]

FULL_SCALE: Final = 255
"""The greatest count of the 8-bit scanner."""
_SOURCE: Final = "planted"
_PINHOLE_MM: Final = 0.5
_ELLIPSE: Final = Ellipse()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedMark:
    """A mark: its place, its full sizes along its own axis and across it, its contrast with the surround and its shape.

    ``contrast`` is the signed change of the signal as a fraction of it: negative is darker. ``turn`` is the turn of the
    roller that printed it, None where nothing turns.
    """

    along_m: float
    across_mm: float
    length_mm: float
    width_mm: float
    contrast: float
    kind: MarkKind = MarkKind.SPOT
    cause: str = ""
    turn: int | None = None
    shape: Shape = _ELLIPSE
    angle_deg: float = 0.0
    """Of its own axis from along the web, turned positive towards greater places across."""
    saturates: bool = False
    """Lets through all the detector can take, whatever the contrast."""
    other_channel: float = 1.0
    """Factor on its contrast in every channel but the first."""

    @property
    def size_mm(self) -> float:
        """Diameter of the circle of the same area, were it an ellipse."""
        return math.sqrt(self.length_mm * self.width_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedStreak:
    """A line along the web: place of its middle, where it starts and stops, full width and signed contrast.

    One that is ``fixed`` belongs to the scanner: ``across_mm`` then counts from the start of the sweep and it doesn't
    move with the web.
    """

    across_mm: float
    along_from_m: float
    along_to_m: float
    width_mm: float
    contrast: float
    fixed: bool = False
    wander_mm: float = 0.0
    """Greatest departure sideways from ``across_mm``, a sine that starts at 0 where the streak does."""
    wander_period_m: float = 10.0
    other_channel: float = 1.0
    """Factor on its contrast in every channel but the first."""

    def across_at_mm(self, along_m: float) -> float:
        """Where its middle lies across at a place along.

        Example:
            >>> slow = PlantedStreak(
            ...     across_mm=40.0,
            ...     along_from_m=1.0,
            ...     along_to_m=9.0,
            ...     width_mm=0.5,
            ...     contrast=-0.01,
            ...     wander_mm=0.6,
            ...     wander_period_m=8.0,
            ... )
            >>> slow.across_at_mm(1.0), slow.across_at_mm(3.0)
            (40.0, 40.6)
        """
        turns = (along_m - self.along_from_m) / self.wander_period_m
        return self.across_mm + self.wander_mm * math.sin(2.0 * math.pi * turns)


def plant_comet(
    *,
    along_m: float,
    across_mm: float,
    head_mm: float,
    tail_mm: float,
    contrast: float,
    fade: float = 1.0,
    angle_deg: float = 0.0,
    cause: str = "comet",
) -> PlantedMark:
    """A round head with a tail that runs ``tail_mm`` past it, narrows to a point and loses the share ``fade``.

    The place is the head's middle; the table tells the centroid. At an angle of 0 the tail points to the roll's tail,
    at 180 to its head.

    Example:
        >>> comet = plant_comet(along_m=1.0, across_mm=30.0, head_mm=1.0, tail_mm=9.0, contrast=-0.3)
        >>> comet.kind.value, comet.length_mm, comet.width_mm
        ('comet', 10.0, 1.0)
    """
    return PlantedMark(
        along_m=along_m,
        across_mm=across_mm,
        length_mm=head_mm + tail_mm,
        width_mm=head_mm,
        contrast=contrast,
        kind=MarkKind.COMET,
        cause=cause,
        shape=Comet(fade=fade),
        angle_deg=angle_deg,
    )


def plant_ring(
    *,
    along_m: float,
    across_mm: float,
    core_mm: float,
    ring_mm: float,
    contrast: float,
    ring_contrast: float,
    cause: str = "ring",
) -> PlantedMark:
    """A round core of one contrast with a ring ``ring_mm`` wide of another around it.

    Example:
        >>> plant_ring(along_m=1.0, across_mm=30.0, core_mm=1.0, ring_mm=0.4, contrast=-0.4, ring_contrast=0.2).shape
        Ring(width_mm=0.4, contrast=0.2)
    """
    return PlantedMark(
        along_m=along_m,
        across_mm=across_mm,
        length_mm=core_mm,
        width_mm=core_mm,
        contrast=contrast,
        cause=cause,
        shape=Ring(width_mm=ring_mm, contrast=ring_contrast),
    )


def plant_scratch(
    *,
    along_m: float,
    across_mm: float,
    length_mm: float,
    width_mm: float,
    contrast: float,
    angle_deg: float = 0.0,
    cause: str = "scratch",
) -> PlantedMark:
    """A thin straight line of any length and angle; its place is its middle.

    Example:
        >>> plant_scratch(
        ...     along_m=1.0, across_mm=30.0, length_mm=40.0, width_mm=0.1, contrast=0.2, angle_deg=20.0
        ... ).kind.value
        'scratch'
    """
    return PlantedMark(
        along_m=along_m,
        across_mm=across_mm,
        length_mm=length_mm,
        width_mm=width_mm,
        contrast=contrast,
        kind=MarkKind.SCRATCH,
        cause=cause,
        shape=Line(),
        angle_deg=angle_deg,
    )


def plant_hole(*, along_m: float, across_mm: float, size_mm: float, cause: str = "hole") -> PlantedMark:
    """A round hole through which the detector saturates; under 0.5 mm it is called a pinhole.

    Example:
        >>> plant_hole(along_m=1.0, across_mm=30.0, size_mm=0.3).kind.value
        'pinhole'
    """
    return PlantedMark(
        along_m=along_m,
        across_mm=across_mm,
        length_mm=size_mm,
        width_mm=size_mm,
        contrast=1.0,
        kind=MarkKind.PINHOLE if size_mm < _PINHOLE_MM else MarkKind.HOLE,
        cause=cause,
        saturates=True,
    )


def tabulate(planted: Iterable[PlantedMark], *, noise: float = 0.0, level: float | None = None) -> pl.DataFrame:
    """Planted marks as a marks table, in their order.

    Places are centroids, weighed by contrast; sizes, area and direction are those of the mark with sharp borders, of a
    ring those of its core. ``contrast`` and ``peak`` are those planted, however few pixels they fall on.

    Args:
        planted: the marks.
        noise: standard deviation of a pixel as a share of the signal; ``snr`` is the contrast over it, infinite for 0.
        level: signal of the web in counts; with it, a mark that saturates has the contrast of full scale to it.

    Returns:
        The columns of ``MARKS_SCHEMA``, then ``cause``.

    Example:
        >>> spot = PlantedMark(along_m=1.0, across_mm=30.0, length_mm=1.0, width_mm=1.0, contrast=-0.5, cause="dirt")
        >>> tabulate([spot], noise=0.02).select("contrast", "snr", "polarity", "cause").row(0)
        (0.5, 25.0, 'dark', 'dirt')
    """
    rows = [_row(mark, noise, level) for mark in planted]
    return pl.DataFrame(rows, schema={**MARKS_SCHEMA, "cause": pl.String()})


def _row(mark: PlantedMark, noise: float, level: float | None) -> dict[str, object]:
    seen = measure_shape(mark.shape, length_mm=mark.length_mm, width_mm=mark.width_mm, angle_deg=mark.angle_deg)
    dark = mark.contrast < 0.0 and not mark.saturates
    polarity = Polarity.DARK if dark else Polarity.BRIGHT
    contrast = FULL_SCALE / level - 1.0 if mark.saturates and level else abs(mark.contrast)
    ring = mark.shape.contrast if isinstance(mark.shape, Ring) else 0.0
    along_m, across_mm = mark.along_m + seen.along_mm / 1000.0, mark.across_mm + seen.across_mm
    return {
        "id": mark_id(source=_SOURCE, along_m=along_m, across_mm=across_mm, polarity=polarity),
        "along_m": along_m,
        "across_mm": across_mm,
        "length_mm": seen.length_mm,
        "width_mm": seen.width_mm,
        "area_mm2": seen.area_mm2,
        "contrast": contrast,
        "snr": contrast / noise if noise > 0.0 else math.inf,
        "peak": contrast,
        "elongation": seen.elongation,
        "angle_deg": seen.angle_deg,
        # A rim of the core's own polarity is a larger core to whoever measures it.
        "ring": ring if (ring < 0.0) != dark else 0.0,
        "polarity": polarity.value,
        "kind": mark.kind.value,
        "rule": "planted",
        "source": _SOURCE,
        "cause": mark.cause,
    }
