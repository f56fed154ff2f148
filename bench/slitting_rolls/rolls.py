"""Invented wide rolls as a coating machine makes them: what to avoid, what to downgrade, and the marks that count.

A roll is 1.38 m by 1,500 to 3,000 m. Streaks start or stop part-way, where a nick came or was wiped off; dirty
stretches take the whole web; patches lie anywhere; an edge is bad for a while; a splice crosses the web. On one roll in
four a roller prints its fault on the web at every turn, on one in four a streak slants, as a bubble drifts along the
coating lip, and half of all rolls have a streak where other rolls have it, too. Small marks are allowed, so many to a
finished roll, and come scattered and in heaps. All numbers change from roll to roll.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from wideroll.roll import Extent
from wideroll.slitting import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CutRules,
    FinishedLength,
    SlitWidth,
    Spliced,
)

__all__ = ["PRODUCTS", "WIDTH_MM", "Product", "WideRoll", "wide_roll", "wide_rolls"]

WIDTH_MM = 1380.0
Rng = np.random.Generator


@dataclass(frozen=True, slots=True, kw_only=True)
class WideRoll:
    """A wound roll with what release says of it."""

    whole: Extent
    avoid: tuple[Avoid, ...]
    counts: tuple[CountLimit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """What a roll is cut into."""

    name: str
    widths: tuple[SlitWidth, ...]
    rules: CutRules


_RULES = CutRules(trim_between_mm=0.5, least_strip_mm=2.0, setup_minutes=20.0, stop_minutes=4.0, value_per_minute=1.5)


def _lengths(per_m: float, *lengths_m: float) -> ByLength:
    """Longer rolls are worth a little more a metre, second quality 40 %."""
    values = [length * per_m * (1.0 + 0.02 * number) for number, length in enumerate(sorted(lengths_m))]
    pairs = zip(sorted(lengths_m), values, strict=True)
    return ByLength(
        lengths=tuple(FinishedLength(length_m=length, value=v, second_value=0.4 * v) for length, v in pairs)
    )


def _spliced(length_m: float, per_m: float) -> Spliced:
    return Spliced(length_m=length_m, value=length_m * per_m, most_splices=2, least_between_m=15.0, loss_per_splice=3.0)


def _product(name: str, rules: CutRules, *finishes: ByMetre | ByLength | Spliced) -> Product:
    """Film of 35, 16 and 61.5 mm, sold in these ways."""
    sizes = (("35 mm", 34.975, 0.025), ("16 mm", 15.95, 0.025), ("61.5 mm", 61.5, 0.1))
    widths = tuple(
        SlitWidth(name=size, width_mm=width_mm, tolerance_mm=tolerance_mm, finish=finish)
        for (size, width_mm, tolerance_mm), finish in zip(sizes, finishes, strict=True)
    )
    return Product(name=name, widths=widths, rules=rules)


PRODUCTS: tuple[Product, Product, Product] = (
    _product(
        "by the metre",
        _RULES,
        ByMetre(value_per_m=1.0, second_per_m=0.4),
        ByMetre(value_per_m=0.42),
        ByMetre(value_per_m=1.9, second_per_m=0.7),
    ),
    _product(
        "by length",
        replace(_RULES, most_run_m=1300.0),
        _lengths(1.0, 61.0, 122.0, 305.0),
        _lengths(0.42, 30.5, 61.0, 122.0),
        _lengths(1.85, 30.5, 76.0),
    ),
    _product("spliced", _RULES, _spliced(305.0, 1.0), _spliced(122.0, 0.42), _spliced(76.0, 1.9)),
)
"""One product for each way of selling film: bulk, finished lengths, spliced rolls."""


def _extent(along: tuple[float, float], across: tuple[float, float], length_m: float) -> Extent:
    """A rectangle, kept on the web."""
    start, low = min(max(along[0], 0.0), length_m), min(max(across[0], 0.0), WIDTH_MM)
    return Extent(
        along_from_m=start,
        along_to_m=min(max(along[1], start), length_m),
        across_from_mm=low,
        across_to_mm=min(max(across[1], low), WIDTH_MM),
    )


def _streaks(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """Faint ones are downgraded; one in three is there from the head or to the tail."""
    for _ in range(rng.poisson(3.0)):
        start, reach = rng.uniform(0.0, length_m), rng.lognormal(np.log(0.2 * length_m), 0.8)
        if rng.random() < 1.0 / 3.0:
            start, reach = (0.0, start) if rng.random() < 0.5 else (start, length_m)
        low = rng.uniform(0.0, WIDTH_MM)
        extent = _extent((start, start + reach), (low, low + rng.uniform(2.0, 10.0)), length_m)
        yield Avoid(extent=extent, reason="streak", downgrade=bool(rng.random() < 0.35))


_LASTING_MM = (212.0, 618.0, 1127.0)
"""Where a nick on the coating lip leaves a streak on one roll after the other."""


def _lasting(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """A streak at a place where other rolls have one, give or take a millimetre, from the head or up to the tail."""
    if rng.random() < 0.5:
        low, start = rng.choice(_LASTING_MM) + rng.normal(0.0, 0.5), rng.uniform(0.0, length_m)
        along = (0.0, start) if rng.random() < 0.5 else (start, length_m)
        extent = _extent(along, (low, low + rng.uniform(2.0, 5.0)), length_m)
        yield Avoid(extent=extent, reason="lasting streak", downgrade=bool(rng.random() < 0.2))


def _slanting(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """A streak that drifts across, as steps of boxes no wider than what lies in each."""
    if rng.random() < 0.25:
        start, reach, low = rng.uniform(0.0, length_m), rng.uniform(50.0, 400.0), rng.uniform(60.0, WIDTH_MM - 60.0)
        places = start + np.linspace(0.0, reach, 9)
        drift = low + np.linspace(0.0, rng.uniform(-40.0, 40.0), 9)
        for step in range(8):
            ends = sorted(drift[step : step + 2].tolist())
            extent = _extent((places[step], places[step + 1]), (ends[0] - 2.0, ends[1] + 2.0), length_m)
            yield Avoid(extent=extent, reason="slanting streak")


def _turns(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """A mark that a roller of 80 to 300 mm prints for a while at each turn, with a guard distance of 2 cm."""
    if rng.random() < 0.25:
        pitch_m, start = np.pi * rng.uniform(0.08, 0.3), rng.uniform(0.0, length_m)
        low, size = rng.uniform(10.0, WIDTH_MM - 10.0), rng.uniform(2.0, 8.0)
        for turn in range(int(rng.uniform(20.0, 200.0))):
            place = start + turn * pitch_m
            extent = _extent((place - 0.02, place + 0.02), (low, low + size), length_m)
            yield Avoid(extent=extent, reason="roller mark")


def _stretches(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """Dirty stretches of the whole web, and at most one splice with its guard distance."""
    for _ in range(rng.poisson(1.5)):
        start = rng.uniform(0.0, length_m)
        extent = _extent((start, start + rng.lognormal(np.log(8.0), 0.8)), (0.0, WIDTH_MM), length_m)
        yield Avoid(extent=extent, reason="dirt")
    if rng.random() < 0.4:
        place = rng.uniform(0.0, length_m)
        yield Avoid(extent=_extent((place - 1.0, place + 1.0), (0.0, WIDTH_MM), length_m), reason="splice")


def _patches(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """Heaps of spots, and mottled parts that are only downgraded."""
    for _ in range(rng.poisson(6.0)):
        start, low = rng.uniform(0.0, length_m), rng.uniform(0.0, WIDTH_MM)
        extent = _extent((start, start + rng.uniform(0.3, 6.0)), (low, low + rng.uniform(5.0, 90.0)), length_m)
        yield Avoid(extent=extent, reason="spots")
    for _ in range(rng.poisson(0.7)):
        start, low = rng.uniform(0.0, length_m), rng.uniform(0.0, WIDTH_MM)
        extent = _extent((start, start + rng.uniform(20.0, 150.0)), (low, low + rng.uniform(80.0, 400.0)), length_m)
        yield Avoid(extent=extent, reason="mottle", downgrade=True)


def _edges(rng: Rng, length_m: float) -> Iterator[Avoid]:
    """An edge that is bad for a while, deeper than the trim."""
    for low_edge in (True, False):
        for _ in range(rng.poisson(0.5)):
            start, deep = rng.uniform(0.0, length_m), rng.uniform(9.0, 35.0)
            across = (0.0, deep) if low_edge else (WIDTH_MM - deep, WIDTH_MM)
            extent = _extent((start, start + rng.uniform(20.0, 500.0)), across, length_m)
            yield Avoid(extent=extent, reason="edge fault")


def _marks(rng: Rng, length_m: float, mean: float) -> tuple[Extent, ...]:
    """Scattered marks, and half as many again in heaps of a metre by a few centimetres."""
    scattered = rng.uniform((0.0, 0.0), (length_m, WIDTH_MM), (int(rng.poisson(mean)), 2))
    heaps = rng.uniform((0.0, 0.0), (length_m, WIDTH_MM), (int(rng.poisson(mean / 16.0)), 2))
    heaped = np.repeat(heaps, 8, axis=0)
    heaped = heaped + rng.normal(0.0, 1.0, heaped.shape) * (0.5, 15.0)
    sizes = rng.uniform(0.2, 1.5, len(scattered) + len(heaped))
    places = np.concatenate([scattered, heaped])
    return tuple(
        _extent((along, along + size / 1000.0), (across, across + size), length_m)
        for (along, across), size in zip(places.tolist(), sizes.tolist(), strict=True)
        if 0.0 <= along < length_m - 0.01 and 0.0 <= across < WIDTH_MM - 2.0
    )


def wide_roll(rng: Rng, *, length_m: float | None = None, marks: float = 600.0) -> WideRoll:
    """One roll; without a length one from 1,500 to 3,000 m is drawn. ``marks`` is about how many small ones scatter."""
    if length_m is None:
        length_m = float(np.round(rng.uniform(1500.0, 3000.0), 1))
    kinds = (_streaks, _stretches, _patches, _edges, _lasting, _slanting, _turns)
    found = [one for kind in kinds for one in kind(rng, length_m) if one.extent.area_m2 > 0.0]
    limits = (("small spots", 6, 1.0), ("larger spots", 1, 0.15))
    return WideRoll(
        whole=Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=WIDTH_MM),
        avoid=tuple(found),
        counts=tuple(
            CountLimit(name=name, most=most, marks=_marks(rng, length_m, share * marks)) for name, most, share in limits
        ),
    )


def wide_rolls(count: int, *, seed: int = 7) -> Iterator[tuple[WideRoll, Product]]:
    """So many rolls, each to be cut as the next of the three products; the same for the same seed."""
    rng = np.random.Generator(np.random.PCG64(seed))
    for number in range(count):
        yield wide_roll(rng), PRODUCTS[number % len(PRODUCTS)]
