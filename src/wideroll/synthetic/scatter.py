"""Marks as a plant makes them: dirt anywhere, pinholes, and the prints of a roller.

All makers are repeatable: the same arguments give the same marks, in order along the web.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.roll import Extent, MarkKind
from wideroll.synthetic.planted import PlantedMark

__all__ = ["WoundParticle", "pinholes", "print_laps", "print_roller", "scatter_dirt"]

_DIRT_SIZE_MM: Final = 0.9
_DIRT_SPREAD: Final = 0.4
"""Median and spread (standard deviation of the natural logarithm) of the size: 95 % lie between 0.4 and 2 mm."""
_PINHOLE_SIZE_MM: Final = 0.5
_PINHOLE_SPREAD: Final = 0.25
_ELONGATION: Final = 0.15
_BRIGHT_SHARE: Final = 0.08
_FAINTEST: Final = 0.15
_STRONGEST_DARK: Final = 0.6
_STRONGEST_BRIGHT: Final = 0.45
_PRINT_LENGTH_MM: Final = 1.2
_PRINT_WIDTH_MM: Final = 0.9
_PRINT_CONTRAST: Final = -0.35
_PRINT_VARIES: Final = 0.1


def scatter_dirt(*, extent: Extent, per_m2: float, seed: int, cause: str = "dirt") -> tuple[PlantedMark, ...]:
    """Dirt at random places: a Poisson number, sizes of about 0.4 to 2 mm, most of it dark, a little bright.

    Args:
        extent: the rectangle it falls on.
        per_m2: expected number per m² of it.
        seed: another seed, other dirt.
        cause: kept with each mark.

    Raises:
        ArgumentError: when the rate isn't finite or is negative.

    Example:
        >>> sheet = Extent(along_from_m=5.0, along_to_m=6.0, across_from_mm=0.0, across_to_mm=1380.0)
        >>> dirt = scatter_dirt(extent=sheet, per_m2=4.0, seed=1)
        >>> len(dirt), all(5.0 <= mark.along_m < 6.0 for mark in dirt)
        (7, True)
    """
    random = np.random.Generator(np.random.PCG64(seed))
    places = _scatter(random, extent, per_m2)
    number = len(places)
    sizes = _sizes(random, number, _DIRT_SIZE_MM, _DIRT_SPREAD)
    bright = random.random(number) < _BRIGHT_SHARE
    strength = random.random(number)
    contrast = np.where(
        bright,
        _FAINTEST + strength * (_STRONGEST_BRIGHT - _FAINTEST),
        -_FAINTEST - strength * (_STRONGEST_DARK - _FAINTEST),
    )
    return _marks(places, sizes, contrast, MarkKind.SPOT, cause)


def pinholes(*, extent: Extent, per_m2: float, seed: int, cause: str = "pinhole") -> tuple[PlantedMark, ...]:
    """Small bright holes at random places, about 0.3 to 0.8 mm across.

    Raises:
        ArgumentError: when the rate isn't finite or is negative.

    Example:
        >>> sheet = Extent(along_from_m=0.0, along_to_m=1.0, across_from_mm=0.0, across_to_mm=1380.0)
        >>> all(hole.contrast > 0 for hole in pinholes(extent=sheet, per_m2=4.0, seed=1))
        True
    """
    random = np.random.Generator(np.random.PCG64(seed))
    places = _scatter(random, extent, per_m2)
    sizes = _sizes(random, len(places), _PINHOLE_SIZE_MM, _PINHOLE_SPREAD)
    contrast = random.uniform(2.0 * _FAINTEST, _STRONGEST_BRIGHT, len(places))
    return _marks(places, sizes, contrast, MarkKind.PINHOLE, cause)


def print_roller(
    *,
    diameter_mm: float,
    across_mm: float,
    length_m: float,
    slip: float = 0.0,
    print_probability: float = 1.0,
    jitter_mm: float = 0.0,
    seed: int,
    cause: str = "roller",
) -> tuple[PlantedMark, ...]:
    """Marks of one flaw on a roller, a turn apart: spacing = π × diameter × (1 + slip).

    The first turn starts anywhere. Jitter moves each print by itself and doesn't add up. All prints are dark and of
    much the same size; ``dataclasses.replace`` makes others of them.

    Args:
        diameter_mm: of the roller.
        across_mm: place of the flaw from the datum edge.
        length_m: of the web that passes; prints that would lie off it are left out.
        slip: share by which the web moves on more than the roller's surface.
        print_probability: chance that a turn prints at all.
        jitter_mm: standard deviation of a print's place, along and across alike.
        seed: another seed, another start, other prints.
        cause: kept with each mark, such as the roller's name.

    Raises:
        ArgumentError: naming the argument that can't be.

    Example:
        >>> prints = print_roller(diameter_mm=240.0, across_mm=413.0, length_m=3.0, seed=1)
        >>> [mark.turn for mark in prints]
        [0, 1, 2, 3]
        >>> round((prints[1].along_m - prints[0].along_m) * 1000.0, 3)
        753.982
    """
    _check_print(diameter_mm, length_m, slip, print_probability, jitter_mm)
    random = np.random.Generator(np.random.PCG64(seed))
    spacing_m = math.pi * diameter_mm * (1.0 + slip) / 1000.0
    turns = math.ceil(length_m / spacing_m)
    along = (random.random() + np.arange(turns)) * spacing_m + jitter_mm / 1000.0 * random.standard_normal(turns)
    across = across_mm + jitter_mm * random.standard_normal(turns)
    prints = random.random(turns) < print_probability
    varied = 1.0 + _PRINT_VARIES * random.uniform(-1.0, 1.0, (turns, 2))
    found = [
        PlantedMark(
            along_m=float(along[turn]),
            across_mm=float(across[turn]),
            length_mm=_PRINT_LENGTH_MM * float(varied[turn, 0]),
            width_mm=_PRINT_WIDTH_MM * float(varied[turn, 0]),
            contrast=_PRINT_CONTRAST * float(varied[turn, 1]),
            cause=cause,
            turn=turn,
        )
        for turn in np.flatnonzero(prints & (along >= 0.0) & (along < length_m)).tolist()
    ]
    return tuple(sorted(found, key=lambda mark: mark.along_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class WoundParticle:
    """A particle in a wound roll, by the place of the web it lies on and how that lap is wound."""

    along_m: float
    across_mm: float
    radius_mm: float
    """Of the lap it lies on."""
    thickness_mm: float
    """Of the web."""
    head_at_core: bool = True
    """Laps grow along the web; they shrink where the tail is at the core."""


def print_laps(
    particle: WoundParticle,
    *,
    laps: int,
    length_m: float,
    print_probability: float = 1.0,
    jitter_mm: float = 0.0,
    seed: int,
    cause: str = "lap print",
) -> tuple[PlantedMark, ...]:
    """Marks that a wound particle presses into neighbouring laps: n laps on, 2π r n ± π t n² further along.

    The laps lie evenly about the particle's own, one more after it where they are even in number. All prints are dark,
    the nearer to the particle the darker.

    Args:
        particle: where it lies.
        laps: how many it reaches, its own among them.
        length_m: of the web; prints that would lie off it are left out.
        print_probability: chance that a lap within reach prints at all.
        jitter_mm: standard deviation of a print's place, along and across alike.
        seed: another seed, other prints.
        cause: kept with each mark; its ``turn`` is the number of laps from the first within reach.

    Raises:
        ArgumentError: naming the argument that can't be.

    Example:
        >>> particle = WoundParticle(along_m=50.0, across_mm=413.0, radius_mm=150.0, thickness_mm=0.13)
        >>> places = [mark.along_m for mark in print_laps(particle, laps=5, length_m=100.0, seed=1)]
        >>> [round(1000.0 * (after - before), 2) for before, after in zip(places, places[1:])]
        [941.25, 942.07, 942.89, 943.7]
    """
    _check_laps(particle, laps)
    _check_print(2.0 * particle.radius_mm, length_m, 0.0, print_probability, jitter_mm)
    random = np.random.Generator(np.random.PCG64(seed))
    lap = np.arange(laps) - (laps - 1) // 2
    bend_m = math.pi * particle.thickness_mm / 1000.0 * (1.0 if particle.head_at_core else -1.0)
    along = particle.along_m + 2.0 * math.pi * particle.radius_mm / 1000.0 * lap + bend_m * lap**2
    along += jitter_mm / 1000.0 * random.standard_normal(laps)
    across = particle.across_mm + jitter_mm * random.standard_normal(laps)
    printed = random.random(laps) < print_probability
    fading = 1.0 - np.abs(lap) / (np.abs(lap).max() + 1.0)
    contrast = _PRINT_CONTRAST * fading * (1.0 + _PRINT_VARIES * random.uniform(-1.0, 1.0, laps))
    return tuple(
        PlantedMark(
            along_m=float(along[turn]),
            across_mm=float(across[turn]),
            length_mm=_PRINT_LENGTH_MM,
            width_mm=_PRINT_WIDTH_MM,
            contrast=float(contrast[turn]),
            cause=cause,
            turn=turn,
        )
        for turn in np.flatnonzero(printed & (along >= 0.0) & (along < length_m)).tolist()
    )


def _check_laps(particle: WoundParticle, laps: int) -> None:
    for where, value, holds, rule in (
        ("laps", laps, laps >= 1, "must be at least 1"),
        ("particle.thickness_mm", particle.thickness_mm, particle.thickness_mm > 0.0, "must be greater than 0"),
        (
            "particle.radius_mm",
            particle.radius_mm,
            particle.radius_mm > laps * particle.thickness_mm,
            "must be more than the laps are thick",
        ),
        ("particle.along_m", particle.along_m, particle.along_m >= 0.0, "must not be negative"),
        ("particle.across_mm", particle.across_mm, True, "must be a number"),
    ):
        if not (holds and math.isfinite(value)):
            raise ArgumentError(where=where, rule=f"{rule}, and finite", value=value, mend="Correct the argument.")


def _scatter(random: np.random.Generator, extent: Extent, per_m2: float) -> NDArray[np.float64]:
    """Places (along in m, across in mm), in order along."""
    if not (math.isfinite(per_m2) and per_m2 >= 0.0):
        raise ArgumentError(
            where="per_m2", rule="must be finite and not negative", value=per_m2, mend="Give a number per m²."
        )
    share = random.random((int(random.poisson(per_m2 * extent.area_m2)), 2))
    places = np.column_stack(
        [
            extent.along_from_m + share[:, 0] * extent.length_m,
            extent.across_from_mm + share[:, 1] * extent.width_mm,
        ]
    )
    return places[np.argsort(places[:, 0], kind="stable")]


def _sizes(random: np.random.Generator, number: int, median_mm: float, spread: float) -> NDArray[np.float64]:
    """Length and width in mm of each mark: its size, drawn out one way or the other."""
    size = median_mm * np.exp(spread * random.standard_normal(number))
    drawn = np.exp(_ELONGATION * random.standard_normal(number))
    return np.column_stack([size * drawn, size / drawn])


def _marks(
    places: NDArray[np.float64], sizes: NDArray[np.float64], contrast: NDArray[np.float64], kind: MarkKind, cause: str
) -> tuple[PlantedMark, ...]:
    return tuple(
        PlantedMark(
            along_m=along, across_mm=across, length_mm=length, width_mm=width, contrast=strength, kind=kind, cause=cause
        )
        for (along, across), (length, width), strength in zip(
            places.tolist(), sizes.tolist(), contrast.tolist(), strict=True
        )
    )


def _check_print(diameter_mm: float, length_m: float, slip: float, print_probability: float, jitter_mm: float) -> None:
    rules = (
        ("diameter_mm", diameter_mm, diameter_mm > 0.0, "must be greater than 0"),
        ("length_m", length_m, length_m >= 0.0, "must not be negative"),
        ("slip", slip, slip > -1.0, "must be greater than -1"),
        ("print_probability", print_probability, 0.0 <= print_probability <= 1.0, "must lie between 0 and 1"),
        ("jitter_mm", jitter_mm, jitter_mm >= 0.0, "must not be negative"),
    )
    for where, value, holds, rule in rules:
        if not (holds and math.isfinite(value)):
            raise ArgumentError(where=where, rule=f"{rule}, and finite", value=value, mend="Correct the argument.")
