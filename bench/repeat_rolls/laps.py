"""Particles wound into a roll, and rollers that could be taken for one, for bench/repeats.py."""

import math

import numpy as np

from repeat_rolls import DIRT_PER_M, ROLLERS, prints
from wideroll.repeats import SeriesKind, Winding, find_series

__all__ = ["LAPS", "lap_print", "lap_rival"]

LENGTH_M = 500.0
CHANCE = 0.8
WINDING = Winding(thickness_mm=0.13, tolerance_mm=0.006, least_radius_mm=76.0, most_radius_mm=300.0)
LAPS: dict[int, float | None] = {6: None, 8: None, 12: 0.9, 20: 0.95}
"""Laps of a print, and the share that must be found; no share is promised of short ones."""


def lap_print(number: int, *, laps: int) -> dict[str, float]:
    """One particle among dirt: found as a lap print, its radius within the limits told."""
    rng = np.random.default_rng((61, laps, number))
    thickness = 1e-3 * (WINDING.thickness_mm + rng.uniform(-1.0, 1.0) * WINDING.tolerance_mm)
    radius, sign = rng.uniform(0.08, 0.28), rng.choice((-1.0, 1.0))
    k = np.arange(laps)
    places = rng.uniform(50.0, 400.0) + 2.0 * math.pi * radius * k + sign * math.pi * thickness * k**2
    printed = rng.random(laps) < CHANCE
    places, first = places[printed], radius + sign * thickness * int(np.argmax(printed))
    search = _search(rng, places + 0.003 * rng.standard_normal(places.size))
    lap = next((one.lap for one in search if one.kind is SeriesKind.LAP), None)
    if lap is None:
        return {"series": 0.0}
    return {"series": 1.0, "held": float(lap.radius_low_mm <= 1000.0 * first <= lap.radius_high_mm)}


def lap_rival(number: int, *, turns: int) -> dict[str, float]:
    """A roller that marks for so many turns: named, or taken for a lap print."""
    rng = np.random.default_rng((62, turns, number))
    roller = ROLLERS[(5 * number) % len(ROLLERS)]
    run = min(turns * roller.pitch_m, 400.0)
    places = 50.0 + prints(rng, roller.pitch_m, CHANCE, 0.001, run)
    search = _search(rng, places)
    named = any(one.candidates and one.candidates[0].roller == roller.name for one in search)
    return {"lap": float(any(one.kind is SeriesKind.LAP for one in search)), "series": float(named)}


def _search(rng: np.random.Generator, places: np.ndarray) -> tuple:
    dirt = rng.uniform(0.0, LENGTH_M, rng.poisson(DIRT_PER_M * LENGTH_M))
    along = np.concatenate((places, dirt))
    return find_series(along, np.full(along.size, 300.0), length_m=LENGTH_M, rollers=ROLLERS, winding=WINDING).series
