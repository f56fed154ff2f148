"""Straight models through placed deviations, with the scatter between strips estimated along.

Model: y = X·β + e, e normal with covariance V = M + τ²·I. M is what measurement does (own errors, and one error for
each process run); τ is the sd between strips. τ² maximises the restricted likelihood (REML; Patterson and Thompson
1971, from memory) times the likelihood of what was known of it beforehand, s₀ with ν₀ degrees of freedom:
−½·ν₀·(ln τ² + s₀²/τ²). Given τ, β is the generalised least squares estimate. A combination c·β is judged by Student's t
with Satterthwaite's degrees of freedom, 2·v²/Var(v) (1946, from memory), where v is its variance and Var(v) comes from
the information on τ² and the degrees of freedom of the strips' own uncertainties. With no measurement error and
nothing known beforehand this is ordinary least squares with its exact t tests.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sensitometry.model import Floats
from wideroll.sensitometry.placed import DeviationSeries, PlacedDeviation, measured_covariance

__all__ = ["PlacedFit", "Term", "can_fit", "fit_places", "term", "term_of"]

_RANK_TOLERANCE: Final = 1e-6
_LEAST_SHARE: Final = 1e-6
"""The sd between strips is looked for from this share of the data's spread upwards."""
_MOST_SHARE: Final = 1e2
_LEAST_SIZE: Final = 1e-12
"""Where all values are the same to the last digit."""
_SERIES_KEPT: Final = 4
"""Many models are fitted to one series in turn."""
_GRID: Final = 33
_ROUNDS: Final = 4
"""Grids, each between the neighbours of the last one's best, so that the least of several minima is found."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedFit:
    """Coefficients (p,) of a model, their covariance (p, p), and the sd between strips that goes with them."""

    coefficients: Floats
    covariance: Floats
    scatter_sd: float
    log_likelihood: float
    """Of the values at the coefficients, without constants."""
    weights: Floats
    """(p, n): each coefficient is these weights times the values."""
    scatter_variance: float
    """Variance of the estimated τ²."""
    own: Floats
    """(n, 2): each strip's own variance, and its degrees of freedom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """A combination of coefficients: its value, interval, and the probability of one as large when it is truly 0."""

    value: float
    low: float
    high: float
    standard_error: float
    degrees_of_freedom: float
    p_value: float


def can_fit(series: DeviationSeries, design: Floats) -> bool:
    """Whether strips of these places tell the columns of ``design`` (n, p) apart, and what judges their scatter."""
    n, p = design.shape
    scale = np.linalg.norm(design, axis=0)
    if n < p or bool(np.any(scale == 0.0)):
        return False
    spare = n - p + series.scatter.degrees_of_freedom
    return spare > 0 and bool(np.linalg.matrix_rank(design / scale, tol=_RANK_TOLERANCE) == p)


def fit_places(series: DeviationSeries, design: Floats) -> PlacedFit:
    """Fit the columns of ``design`` (n, p) to a series of n strips.

    Raises:
        ArgumentError: when the strips can't tell the columns apart, or leave nothing to judge their scatter by.

    Example:
        >>> from wideroll.sensitometry import PlacedDeviation, Record, StripScatter
        >>> at = {"run": "7", "across_mm": 0.0, "standard_uncertainty": 0.0}
        >>> points = [
        ...     PlacedDeviation(strip=str(n), along_m=float(n), value=v, **at) for n, v in enumerate((0.1, 0.2, 0.3))
        ... ]
        >>> unknown = StripScatter(sd=0.0, degrees_of_freedom=0.0)
        >>> series = DeviationSeries(
        ...     measure="speed", record=Record.RED, unit="log H", points=tuple(points), scatter=unknown
        ... )
        >>> fit = fit_places(series, np.ones((3, 1)))
        >>> round(float(fit.coefficients[0]), 6), round(fit.scatter_sd, 6)
        (0.2, 0.1)
    """
    if not can_fit(series, design):
        raise ArgumentError(
            where="design",
            rule="columns that the strips' places can tell apart, with strips to spare",
            value=f"{design.shape[1]} columns, {design.shape[0]} strips",
            mend="Measure strips at more places, or ask for fewer terms.",
        )
    measured, eigenvalues, axes = _turned(series.points)
    x, y = axes.T @ design, axes.T @ series.values
    variance = _scatter_variance(x, y, eigenvalues, series)
    inverse = 1.0 / (eigenvalues + variance)
    covariance = np.asarray(np.linalg.inv(x.T @ (inverse[:, np.newaxis] * x)), dtype=np.float64)
    turned = covariance @ (x.T * inverse)
    beta = turned @ y
    projector = np.diag(inverse) - (inverse[:, np.newaxis] * x) @ turned
    known = series.scatter.degrees_of_freedom
    information = 0.5 * float(np.sum(projector * projector)) + 0.5 * known / variance**2
    residual = y - x @ beta
    shared = np.array([point.shared_uncertainty for point in series.points])
    freedom = np.array([point.degrees_of_freedom for point in series.points])
    own = np.maximum(np.diag(measured) - shared**2, 0.0)
    return PlacedFit(
        coefficients=beta,
        covariance=covariance,
        scatter_sd=math.sqrt(variance),
        log_likelihood=-0.5 * float(np.sum(residual**2 * inverse) - np.sum(np.log(inverse))),
        weights=turned @ axes.T,
        scatter_variance=1.0 / information if information > 0.0 else math.inf,
        own=np.stack([own, freedom], axis=-1),
    )


