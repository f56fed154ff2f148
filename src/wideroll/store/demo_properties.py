"""Measured properties of the invented rolls, the gauges that measured them, and what is true of them.

Everything here is made up. The peel tester's calibration runs out before the last roll is measured with it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from wideroll.store.demo_scene import RollScene

__all__ = ["GAUGES_TOML", "PROPERTIES_TOML", "properties_rows", "properties_truth"]

GAUGES_TOML: Final = """
[[gauges]]
name = "TG-1"
measures = ["thickness"]
unit = "um"
common_standard_uncertainty = 0.3
repeatability = 0.2
calibrations = [{ on = 2026-10-05, expires = 2027-01-04, correction = -0.4 }]

[[gauges]]
name = "CG-1"
measures = ["curl"]
unit = "mm"
common_standard_uncertainty = 0.2
repeatability = 0.3
calibrations = [{ on = 2026-09-01, expires = 2027-02-28 }]

[[gauges]]
name = "PT-1"
measures = ["adhesion"]
unit = "N"
common_standard_uncertainty = 0.04
repeatability = 0.05
calibrations = [{ on = 2026-05-14, expires = 2026-11-14 }]
"""

PROPERTIES_TOML: Final = """\
[[properties]]
name = "thickness"
unit = "µm"

[[properties]]
name = "curl"
unit = "mm"

[[properties]]
name = "adhesion"
unit = "N"

[[criteria]]
name = "Thickness"
measurand = "reading"
subject = "thickness"
aim = 130
limit = 5
good = 2
unit = "µm"
consequence = "cut out"

[[criteria]]
name = "Curl"
measurand = "reading"
subject = "curl"
bound = "most"
limit = 12
good = 7
unit = "mm"
consequence = "hold"

[[criteria]]
name = "Adhesion"
measurand = "reading"
subject = "adhesion"
bound = "least"
limit = 2
good = 3.5
unit = "N"
consequence = "hold"

[[criteria]]
name = "Places of thickness per batch"
measurand = "evidence count"
subject = "thickness"
limit = 4
unit = "places"
consequence = "hold"

"""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Property:
    """A property: its unit, gauge, mean over all batches, scatter of batches and of places, and how it is noted."""

    name: str
    unit: str
    gauge: str
    mean: float
    batch_sd: float
    place_sd: float
    reads_over: float
    decimals: int


_PROPERTIES: Final = (
    _Property(
        name="thickness",
        unit="um",
        gauge="TG-1",
        mean=130.2,
        batch_sd=0.8,
        place_sd=0.7,
        reads_over=0.4,
        decimals=1,
    ),
    _Property(name="curl", unit="mm", gauge="CG-1", mean=6.5, batch_sd=0.4, place_sd=0.9, reads_over=0.0, decimals=1),
    _Property(
        name="adhesion", unit="N", gauge="PT-1", mean=3.6, batch_sd=0.1, place_sd=0.2, reads_over=0.0, decimals=2
    ),
)
_PLACES: Final = ((0.08, 120), (0.36, 980), (0.64, 460), (0.92, 1260))
"""Share of the batch, and mm from the datum edge: the places lie over all of a batch and of the width."""


def properties_rows(scene: RollScene, length_m: float) -> list[Sequence[str]]:
    """The rows of a roll's properties.csv, with their head."""
    chance = np.random.Generator(np.random.PCG64([scene.seed, 7]))
    rows: list[Sequence[str]] = [("property", "value", "unit", "along", "across", "instrument", "on")]
    for measured in _PROPERTIES:
        for name, start, end in scene.batches:
            mean = _batch_mean(measured, name)
            for along, across_mm in _PLACES:
                place = (start + along * (end - start)) * length_m
                value = mean + measured.reads_over + measured.place_sd * chance.standard_normal()
                shown = (f"{value:.{measured.decimals}f}", measured.unit)
                where = (f"{place:.2f} m", f"{across_mm} mm")
                rows.append((measured.name, *shown, *where, measured.gauge, scene.measured_on))
    return rows


def properties_truth(scene: RollScene) -> dict[str, Any]:
    """True mean and scatter between places of each property in each batch."""
    return {
        measured.name: {name: [_batch_mean(measured, name), measured.place_sd] for name, _, _ in scene.batches}
        for measured in _PROPERTIES
    }


def _batch_mean(measured: _Property, batch: str) -> float:
    """The same for each roll that has film of the batch."""
    chance = np.random.Generator(np.random.PCG64([*measured.name.encode(), *batch.encode()]))
    return round(measured.mean + measured.batch_sd * float(chance.standard_normal()), measured.decimals)
