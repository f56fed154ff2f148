"""Deviations of strips along an invented roll, with the truth: steps at borders, a trend, a bow, runs and scatter.

Values are made directly, not by way of readings, so that thousands of rolls can be made for a count of errors.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry import SUPPOSED_SCATTER, DeviationSeries, PlacedDeviation, Record, StripScatter

__all__ = ["PlacedRecipe", "make_series", "true_value"]

_WEB_MM = 1380.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedRecipe:
    """A roll's strips in one measure of one record.

    ``steps`` are changes of level by the metre they happen at; ``trend_per_m`` counts from the head; ``across_slope``
    is the change from edge to edge and ``bow`` the middle against the edges. Strips lie at ``places`` (along m, across
    mm) and go through ``runs`` in turn.
    """

    places: Sequence[tuple[float, float]]
    runs: Sequence[str] = ("P-1", "P-2")
    level: float = 0.0
    steps: Mapping[float, float] = field(default_factory=dict)
    trend_per_m: float = 0.0
    across_slope: float = 0.0
    bow: float = 0.0
    own_sd: float = 0.015
    run_sd: float = 0.005
    scatter_sd: float = 0.0
    supposed: StripScatter = SUPPOSED_SCATTER["speed"]
    seed: int = 0


def true_value(recipe: PlacedRecipe, along_m: float, across_mm: float) -> float:
    """What the film truly is at a place.

    Example:
        >>> recipe = PlacedRecipe(places=((1.0, 690.0),), steps={5.0: 0.1}, bow=0.02)
        >>> true_value(recipe, 4.0, 690.0), round(true_value(recipe, 5.0, 690.0), 3)
        (0.02, 0.12)
    """
    across = 2.0 * across_mm / _WEB_MM - 1.0
    stepped = sum(size for at, size in recipe.steps.items() if along_m >= at)
    gradual = recipe.trend_per_m * along_m + recipe.across_slope * across / 2.0 + recipe.bow * (1.0 - across**2)
    return recipe.level + stepped + gradual


def make_series(recipe: PlacedRecipe) -> DeviationSeries:
    """Strips as they would be measured; the same recipe gives the same strips.

    Raises:
        ArgumentError: when there is no run or an sd is negative.

    Example:
        >>> series = make_series(PlacedRecipe(places=((1.0, 300.0), (9.0, 600.0)), level=0.1, own_sd=0.0, run_sd=0.0))
        >>> series.values.round(3).tolist()
        [0.1, 0.1]
    """
    if not recipe.runs or min(recipe.own_sd, recipe.run_sd, recipe.scatter_sd) < 0.0:
        raise ArgumentError(where="recipe", rule="has a run, and no sd below 0", mend="Name a run; give sds from 0 on.")
    noise = np.random.Generator(np.random.PCG64(recipe.seed))
    off = {run: recipe.run_sd * noise.standard_normal() for run in dict.fromkeys(recipe.runs)}
    points = []
    for number, (along_m, across_mm) in enumerate(recipe.places):
        run = recipe.runs[number % len(recipe.runs)]
        own, scatter = noise.standard_normal(2) * (recipe.own_sd, recipe.scatter_sd)
        points.append(
            PlacedDeviation(
                strip=f"S-{number + 1}",
                run=run,
                along_m=along_m,
                across_mm=across_mm,
                value=float(true_value(recipe, along_m, across_mm) + off[run] + own + scatter),
                standard_uncertainty=float(np.hypot(recipe.own_sd, recipe.run_sd)),
                degrees_of_freedom=50.0,
                shared_uncertainty=recipe.run_sd,
            )
        )
    return DeviationSeries(
        measure="speed", record=Record.GREEN, unit="log H", points=tuple(points), scatter=recipe.supposed
    )
