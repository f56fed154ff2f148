"""From which size on an examiner sees marks: hit and miss, fitted as the scan's own detection is."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, logit, ndtri

from wideroll.errors import ArgumentError
from wideroll.scan.detection import FitMethod, Reach
from wideroll.scan.detection_logistic import LogisticFit, Trials, is_separated, maximise

__all__ = ["LEAST_EACH", "LEAST_MARKS", "SizeCurve", "SizeThreshold", "fit_sizes"]

LEAST_MARKS: Final = 60
"""Hits and misses that MIL-HDBK-1823A asks for (from memory)."""
LEAST_EACH: Final = 5
_SOUGHT: Final = 0.9
_CONFIDENCE: Final = 0.95
_RISES: Final = 0.05
_TWO: Final = 2
_SIZES: Final = "as many as ``seen``, finite and above 0"
_CLOSE: Final = 1e-8


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeThreshold:
    """A size, and where it lies among those that there were: nothing is extrapolated."""

    size_mm: float
    reach: Reach


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeCurve:
    """ln(p / (1 − p)) = b₀ + b₁ ln size, size in mm."""

    coefficients: tuple[float, float]
    method: FitMethod
    slope_p: float
    """Probability, if size made no difference, of as great a likelihood ratio (χ²)."""
    a50: SizeThreshold
    """Every other one is seen."""
    a90: SizeThreshold
    """Nine of ten are seen."""
    a90_95: SizeThreshold
    """Nine of ten, at 95 % confidence."""

    @property
    def rises(self) -> bool:
        """Whether larger marks are seen more often, at 5 %: else the sizes of the curve mean nothing."""
        return self.coefficients[1] > 0.0 and self.slope_p <= _RISES


def fit_sizes(sizes_mm: Sequence[float], seen: Sequence[bool]) -> SizeCurve:
    """Fit the probability that a mark is seen, logistic in the logarithm of its size.

    Maximum likelihood; where sizes seen and not seen are separated, Firth's penalised likelihood. a90/95 is the size at
    which the one-sided 95 % lower bound of the probability, by the likelihood ratio, reaches 0.9 (MIL-HDBK-1823A).

    Args:
        sizes_mm: (n,) of the marks, above 0.
        seen: (n,) whether each was seen.

    Raises:
        ArgumentError: when there are fewer than 60 marks, fewer than 5 seen or not seen, or one size only.

    Example:
        >>> sizes = [0.1 * n for n in range(1, 11) for _ in range(10)]
        >>> seen = [10 * (n % 10) < 100 * size - 5 for n, size in enumerate(sizes)]
        >>> curve = fit_sizes(sizes, seen)
        >>> round(curve.a50.size_mm, 2), f"{curve.a90.reach} {curve.a90.size_mm:.2f}", curve.rises
        (0.43, '> 1.00', True)
    """
    trials = _trials(sizes_mm, seen)
    penalised = is_separated(trials)
    fit = maximise(trials, penalised=penalised)
    level = Trials(design=trials.design[:, :1], number=trials.number, hits=trials.hits)
    gain = 2.0 * (maximise(trials).log_likelihood - maximise(level).log_likelihood)
    sizes = sorted(set(sizes_mm))
    first, slope = fit.coefficients.tolist()

    def above(probability: float) -> Callable[[float], float]:
        return lambda size_mm: first + slope * math.log(size_mm) - float(logit(probability))

    def surely(size_mm: float) -> float:
        return _root(trials, fit, size_mm, penalised=penalised) - float(ndtri(_CONFIDENCE))

    return SizeCurve(
        coefficients=(first, slope),
        method=FitMethod.FIRTH if penalised else FitMethod.LIKELIHOOD,
        slope_p=float(chdtrc(1, max(gain, 0.0))),
        a50=_crossing(above(0.5), sizes),
        a90=_crossing(above(_SOUGHT), sizes),
        a90_95=_crossing(surely, sizes),
    )


def _trials(sizes_mm: Sequence[float], seen: Sequence[bool]) -> Trials:
    """One group for each size."""
    sizes = np.asarray(sizes_mm, np.float64)
    hits = np.asarray(seen, np.bool_)
    if sizes.shape != hits.shape or not (np.isfinite(sizes) & (sizes > 0.0)).all():
        raise _refuse(_SIZES, len(sizes))
    fewest = min(int(hits.sum()), int((~hits).sum()))
    distinct, group = np.unique(sizes, return_inverse=True)
    if len(sizes) < LEAST_MARKS or fewest < LEAST_EACH or len(distinct) < _TWO:
        least = f"at least {LEAST_MARKS} marks of several sizes, {LEAST_EACH} of them seen and {LEAST_EACH} not"
        raise _refuse(least, f"{len(sizes)} marks, {int(hits.sum())} seen")
    return Trials(
        design=np.column_stack([np.ones(len(distinct)), np.log(distinct)]),
        number=np.bincount(group).astype(np.float64),
        hits=np.bincount(group, weights=hits.astype(np.float64)).astype(np.float64),
    )


def _root(trials: Trials, fit: LogisticFit, size_mm: float, *, penalised: bool) -> float:
    """√(2 × what the log-likelihood loses) when the probability at a size is held at 0.9; negative where it is less."""
    design = trials.design.copy()
    design[:, 1] -= math.log(size_mm)
    held = float(logit(_SOUGHT))
    there = Trials(design=design, number=trials.number, hits=trials.hits)
    start = np.array([0.0, fit.coefficients[1]])
    best = maximise(there, penalised=penalised, held=held, start=start)
    lead = float(fit.coefficients @ np.array([1.0, math.log(size_mm)])) - held
    return math.copysign(math.sqrt(max(0.0, 2.0 * (fit.log_likelihood - best.log_likelihood))), lead)


def _crossing(rises: Callable[[float], float], sizes: Sequence[float]) -> SizeThreshold:
    """From where on it is positive, at each size up to the greatest."""
    below = next((n for n in reversed(range(len(sizes))) if rises(sizes[n]) < 0.0), -1)
    if below == len(sizes) - 1:
        return SizeThreshold(size_mm=sizes[-1], reach=Reach.ABOVE)
    if below < 0:
        return SizeThreshold(size_mm=sizes[0], reach=Reach.AT_MOST)
    low, high = math.log(sizes[below]), math.log(sizes[below + 1])
    found = brentq(lambda x: rises(math.exp(x)), low, high, xtol=_CLOSE)
    return SizeThreshold(size_mm=math.exp(float(found)), reach=Reach.INSIDE)


def _refuse(rule: str, value: object) -> ArgumentError:
    return ArgumentError(where="sizes_mm", rule=rule, value=value, mend="Look at more sheets.")
