"""How often a change along a roll is found where there is none, how often a step is, and whether intervals hold it.

Rolls are made directly as deviations of strips (wideroll.synthetic.placed_strips). The baseline is ordinary least
squares on the same strips, which knows nothing of runs, of each strip's own uncertainty or of what scatter to expect.
Seeds are fixed. Where the true scatter is drawn as the supposition says, tests and intervals must keep what they
promise; twice the supposed scatter is shown and only has a wide floor, since few strips can't see it.

python bench/sensitometry_changes.py [--quick] [--json FILE]
"""

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from wideroll.sensitometry import (
    SUPPOSED_SCATTER,
    Border,
    ChangeKind,
    DeviationSeries,
    Floats,
    Record,
    StripScatter,
    find_changes,
    fit_places,
    term,
)
from wideroll.synthetic.placed_strips import PlacedRecipe, make_series

Figure = dict[str, Any]

LENGTH_M, BORDER_M = 1200.0, 600.0
BORDER = Border(along_m=BORDER_M, before="E-1", after="E-2")
SUPPOSED = SUPPOSED_SCATTER["speed"]
UNKNOWN = StripScatter(sd=0.0, degrees_of_freedom=0.0)
LEVEL = 0.05
COVERAGE = (0.93, 0.97)
"""95 % ± 2 %."""


