"""Where along the roll one step explains the strips best, wherever a border was noted.

A step is tried between each two neighbouring places. The least p-value times the number tried is the p-value of the
search (Bonferroni). How probable each place is, supposing one step, is its likelihood times the length of web between
the two strips, every metre being as likely beforehand.
"""

import math
from dataclasses import dataclass

import numpy as np

from wideroll.sensitometry.placed import DeviationSeries
from wideroll.sensitometry.placed_fit import PlacedFit, Term, can_fit, fit_places, term

__all__ = ["ChangePlace", "locate_change"]

_LEAST_PLACES = 4
"""With fewer, a step somewhere says no more than that strips differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePlace:
    """The best place of a single step along a series."""

    between_m: tuple[float, float]
    """The neighbouring strips with the least p-value of a step between them."""
    probable_m: tuple[float, float]
    """The stretch that holds the change with the probability asked for, if there is exactly one step."""
    step: Term
    step_beside_trend: Term | None
    tried: int
    p_value: float
    """Of the search, the number of places tried counted."""
    adjusted_p: float = 1.0
    """The same, the roll's other series counted too."""


def locate_change(series: DeviationSeries, *, confidence: float = 0.95) -> ChangePlace | None:
    """Search a series for the place of one step; None with fewer than four places along.

    Example:
        >>> from wideroll.sensitometry import PlacedDeviation, Record, StripScatter
        >>> at = {"run": "7", "across_mm": 0.0, "standard_uncertainty": 0.004}
        >>> points = [
        ...     PlacedDeviation(strip=f"S-{n}", along_m=100.0 * n, value=0.1 * (n > 3), **at) for n in range(1, 9)
        ... ]
        >>> series = DeviationSeries(
        ...     measure="speed",
        ...     record=Record.RED,
        ...     unit="log H",
        ...     points=tuple(points),
        ...     scatter=StripScatter(sd=0.01, degrees_of_freedom=4.0),
        ... )
        >>> locate_change(series).between_m
        (300.0, 400.0)
    """
    along = series.along_m
    places = np.unique(along)
    if len(places) < _LEAST_PLACES:
        return None
    found: list[tuple[Term, PlacedFit]] = []
    for first in places[:-1]:
        design = np.stack([np.ones(len(along)), along > first], axis=-1)
        if not can_fit(series, design):
            return None
        fit = fit_places(series, design)
        found.append((term(fit, np.array([0.0, 1.0]), confidence=confidence), fit))
    best = min(range(len(found)), key=lambda n: (found[n][0].p_value, -found[n][1].log_likelihood))
    after = (along > places[best]).astype(np.float64)
    sloped = np.stack([np.ones(len(along)), after, along - along.mean()], axis=-1)
    beside = None
    if can_fit(series, sloped):
        beside = term(fit_places(series, sloped), np.array([0.0, 1.0, 0.0]), confidence=confidence)
    held = _probable([fit.log_likelihood for _, fit in found], np.diff(places).tolist(), confidence)
    return ChangePlace(
        between_m=(float(places[best]), float(places[best + 1])),
        probable_m=(float(places[held[0]]), float(places[held[-1] + 1])),
        step=found[best][0],
        step_beside_trend=beside,
        tried=len(found),
        p_value=min(1.0, len(found) * found[best][0].p_value),
    )


def _probable(log_likelihood: list[float], lengths: list[float], confidence: float) -> list[int]:
    """Gaps between strips, the densest in probability first taken, that hold the change; in ascending order."""
    top = max(log_likelihood)
    dense = [math.exp(one - top) for one in log_likelihood]
    mass = [one * length for one, length in zip(dense, lengths, strict=True)]
    held: list[int] = []
    for gap in sorted(range(len(mass)), key=lambda n: -dense[n]):
        held.append(gap)
        if math.fsum(mass[n] for n in held) >= confidence * math.fsum(mass):
            break
    return sorted(held)