@lru_cache(maxsize=_SERIES_KEPT)
def _turned(points: tuple[PlacedDeviation, ...]) -> tuple[Floats, Floats, Floats]:
    """Covariance of measurement, and the axes in which it is diagonal."""
    measured = measured_covariance(points)
    eigenvalues, axes = np.linalg.eigh(measured)
    return measured, np.maximum(eigenvalues, 0.0), axes


def term(fit: PlacedFit, combination: Floats, *, confidence: float = 0.95) -> Term:
    """A combination (p,) of the coefficients, with its interval and p-value.

    Example:
        >>> fit = PlacedFit(
        ...     coefficients=np.array([0.2]), covariance=np.array([[0.01]]), scatter_sd=0.1, log_likelihood=0.0,
        ...     weights=np.array([[1.0]]), scatter_variance=2e-4, own=np.array([[0.0, np.inf]]),
        ... )  # fmt: skip
        >>> found = term(fit, np.array([1.0]))
        >>> round(found.value, 3), round(found.degrees_of_freedom, 3), round(found.p_value, 3)
        (0.2, 1.0, 0.295)
    """
    value, variance = float(combination @ fit.coefficients), float(combination @ fit.covariance @ combination)
    weights = combination @ fit.weights
    own, freedom = fit.own.T
    doubt = float(weights @ weights) ** 2 * fit.scatter_variance + float(np.sum(2.0 * weights**4 * own**2 / freedom))
    degrees = max(2.0 * variance**2 / doubt, 1.0) if doubt > 0.0 else math.inf
    return term_of(value, variance, degrees, confidence)


def term_of(value: float, variance: float, degrees: float, confidence: float) -> Term:
    """A value of known variance and degrees of freedom, with its interval and p-value by Student's t."""
    error = math.sqrt(variance)
    half = error * _student(0.5 + confidence / 2.0, degrees)
    t = abs(value) / error if error > 0.0 else math.inf
    p_value = 2.0 * float(special.stdtr(degrees, -t) if math.isfinite(degrees) else special.ndtr(-t))
    return Term(
        value=value,
        low=value - half,
        high=value + half,
        standard_error=error,
        degrees_of_freedom=degrees,
        p_value=p_value,
    )


def _student(probability: float, degrees: float) -> float:
    return float(special.stdtrit(degrees, probability) if math.isfinite(degrees) else special.ndtri(probability))


def _scatter_variance(x: Floats, y: Floats, eigenvalues: Floats, series: DeviationSeries) -> float:
    """τ² of greatest restricted likelihood, what was known beforehand included; axes turned so that M is diagonal."""
    size = max(float(np.ptp(y)), series.scatter.sd, float(np.sqrt(eigenvalues[-1])), _LEAST_SIZE)
    middle, half = math.log(_LEAST_SHARE * _MOST_SHARE * size**2), math.log(_MOST_SHARE / _LEAST_SHARE)
    for _ in range(_ROUNDS):
        grid = middle + half * np.linspace(-1.0, 1.0, _GRID)
        costs = _costs(np.exp(grid), x, y, eigenvalues, series)
        best = int(np.argmin(costs))
        middle, half = float(grid[best]), 2.0 * half / (_GRID - 1)
    before, at, after = _costs(np.exp(middle + half * np.arange(-1.0, 2.0)), x, y, eigenvalues, series)
    bend = before - 2.0 * at + after
    if bend > 0.0:
        middle += 0.5 * half * float(np.clip((before - after) / bend, -1.0, 1.0))
    return math.exp(middle)


def _costs(variances: Floats, x: Floats, y: Floats, eigenvalues: Floats, series: DeviationSeries) -> Floats:
    """Minus twice the logarithm of the restricted likelihood (m,) at each of the variances (m,)."""
    inverse = 1.0 / (eigenvalues + variances[:, np.newaxis])
    normal = np.einsum("mn,np,nq->mpq", inverse, x, x)
    moment = np.einsum("mn,np,n->mp", inverse, x, y)
    beta = np.linalg.solve(normal, moment[..., np.newaxis])[..., 0]
    misfit = np.sum((y - beta @ x.T) ** 2 * inverse, axis=-1)
    known, supposed = series.scatter.degrees_of_freedom, series.scatter.sd
    before = known * (np.log(variances) + supposed**2 / variances)
    costs: Floats = misfit - np.sum(np.log(inverse), axis=-1) + np.linalg.slogdet(normal)[1] + before
    return costs