def main() -> int:
    """Print the figures; 1 when one is outside its limits."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer rolls")
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    quick = chosen.quick
    figures = [*steps(150 if quick else 2000), *whole_rolls(6 if quick else 200), *powers(5 if quick else 50)]
    for one in figures:
        limits = f"{one['floor']:g} to {one['ceiling']:g}" if "floor" in one else "shown"
        print(f"{one['figure']:92s} {one['value']:7.3f}  ({limits}; {one['baseline']})")
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=1), encoding="utf-8")
    return 0 if all(one["floor"] <= one["value"] <= one["ceiling"] for one in figures if "floor" in one) else 1


def steps(count: int) -> Iterator[Figure]:
    """Intervals of a step, of a step beside a trend and of a trend beside a step that hold it.

    Adding a step or a trend to all strips moves the estimate by just that, so what an interval misses is also what a
    test at 5 % finds where there is nothing.
    """
    for strips in (4, 8, 16):
        yield from _step_case(strips, "as supposed", count, SUPPOSED, drawn=True)
    yield from _step_case(8, "0", count, SUPPOSED, scatter_sd=0.0)
    yield from _step_case(8, "twice the supposed", count, SUPPOSED, scatter_sd=2.0 * SUPPOSED.sd)
    yield from _step_case(16, "0.02, nothing supposed", count, UNKNOWN, scatter_sd=0.02)


def _step_case(
    strips: int, name: str, count: int, supposed: StripScatter, *, scatter_sd: float = 0.0, drawn: bool = False
) -> Iterator[Figure]:
    held, plain, widths = np.zeros(3), 0, []
    for seed in range(count):
        rng = np.random.default_rng([strips, seed])
        sd = scatter_sd
        if drawn:
            freedom = supposed.degrees_of_freedom
            sd = supposed.sd * float(np.sqrt(freedom / rng.chisquare(freedom)))
        recipe = PlacedRecipe(places=_places(strips, rng), scatter_sd=sd, supposed=supposed, seed=seed)
        series = make_series(recipe)
        after = series.along_m >= BORDER_M
        sloped = np.stack([np.ones(strips), after, series.along_m / LENGTH_M], axis=-1)
        alone, beside = fit_places(series, sloped[:, :2]), fit_places(series, sloped)
        found = (term(alone, np.eye(2)[1]), *(term(beside, np.eye(3)[column]) for column in (1, 2)))
        held += [one.p_value > LEVEL for one in found]
        value, half = _ordinary(series.values, after)
        plain += abs(value) <= half
        widths.append((found[0].high - found[0].low) / (2.0 * half))
    limits: Figure = {}
    if drawn or supposed is UNKNOWN:
        # a short run is allowed three standard errors of its count more
        more = 3.0 * float(np.sqrt(0.05 * 0.95 / count)) if count < 1000 else 0.0
        limits = {"floor": COVERAGE[0] - more, "ceiling": min(COVERAGE[1] + more, 1.0)}
    elif scatter_sd == 0.0:
        limits = {"floor": COVERAGE[0], "ceiling": 1.0}
    for what, value in zip(("a step", "a step beside a trend", "a trend beside a step"), held / count, strict=True):
        base = f"ordinary least squares, a step: {plain / count:.3f}"
        yield {
            "figure": f"95 % intervals of {what} that hold it, {strips} strips, scatter {name}",
            "value": float(value),
            "baseline": base,
            **limits,
        }
    base = "ordinary least squares"
    yield {
        "figure": f"width of a step's interval, {strips} strips, scatter {name}",
        "value": float(np.median(widths)),
        "baseline": base,
    }


def _ordinary(values: Floats, after: NDArray[np.bool_]) -> tuple[float, float]:
    """A step and half its 95 % interval by ordinary least squares."""
    parts = values[after], values[~after]
    freedom = len(values) - 2
    variance = sum(float(np.sum((part - part.mean()) ** 2)) for part in parts) / freedom
    error = np.sqrt(variance * (1.0 / len(parts[0]) + 1.0 / len(parts[1])))
    return float(parts[0].mean() - parts[1].mean()), float(error * special.stdtrit(freedom, 0.975))


def whole_rolls(count: int) -> Iterator[Figure]:
    """Rolls without any change in which any of all tests shows one: nine series, two borders, along and across."""
    any_change = any_place = 0
    borders = (BORDER, Border(along_m=900.0, before="E-2", after="E-3"))
    for seed in range(count):
        rng = np.random.default_rng(seed)
        found = find_changes(_roll(seed, rng, 9), borders)
        any_change += any(one.found for changes in found for one in changes.drifts) or any(
            change.kind is not ChangeKind.NONE for changes in found for change in changes.borders
        )
        any_place += any(changes.place is not None and changes.place.adjusted_p <= LEVEL for changes in found)
    # above 5 % by no more than three standard errors of the count
    ceiling = LEVEL + 3.0 * float(np.sqrt(LEVEL * (1.0 - LEVEL) / count))
    limits: Figure = {"floor": 0.0, "ceiling": ceiling, "baseline": "promised: at most 0.05"}
    yield {"figure": "rolls of 9 series with any false change, 9 strips", "value": any_change / count, **limits}
    yield {"figure": "rolls with a false change of unknown place", "value": any_place / count, **limits}


def powers(count: int) -> Iterator[Figure]:
    """How often a step is found in a roll of nine series, and is told from a trend; of nine, one series has it."""
    for strips in (4, 8, 16) if count >= 50 else (16,):
        for size in (0.03, 0.06, 0.10):
            seen = told = wrong = 0
            for seed in range(count):
                rng = np.random.default_rng([strips, seed])
                series = _roll(seed, rng, strips, steps={BORDER_M: size})
                change = find_changes(series, (BORDER,))[0].borders[0]
                seen += change.kind is not ChangeKind.NONE
                told += change.kind is ChangeKind.STEP
                wrong += change.kind is ChangeKind.TREND
            base = f"told from a trend {told / count:.2f}, taken for one {wrong / count:.2f}"
            limits: Figure = {"floor": 0.85, "ceiling": 1.0} if strips == 16 and size == 0.10 else {}
            name = f"a step of {size:.2f} log H found, {strips} strips"
            yield {"figure": name, "value": seen / count, "baseline": base, **limits}


def _roll(seed: int, rng: np.random.Generator, strips: int, **changed: Any) -> list[DeviationSeries]:
    places = _places(strips, rng)
    recipes = [PlacedRecipe(places=places, scatter_sd=SUPPOSED.sd, seed=9 * seed + n) for n in range(9)]
    made = [make_series(replace(recipe, **(changed if n == 0 else {}))) for n, recipe in enumerate(recipes)]
    return [replace(one, record=list(Record)[n % 3]) for n, one in enumerate(made)]


def _places(strips: int, rng: np.random.Generator) -> tuple[tuple[float, float], ...]:
    along = (np.arange(strips) + rng.uniform(0.2, 0.8, strips)) * LENGTH_M / strips
    return tuple((float(s), float(x)) for s, x in zip(along, rng.uniform(60.0, 1320.0, strips), strict=True))


if __name__ == "__main__":
    sys.exit(main())
