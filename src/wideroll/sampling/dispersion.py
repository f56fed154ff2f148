"""Whether marks fall independently of one another, and limits of a rate when they don't."""

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from wideroll.errors import ArgumentError
from wideroll.sampling.model import Dispersion, RateLimits
from wideroll.sampling.rates import check_confidence, rate_limits

__all__ = ["clustered_limits", "excess_of", "measure_dispersion"]

Floats = NDArray[np.float64]

_ENOUGH_EXPECTED: Final = 5.0
"""Marks expected on each sample from which on the chi-square distribution is near enough (common practice)."""
_DRAWS: Final = 9999
_LEAST_SAMPLES: Final = 2
_LOG_EXCESS: Final = (-7.0, 7.0)
"""Range of ln(variance over mean, less 1) that is searched."""
_GRID: Final = 57
_SURE: Final = 0.95


def measure_dispersion(counts: Sequence[int], areas_m2: Sequence[float], *, seed: int = 1) -> Dispersion:
    """Index of dispersion of counts on samples, and how likely chance alone gives one as high or as low.

    X² = Σ (kᵢ − λAᵢ)² / (λAᵢ) with λ = Σk / ΣA, and the index X² / (n − 1) (Fisher's index of dispersion; Cox and Lewis
    1966, from memory). Given their sum, independent marks share themselves out over the samples as a multinomial: where
    fewer than 5 are expected on some sample, the probabilities come from 9999 such draws with the seed, else from
    chi-square with n − 1 degrees of freedom.

    Args:
        counts: marks on each sample.
        areas_m2: of each sample.
        seed: of the draws.

    Raises:
        ArgumentError: when there are fewer than two samples, or a number is outside its range.

    Example:
        >>> apart = measure_dispersion([0, 1, 0, 0, 9, 0, 0, 2], [0.4] * 8)
        >>> round(apart.index, 2), apart.p_clustered < 0.001
        (6.48, True)
    """
    k, areas = _samples(counts, areas_m2)
    total, samples = int(k.sum()), len(k)
    if not total:
        return Dispersion(
            samples=samples,
            count=0,
            index=math.nan,
            chi_square=math.nan,
            p_clustered=math.nan,
            p_even=math.nan,
            method="no mark was found, so nothing can be said",
        )
    expected = total * areas / areas.sum()
    found = float(_chi_square(k, expected))
    if expected.min() >= _ENOUGH_EXPECTED:
        above, below = (float(f(samples - 1, found)) for f in (special.chdtrc, special.chdtr))
        method = f"chi-square with {samples - 1} degrees of freedom"
    else:
        rng = np.random.Generator(np.random.PCG64(seed))
        drawn = _chi_square(rng.multinomial(total, areas / areas.sum(), size=_DRAWS), expected)
        slack = 1e-9 * (1.0 + found)
        above = (1 + int((drawn >= found - slack).sum())) / (_DRAWS + 1)
        below = (1 + int((drawn <= found + slack).sum())) / (_DRAWS + 1)
        method = f"{_DRAWS} draws of the marks over the samples"
    return Dispersion(
        samples=samples,
        count=total,
        index=found / (samples - 1),
        chi_square=found,
        p_clustered=above,
        p_even=below,
        method=method,
    )


def clustered_limits(counts: Sequence[int], areas_m2: Sequence[float], confidence: float = 0.95) -> RateLimits:
    """Limits of the rate when marks may come in clusters: negative binomial, by its profile likelihood.

    Each count has the mean λAᵢ and the variance φλAᵢ with one φ above 1, as when clusters of small extent fall
    independently (shape λAᵢ/(φ − 1); from memory of Johnson, Kotz and Kemp 1992). The limits are where twice the log
    likelihood, best φ for each λ, lies t² below its maximum, t being Student's with n − 1 degrees of freedom: with few
    samples φ is hardly known, and the usual chi-square would claim too much. Never narrower than Garwood's limits of
    the sum, so marks that aren't clustered lose nothing but some width.

    Args:
        counts: marks on each sample.
        areas_m2: of each sample.
        confidence: two-sided.

    Raises:
        ArgumentError: when there are fewer than two samples, or a number is outside its range.

    Example:
        >>> even, heaped = clustered_limits([1, 2, 1, 2], [1.0] * 4), clustered_limits([0, 0, 6, 0], [1.0] * 4)
        >>> even.rate == heaped.rate, heaped.high > 2 * even.high
        (True, True)
    """
    k, areas = _samples(counts, areas_m2)
    check_confidence(confidence)
    total, area = int(k.sum()), float(areas.sum())
    plain = rate_limits(total, area, confidence)
    if not total:
        return plain
    drop = float(special.stdtrit(len(k) - 1, (1.0 + confidence) / 2.0)) ** 2 / 2.0
    rate = total / area
    best = optimize.minimize_scalar(
        lambda log_rate: -_profile(k, areas, math.exp(log_rate)),
        bounds=(math.log(rate) - 3.0, math.log(rate) + 3.0),
        method="bounded",
    )
    top, middle = -float(best.fun), float(best.x)

    def below(log_rate: float) -> float:
        return _profile(k, areas, math.exp(log_rate)) - top + drop

    low, high = (_crossing(below, middle, step) for step in (-0.5, 0.5))
    return RateLimits(
        count=total,
        extent=area,
        confidence=confidence,
        rate=rate,
        low=min(plain.low, low),
        high=max(plain.high, high),
    )


