"""Logistic regression of hits among trials: plain or penalised, free or with one coefficient held."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.special import expit, xlog1py, xlogy

__all__ = ["LogisticFit", "Trials", "deviance", "is_separated", "maximise"]

_STEPS: Final = 100
_LONGEST_STEP: Final = 4.0
_CLOSE: Final = 1e-11
_NO_GAIN: Final = 1e-13
_RIDGE: Final = 1e-13
_SEPARATE: Final = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials:
    """Groups of alike trials: ``design`` (group, coefficient), ``number`` (group,) of them, ``hits`` (group,)."""

    design: NDArray[np.float64]
    number: NDArray[np.float64]
    hits: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LogisticFit:
    """Coefficients at which the likelihood is greatest, and the expected information (k, k) there."""

    coefficients: NDArray[np.float64]
    log_likelihood: float
    information: NDArray[np.float64]


def maximise(
    trials: Trials,
    *,
    penalised: bool = False,
    held: float | None = None,
    start: NDArray[np.float64] | None = None,
) -> LogisticFit:
    """Fit by Newton's steps, halved where they overshoot.

    Args:
        trials: Groups of trials.
        penalised: Add half the logarithm of the information's determinant to the log-likelihood [firth1993]: finite
            also where hits and misses are separated.
        held: Value at which the first coefficient stays, for a profile.
        start: Coefficients to begin at; 0 where None.

    Returns:
        Log-likelihood with the penalty if there is one, without binomial coefficients.
    """
    free = slice(0 if held is None else 1, None)
    at = np.zeros(trials.design.shape[1]) if start is None else start.astype(np.float64)
    if held is not None:
        at[0] = held
    best = _log_likelihood(at, trials, penalised=penalised)
    for _ in range(_STEPS):
        step = np.zeros_like(at)
        step[free] = _newton(at, trials, free, penalised=penalised)
        longest = float(np.abs(step).max(initial=0.0))
        step *= min(1.0, _LONGEST_STEP / longest) if longest > 0.0 else 0.0
        value = _log_likelihood(at + step, trials, penalised=penalised)
        while value < best - _CLOSE * (1.0 + abs(best)) and np.abs(step).max() > _CLOSE:
            step /= 2.0
            value = _log_likelihood(at + step, trials, penalised=penalised)
        at, gain, best = at + step, value - best, value
        # Plain Newton's steps square their error: once nothing is gained the last was exact. Penalised ones don't.
        settled = not penalised and gain <= _NO_GAIN * (1.0 + abs(best))
        if settled or longest < _CLOSE * (1.0 + float(np.abs(at).max())):
            break
    return LogisticFit(coefficients=at, log_likelihood=best, information=_information(at, trials))


def is_separated(trials: Trials) -> bool:
    """Whether some line (plane) has all hits on one side or on it and all misses on the other or on it.

    Then, and only then, the likelihood has no greatest value [albert1984]; decided by linear programming.
    """
    signed = np.concatenate([trials.design[trials.hits > 0], -trials.design[trials.hits < trials.number]])
    signed = signed / np.abs(signed).max(axis=0, initial=1e-300)
    bounds = [(-1.0, 1.0)] * signed.shape[1]
    found = linprog(-signed.sum(axis=0), A_ub=-signed, b_ub=np.zeros(len(signed)), bounds=bounds, method="highs")
    return bool(-found.fun > _SEPARATE)


def deviance(coefficients: NDArray[np.float64], trials: Trials) -> float:
    """Twice the log-likelihood that the fit loses against each group's own share of hits."""
    p = expit(trials.design @ coefficients)
    number, hits = trials.number, trials.hits
    misses, share = number - hits, hits / number
    best = xlogy(hits, share) + xlogy(misses, 1.0 - share)
    return max(0.0, float(2.0 * np.sum(best - xlogy(hits, p) - xlog1py(misses, -p))))


def _log_likelihood(at: NDArray[np.float64], trials: Trials, *, penalised: bool) -> float:
    logit = trials.design @ at
    value = float(trials.hits @ logit - trials.number @ np.logaddexp(0.0, logit))
    if penalised:
        sign, size = np.linalg.slogdet(_information(at, trials))
        value += 0.5 * float(size) if sign > 0 else -np.inf
    return value


def _information(at: NDArray[np.float64], trials: Trials) -> NDArray[np.float64]:
    p = expit(trials.design @ at)
    weight = trials.number * p * (1.0 - p)
    return np.asarray(trials.design.T @ (weight[:, None] * trials.design))


def _newton(at: NDArray[np.float64], trials: Trials, free: slice, *, penalised: bool) -> NDArray[np.float64]:
    p = expit(trials.design @ at)
    weight = trials.number * p * (1.0 - p)
    information = _information(at, trials)
    information += np.eye(len(at)) * _RIDGE * max(1e-300, float(np.trace(information)))
    residual = trials.hits - trials.number * p
    if penalised:
        leverage = np.einsum("ij,ji->i", trials.design, np.linalg.solve(information, trials.design.T)) * weight
        residual = residual + leverage * (0.5 - p)
    return np.asarray(np.linalg.solve(information[free, free], (trials.design.T @ residual)[free]))
