"""What befell the demo's rolls besides dirt: a comet, a ring, a hole, a band, and a web that ran slower for a while."""

from itertools import pairwise
from typing import Final

from wideroll.roll import Extent
from wideroll.scan import LinePlaces
from wideroll.store.demo_scene import RollScene
from wideroll.synthetic import PlantedBand, PlantedMark, plant_comet, plant_hole, plant_ring

__all__ = ["encoder_rows", "planted_bands", "planted_rarities", "slowed_places"]

_APART_M: Final = 0.3
_BAND_AMPLITUDE: Final = 0.006
_SLOWED: Final = 0.85
"""A scanner that sweeps at a steady rate writes lines closer together when the web slows."""


def planted_rarities(scene: RollScene, length_m: float) -> tuple[PlantedMark, ...]:
    """A comet, a dark spot with a bright ring, and a hole, one after another; none where the scene has none."""
    if not scene.rarities_at:
        return ()
    at = scene.rarities_at * length_m
    return (
        plant_comet(along_m=at, across_mm=310.0, head_mm=1.5, tail_mm=9.0, contrast=-0.3),
        plant_ring(
            along_m=at + _APART_M, across_mm=700.0, core_mm=2.0, ring_mm=1.2, contrast=-0.35, ring_contrast=0.15
        ),
        plant_hole(along_m=at + 2 * _APART_M, across_mm=1060.0, size_mm=1.6),
    )


def planted_bands(scene: RollScene, whole: Extent) -> tuple[PlantedBand, ...]:
    """Chatter from end to end, within the product's limit; none where the scene has none."""
    if not scene.band_mm:
        return ()
    return (PlantedBand(extent=whole, period_mm=scene.band_mm, amplitude=_BAND_AMPLITUDE),)


def slowed_places(scene: RollScene, length_m: float, pitch_mm: float) -> LinePlaces | None:
    """Where the lines lie when the web slows between two places; None where it ran evenly."""
    start, end = scene.slowed
    if not end:
        return None
    metres = (0.0, start * length_m, end * length_m, length_m)
    steps = (pitch_mm, _SLOWED * pitch_mm, pitch_mm)
    lines = [0]
    for (before, after), step_mm in zip(pairwise(metres), steps, strict=True):
        lines.append(lines[-1] + round((after - before) * 1000.0 / step_mm))
    return LinePlaces.counted(lines, metres)


def encoder_rows(places: LinePlaces) -> list[tuple[str, str]]:
    """The encoder's table, with its head."""
    counted = zip(places.lines, places.metres, strict=True)
    return [("line", "along_m"), *((f"{line:.0f}", f"{metre:.6f}") for line, metre in counted)]
