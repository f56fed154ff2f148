"""The mean of a batch's strips, whose errors are partly each strip's own, partly its run's and partly the batch's."""

import math
from collections.abc import Sequence

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.placed import DeviationSeries
from wideroll.sensitometry.placed_fit import PlacedFit, Term, fit_places, term, term_of

__all__ = ["batch_mean"]


def batch_mean(series: DeviationSeries, batch_uncertainty: Sequence[float], *, confidence: float = 0.95) -> Term:
    """The mean over the strips of one batch, by generalised least squares, with the scatter between them estimated.

    Each strip's variance has a part of its own, one that it shares with the strips of its run, and one that all strips
    of the batch share. The first two, and the scatter, are weighed by ``fit_places``; what the batch shares is added
    afterwards, since no number of strips averages it out: u² = u_mean² + (Σ w·b)², w the strips' weights.

    Degrees of freedom are Welch and Satterthwaite's (GUM, JCGM 100:2008, G.4.1, from memory): those of the mean; a
    run's part has the fewest of its strips; the part of the batch is taken as known.

    Args:
        series: the strips of one batch, each with its uncertainty without the part that the batch shares.
        batch_uncertainty: that part of each strip (n,).
        confidence: of the interval.

    Raises:
        ArgumentError: when there is no strip, an uncertainty isn't a number, or the parts aren't one for each strip.

    Example:
        >>> from wideroll.sensitometry import SUPPOSED_SCATTER, PlacedDeviation, Record
        >>> points = tuple(
        ...     PlacedDeviation(strip=run, run=run, along_m=0.0, across_mm=0.0, value=0.02, standard_uncertainty=0.01)
        ...     for run in ("7", "8")
        ... )
        >>> scatter = SUPPOSED_SCATTER["speed"]
        >>> series = DeviationSeries(measure="speed", record=Record.RED, unit="log H", points=points, scatter=scatter)
        >>> [round(batch_mean(series, [b, b]).standard_error, 3) for b in (0.0, 0.02)]
        [0.01, 0.022]
    """
    if len(batch_uncertainty) != len(series.points):
        raise ArgumentError(
            where="batch_uncertainty",
            rule=f"one for each strip, {len(series.points)}",
            value=len(batch_uncertainty),
            mend="Give 0 where a strip shares nothing with its batch.",
        )
    fit = fit_places(series, np.ones((len(series.points), 1)))
    found = term(fit, np.ones(1), confidence=confidence)
    variance = found.standard_error**2
    batch = float(fit.weights[0] @ np.asarray(batch_uncertainty))
    doubt = variance**2 / found.degrees_of_freedom + _of_runs(series, fit)
    whole = variance + batch**2
    degrees = max(whole**2 / doubt, 1.0) if doubt > 0.0 else math.inf
    return term_of(found.value, whole, degrees, confidence)


def _of_runs(series: DeviationSeries, fit: PlacedFit) -> float:
    """Sum over runs of u⁴ ⁄ ν, u being what a run's shared error brings to the mean."""
    total = 0.0
    for run in dict.fromkeys(point.run for point in series.points):
        inside = [n for n, point in enumerate(series.points) if point.run == run]
        brought = math.fsum(fit.weights[0, n] * series.points[n].shared_uncertainty for n in inside)
        total += brought**4 / min(series.points[n].degrees_of_freedom for n in inside)
    return total
