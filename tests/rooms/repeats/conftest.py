"""Rolls with known truth for the repeats room."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from wideroll.repeats import Roller

type_of_marks = tuple[NDArray[np.float64], NDArray[np.float64]]


@pytest.fixture
def rollers() -> tuple[Roller, ...]:
    """A table with doubles, halves and thirds of one another, and two within 2 %."""
    diameters = (80.0, 120.0, 160.0, 200.0, 204.0, 240.0, 300.0, 400.0)
    return tuple(Roller(name=f"T{d:g}", diameter_mm=d, tolerance_mm=0.0015 * d) for d in diameters)


@pytest.fixture
def prints() -> Callable[..., type_of_marks]:
    """Marks of a roller with a nick: jitter 3 mm, each turn's spacing wandering by a part in a thousand."""

    def make(seed: int, spacing_m: float, chance: float, length_m: float, across_mm: float = 300.0) -> type_of_marks:
        rng = np.random.default_rng(seed)
        turns = int(1.05 * length_m / spacing_m) + 2
        steps = spacing_m * (1.0 + 0.001 * rng.standard_normal(turns))
        places = rng.uniform(0.0, spacing_m) + np.cumsum(steps) - steps[0]
        places = places[rng.random(turns) < chance]
        places += 0.003 * rng.standard_normal(places.size)
        places = places[(places >= 0.0) & (places <= length_m)]
        return places, across_mm + 0.5 * rng.standard_normal(places.size)

    return make


@pytest.fixture
def dirt() -> Callable[..., type_of_marks]:
    """Marks scattered at random over a band of the web."""

    def make(seed: int, count: int, length_m: float, band_mm: tuple[float, float] = (250.0, 350.0)) -> type_of_marks:
        rng = np.random.default_rng(seed)
        return rng.uniform(0.0, length_m, count), rng.uniform(*band_mm, count)

    return make


@pytest.fixture
def together() -> Callable[..., type_of_marks]:
    """Marks of several makers as one, in the order given."""

    def join(*makers: Sequence[NDArray[np.float64]]) -> type_of_marks:
        along, across = zip(*makers, strict=True)
        return np.concatenate(along), np.concatenate(across)

    return join
