"""The product's scale of grades, anchored in what its graded reference samples look like."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from wideroll.errors import ArgumentError
from wideroll.examination.grade_model import GradedSample, GradeFit, GradeScale, MarkShape, Viewing, Visibility
from wideroll.examination.model import Floats
from wideroll.examination.visibility import predict_visibility

__all__ = ["fit_grades", "grade_probabilities", "visibility_of"]

_USUAL_SCATTER: Final = 0.1
"""Of one judgement, in log10 of visibility (common practice: a grade is worth about two of these)."""
_LEAST: Final = 1e-12
_STEP: Final = 1e-4
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)


def visibility_of(
    density: float, density_uncertainty: float, *, width: tuple[float, float], shape: MarkShape, viewing: Viewing
) -> Visibility:
    """Predicted visibility of a measured mark, with the uncertainty of what was measured.

    A density below its own uncertainty is taken for as large as that: less can't be told from nothing.

    Args:
        density: visual density of the mark less its surround's.
        density_uncertainty: its standard uncertainty.
        width: in mm, and its standard uncertainty.
        shape: streak or spot.
        viewing: loupe and distance.

    Example:
        >>> one = visibility_of(0.1, 0.01, width=(1.0, 0.1), shape=MarkShape.SPOT, viewing=Viewing())
        >>> round(one.standard_uncertainty, 3)
        0.045
    """
    size = max(abs(density), density_uncertainty, _LEAST)
    signed = math.copysign(size, density)

    def log_at(density: float, width_mm: float) -> float:
        return math.log10(max(predict_visibility(density, width_mm, shape=shape, viewing=viewing), _LEAST))

    least = width[0] * 0.1
    by_density = density_uncertainty / size / math.log(10.0)
    by_width = (log_at(signed, width[0] + width[1]) - log_at(signed, max(width[0] - width[1], least))) / 2.0
    return Visibility(log10=log_at(signed, width[0]), standard_uncertainty=math.hypot(by_density, by_width))


def fit_grades(scale: GradeScale) -> GradeFit:
    """Fit the borders between grades to the reference samples: a logistic model of ordered grades.

    P(grade ≤ k) = 1⁄(1 + exp(−(border_k − log10 V)⁄scatter)), proportional odds [@mccullagh1980], by maximum
    likelihood. Samples that the scale orders without a single overlap would take the scatter to 0; so ln scatter has a
    normal prior around ln 0.1 with standard deviation 1. Intervals by the curvature at the maximum.

    Raises:
        ArgumentError: when worse grades aren't more visible: then the samples or their measurements are mixed up.

    Example:
        >>> rows = zip("112233", (0.01, 0.015, 0.03, 0.04, 0.08, 0.11), strict=True)
        >>> samples = tuple(GradedSample(grade=g, shape=MarkShape.STREAK, density=d, width_mm=1.0) for g, d in rows)
        >>> fit = fit_grades(GradeScale(grades=("1", "2", "3"), samples=samples, viewing=Viewing(magnification=3.0)))
        >>> (fit.borders[0] < fit.borders[1]).item()
        True
    """
    x = np.array([_log_visibility(sample, scale.viewing) for sample in scale.samples])
    y = np.array([scale.grades.index(sample.grade) for sample in scale.samples])
    start = _start(x, y, len(scale.grades))
    found = minimize(_minus_log_posterior, start, args=(x, y), method="BFGS")
    borders, log_scatter = _natural(found.x)
    theta = np.concatenate([borders, [log_scatter]])
    covariance = np.asarray(np.linalg.inv(_curvature(theta, x, y)), dtype=np.float64)
    return GradeFit(
        grades=scale.grades,
        borders=borders,
        scatter=math.exp(log_scatter),
        covariance=covariance,
        viewing=scale.viewing,
        samples=len(x),
    )


def grade_probabilities(fit: GradeFit, visibility: Visibility) -> Mapping[str, float]:
    """Probability of each grade for a mark: over judgements, the fit's uncertainty and the measurement's.

    Example:
        >>> fit = GradeFit(
        ...     grades=("1", "2"),
        ...     borders=np.zeros(1),
        ...     scatter=0.1,
        ...     covariance=np.eye(2) * 1e-6,
        ...     viewing=Viewing(),
        ...     samples=9,
        ... )
        >>> round(grade_probabilities(fit, Visibility(log10=0.0, standard_uncertainty=0.0))["1"], 3)
        0.5
    """
    # over ln scatter node by node, for it is known badly and enters as a divisor; over the rest at once
    spread = math.sqrt(float(fit.covariance[-1, -1]))
    scatter = fit.scatter * np.exp(spread * _NODES)
    below = [0.0]
    for number, border in enumerate(fit.borders.tolist()):
        along = float(fit.covariance[number, -1]) / spread
        variance = max(float(fit.covariance[number, number]) - along**2, 0.0) + visibility.standard_uncertainty**2
        mean = border + along * _NODES - visibility.log10
        eta = (mean[:, None] + math.sqrt(variance) * _NODES) / scatter[:, None]
        below.append(float(_WEIGHTS @ expit(eta) @ _WEIGHTS) / (2.0 * math.pi))
    below.append(1.0)
    shares = np.diff(np.maximum.accumulate(below))
    return dict(zip(fit.grades, (shares / shares.sum()).tolist(), strict=True))


def _log_visibility(sample: GradedSample, viewing: Viewing) -> float:
    own = Viewing(magnification=sample.magnification or viewing.magnification, distance_mm=viewing.distance_mm)
    found = predict_visibility(sample.density, sample.width_mm, shape=sample.shape, viewing=own)
    return math.log10(max(found, _LEAST))


def _start(x: Floats, y: Floats, grades: int) -> Floats:
    """Borders halfway between the grades' means, which a grade of few samples may put out of order by chance."""
    means = np.array([x[y == k].mean() for k in range(grades)])
    if not np.cov(x, y)[0, 1] > 0.0:
        raise ArgumentError(
            where="samples",
            rule="worse grades must be more visible",
            value=[round(float(mean), 2) for mean in means],
            mend="Check the samples' densities and widths, and that the scale runs from best to worst.",
        )
    ordered = np.maximum.accumulate(means)
    borders = (ordered[1:] + ordered[:-1]) / 2.0
    return np.concatenate([borders[:1], np.log(np.maximum(np.diff(borders), 1e-3)), [math.log(_USUAL_SCATTER)]])


