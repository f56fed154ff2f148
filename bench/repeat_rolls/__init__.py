"""Invented rolls whose rollers are known, and the two plain ways to look for a spacing, for bench/repeats.py.

One lane of random marks in which rollers print at each turn with probability p. True diameters lie within 0.15 % of the
table, prints jitter by 3 mm, and each turn's spacing wanders by 0, 0.05 or 0.2 %.
"""

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.signal import periodogram

from wideroll.repeats import Roller

__all__ = ["LANE_MM", "ROLLERS", "WANDERS", "Drawn", "by_fold", "by_periodogram", "draw", "near_pair", "unknown"]

Floats = NDArray[np.float64]

DIAMETERS = (80, 95, 110, 120, 132, 150, 160, 178, 200, 202.5, 225, 250, 280, 300, 340, 400, 480, 600)
ROLLERS = tuple(Roller(name=f"{d:g} mm", diameter_mm=d, tolerance_mm=0.0015 * d) for d in DIAMETERS)
WANDERS = (0.0, 0.0005, 0.002)
LANE_MM = (297.0, 302.9)
DIRT_PER_M = 0.5
LEAST_M, MOST_M = 0.15, 3.0
_OFF = 0.0015
_BIN_M = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """Marks of one lane, and what made the prints among them."""

    along: Floats
    across: Floats
    spacings: tuple[float, ...]
    names: tuple[str, ...]
    length_m: float


def draw(seed: tuple[int, ...], rollers: tuple[Roller, ...], chance: float, wander: float, length_m: float) -> Drawn:
    """A lane in which each of the rollers prints with the probability."""
    rng = np.random.default_rng(seed)
    spacings = [roller.pitch_m * (1.0 + rng.uniform(-_OFF, _OFF)) for roller in rollers]
    dirt = rng.uniform(0.0, length_m, rng.poisson(DIRT_PER_M * length_m))
    along = np.concatenate([*(prints(rng, spacing, chance, wander, length_m) for spacing in spacings), dirt])
    names = tuple(roller.name for roller in rollers)
    across = rng.uniform(*LANE_MM, along.size)
    return Drawn(along=along, across=across, spacings=tuple(spacings), names=names, length_m=length_m)


def prints(rng: np.random.Generator, spacing_m: float, chance: float, wander: float, length_m: float) -> Floats:
    """Places that a roller marks."""
    turns = int(1.05 * length_m / spacing_m) + 5
    places = rng.uniform(0.0, spacing_m) + np.cumsum(spacing_m * (1.0 + wander * rng.standard_normal(turns)))
    places = places[rng.random(turns) < chance]
    places = places + 0.003 * rng.standard_normal(places.size)
    return places[(places >= 0.0) & (places <= length_m)]


def unknown(rng: np.random.Generator) -> Roller:
    """A roller of 80 to 600 mm that differs from all of the table by 1 % or more."""
    while True:
        diameter = math.exp(rng.uniform(math.log(80.0), math.log(600.0)))
        if min(abs(diameter / other - 1.0) for other in DIAMETERS) >= 0.01:
            return Roller(name="not in the table", diameter_mm=diameter)


def near_pair(rng: np.random.Generator) -> tuple[Roller, ...]:
    """The table with a second roller 1 % greater than one of it: the first and the last that are given."""
    one = ROLLERS[rng.integers(len(ROLLERS) - 1)]
    two = Roller(name="its neighbour", diameter_mm=1.01 * one.diameter_mm, tolerance_mm=1.01 * one.tolerance_mm)
    rest = (r for r in ROLLERS if r is not one and abs(r.diameter_mm / two.diameter_mm - 1.0) > 0.005)
    return (one, *rest, two)


@njit
def _strongest_fold(along: Floats, frequencies: Floats) -> float:
    """The frequency with the greatest H of 20 harmonics."""
    best, found = -1.0, 0.0
    cosines, sines = np.empty(20), np.empty(20)
    for frequency in frequencies:
        cosines[:] = 0.0
        sines[:] = 0.0
        for place in along:
            angle = 2.0 * math.pi * frequency * place
            c, s = math.cos(angle), math.sin(angle)
            ck, sk = c, s
            for k in range(20):
                cosines[k] += ck
                sines[k] += sk
                ck, sk = ck * c - sk * s, sk * c + ck * s
        z = 0.0
        for k in range(20):
            z += 2.0 / along.size * (cosines[k] ** 2 + sines[k] ** 2)
            if z - 4.0 * k > best:
                best, found = z - 4.0 * k, frequency
    return found


def by_fold(roll: Drawn) -> tuple[float, str]:
    """Spacing and nearest roller by the fold: the greatest H at spacings half a resolved frequency apart."""
    frequencies = np.arange(1.0 / MOST_M, 1.0 / LEAST_M, 0.5 / roll.length_m)
    return _nearest(1.0 / _strongest_fold(roll.along, frequencies))


def by_periodogram(roll: Drawn) -> tuple[float, str]:
    """The same by the highest peak of scipy's periodogram of counts in steps of 10 mm."""
    counts, _ = np.histogram(roll.along, bins=round(roll.length_m / _BIN_M), range=(0.0, roll.length_m))
    frequencies, power = periodogram(counts.astype(np.float64), fs=1.0 / _BIN_M, window="hann")
    within = (frequencies >= 1.0 / MOST_M) & (frequencies <= 1.0 / LEAST_M)
    return _nearest(1.0 / float(frequencies[within][np.argmax(power[within])]))


def _nearest(spacing: float) -> tuple[float, str]:
    return spacing, min(ROLLERS, key=lambda roller: abs(roller.pitch_m - spacing)).name