def excess_of(counts: NDArray[np.int64] | Floats, areas_m2: Floats) -> Floats:
    """Variance over mean (draws,) that limits should allow for, of counts (draws, samples) on samples of these areas.

    The index of dispersion φ where it is above 1 + √(2 ⁄ (n − 1)), a standard deviation more than chance gives, times
    (t ⁄ z)² of Student's t with n − 1 degrees of freedom at 95 %, because φ itself is hardly known from few samples;
    1 where it isn't, and where there is one sample.
    """
    samples = len(areas_m2)
    if samples < _LEAST_SAMPLES:
        return np.ones(len(counts))
    total = counts.sum(axis=1, keepdims=True)
    expected = np.maximum(total, 1) * areas_m2 / areas_m2.sum()
    index = _chi_square(np.asarray(counts, dtype=np.float64), expected) / (samples - 1)
    known = (float(special.stdtrit(samples - 1, _SURE)) / float(special.ndtri(_SURE))) ** 2
    heaped = (index > 1.0 + math.sqrt(2.0 / (samples - 1))) & (total[:, 0] > 0)
    return np.asarray(np.where(heaped, index * known, 1.0), dtype=np.float64)


def _samples(counts: Sequence[int], areas_m2: Sequence[float]) -> tuple[Floats, Floats]:
    k, areas = np.asarray(counts, dtype=np.float64), np.asarray(areas_m2, dtype=np.float64)
    if len(k) < _LEAST_SAMPLES or k.shape != areas.shape:
        raise ArgumentError(
            where="counts",
            rule="two or more samples, each with its area",
            value=f"{len(k)} counts and {len(areas)} areas",
            mend="A single sample says nothing about clusters.",
        )
    if k.min() < 0 or not (np.isfinite(areas).all() and areas.min() > 0.0):
        raise ArgumentError(
            where="areas_m2", rule="counts are 0 or more and areas above 0", value=None, mend="Correct them."
        )
    return k, areas


def _chi_square(k: NDArray[np.float64] | NDArray[np.int64], expected: Floats) -> Floats:
    return np.asarray(((k - expected) ** 2 / expected).sum(axis=-1), dtype=np.float64)


def _profile(k: Floats, areas: Floats, rate: float) -> float:
    """Greatest log likelihood over the excess of variance at one rate; that of Poisson is its border."""
    mean = rate * areas
    poisson = float((k * np.log(mean) - mean - special.gammaln(k + 1.0)).sum())
    grid = np.linspace(*_LOG_EXCESS, _GRID)
    values = _log_likelihood(k, mean, grid)
    at = int(values.argmax())
    near = grid[max(at - 1, 0)], grid[min(at + 1, _GRID - 1)]
    fine = _log_likelihood(k, mean, np.linspace(*near, _GRID))
    return max(poisson, float(fine.max()))


def _log_likelihood(k: Floats, mean: Floats, log_excess: Floats) -> Floats:
    """Of all counts, for each excess, (excesses,)."""
    excess = np.exp(log_excess)[:, None]
    shape = mean / excess
    terms = special.gammaln(k + shape) - special.gammaln(shape) - special.gammaln(k + 1.0)
    terms += k * np.log(excess / (1.0 + excess)) - shape * np.log1p(excess)
    return np.asarray(terms.sum(axis=1), dtype=np.float64)


def _crossing(below: Callable[[float], float], middle: float, step: float) -> float:
    far = middle + step
    while below(far) > 0.0:
        far += step
        if abs(far - middle) > 40.0:  # noqa: PLR2004  (e⁴⁰ times the rate is no limit)
            return 0.0 if step < 0.0 else math.inf
    return math.exp(float(optimize.brentq(below, far, middle, xtol=1e-8)))