def _natural(free: Floats) -> tuple[Floats, float]:
    """From the first border, the logarithms of the gaps and of the scatter."""
    gaps = np.exp(np.clip(free[1:-1], -20.0, 5.0))
    return np.cumsum(np.concatenate([free[:1], gaps])), float(np.clip(free[-1], -8.0, 3.0))


def _minus_log_posterior(free: Floats, x: Floats, y: Floats) -> float:
    borders, log_scatter = _natural(free)
    return _cost(np.concatenate([borders, [log_scatter]]), x, y)


def _cost(theta: Floats, x: Floats, y: Floats) -> float:
    edges = np.concatenate([[-np.inf], theta[:-1], [np.inf]])
    scatter = math.exp(theta[-1])
    share = expit((edges[y + 1] - x) / scatter) - expit((edges[y] - x) / scatter)
    prior = 0.5 * (theta[-1] - math.log(_USUAL_SCATTER)) ** 2
    return float(prior - np.log(np.maximum(share, 1e-300)).sum())


def _curvature(theta: Floats, x: Floats, y: Floats) -> Floats:
    """Second derivatives by central differences."""
    n = len(theta)
    steps = np.eye(n) * _STEP
    found = np.empty((n, n))
    for i in range(n):
        for j in range(n):
            corners = [
                a * b * _cost(theta + a * steps[i] + b * steps[j], x, y) for a in (1.0, -1.0) for b in (1.0, -1.0)
            ]
            found[i, j] = sum(corners) / (4.0 * _STEP**2)
    return found
