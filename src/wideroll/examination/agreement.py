"""Whether examiners judge alike, beyond what chance would give."""

import math
from collections.abc import Sequence
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from wideroll.errors import ArgumentError
from wideroll.examination.model import Agreement, Floats

__all__ = ["Weights", "cohen_kappa", "fleiss_kappa"]

Weights: TypeAlias = Literal["none", "linear", "quadratic"]

_POWER: Final = {"linear": 1.0, "quadratic": 2.0}
_TWO: Final = 2
_TABLE: Final = "must be (things, answers) and not negative"
_LEAST: Final = "at least two things must have been judged twice or more"
_ANSWERS: Final = "more than one answer must have been given"


def cohen_kappa(table: Sequence[Sequence[int]], confidence: float = 0.95, *, weights: Weights = "none") -> Agreement:
    """Cohen's kappa of two examiners who judged the same things.

    κ = (p_o − p_e)/(1 − p_e), where p_o and p_e are the shares on which they agree, observed and by chance, each cell
    weighted by w = 1 − (|i − j|/(k − 1))ᵖ: p = 1 for linear weights, 2 for quadratic, and w = 1 for like answers only
    without weights (Cohen 1960, 1968). Large-sample standard error of Fleiss, Cohen and Everitt (1969, *Psychological
    Bulletin* 72:323–327; formula from memory, checked against published output). Where all answers are alike it is 0
    and says nothing.

    Args:
        table: (k, k) counts; row is the first examiner's answer, column the second's. With weights the answers stand
            in the order of their scale.
        confidence: of the interval, between 0 and 1.
        weights: how far answers that differ by some steps of the scale still agree.

    Raises:
        ArgumentError: when the table isn't square, has a negative count, holds nothing, or everything lies in one
            grade, where agreement beyond chance has no meaning.

    Example:
        >>> grades = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
        >>> round(cohen_kappa(grades).kappa, 4), round(cohen_kappa(grades, weights="linear").kappa, 4)
        (0.4842, 0.4701)
    """
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != _TWO or counts.shape[0] != counts.shape[1] or counts.min(initial=0) < 0 or counts.sum() == 0:
        raise ArgumentError(
            where="table",
            rule="must be square, not negative and not empty",
            value=counts.tolist(),
            mend="Count how often each pair of grades was given.",
        )
    _check_confidence(confidence)
    share = counts / counts.sum()
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    if float(rows @ columns) >= 1.0:
        raise ArgumentError(
            where="table",
            rule="more than one grade must have been given",
            value=counts.tolist(),
            mend="Add sheets of other grades.",
        )
    weight = _weights(len(counts), weights)
    agreed, chance = float(np.sum(weight * share)), float(rows @ weight @ columns)
    kappa = (agreed - chance) / (1.0 - chance)
    mean = (weight @ columns)[:, None] + (rows @ weight)[None, :]
    spread = float(np.sum(share * (weight - mean * (1.0 - kappa)) ** 2)) - (kappa - chance * (1.0 - kappa)) ** 2
    error = math.sqrt(max(spread, 0.0) / counts.sum()) / (1.0 - chance)
    half = float(ndtri(0.5 + confidence / 2.0)) * error
    return _agreement(int(counts.sum()), kappa, error, half, confidence)


def fleiss_kappa(counts: ArrayLike, confidence: float = 0.95) -> Agreement:
    """Fleiss' kappa of several examiners who judged the same things, not all of them every thing.

    κ = (P − P_e)/(1 − P_e); P is the mean, over the things judged twice or more, of the share of pairs of answers that
    are alike, P_e = Σ πⱼ², πⱼ the mean over all things of the share of answer j (Fleiss 1971; with unequal numbers of
    answers as Gwet 2014, from memory). Standard error by leaving out each thing in turn (jackknife, Efron 1982), with
    Student's t of one degree of freedom fewer than things.

    Args:
        counts: (things, answers): how often each answer was given to each thing.
        confidence: of the interval, between 0 and 1.

    Raises:
        ArgumentError: when it isn't such a table, fewer than two things were judged twice, or all answers are one.

    Example:
        >>> found = fleiss_kappa([[3, 0], [0, 3], [2, 1], [0, 2]])
        >>> found.judged, round(found.kappa, 3), round(found.low, 2)
        (4, 0.657, -0.64)
    """
    table = np.asarray(counts, dtype=np.float64)
    if table.ndim != _TWO or not table.size or table.min() < 0 or not np.isfinite(table).all():
        raise _refuse_counts(_TABLE, table)
    _check_confidence(confidence)
    table = table[table.sum(axis=1) > 0]
    judged = int((table.sum(axis=1) >= _TWO).sum())
    if judged < _TWO:
        raise _refuse_counts(_LEAST, table)
    if (table.sum(axis=0) > 0).sum() < _TWO:
        raise _refuse_counts(_ANSWERS, table)
    kappa = _fleiss(table)
    left = np.array([_fleiss(np.delete(table, n, axis=0)) for n in range(len(table))])
    left = np.where(np.isfinite(left), left, kappa)
    things = len(left)
    error = math.sqrt((things - 1) / things * float(np.sum((left - left.mean()) ** 2)))
    half = float(stdtrit(things - 1, 0.5 + confidence / 2.0)) * error
    return _agreement(judged, kappa, error, half, confidence)


def _fleiss(table: Floats) -> float:
    """Kappa of a table without empty rows; NaN where it has no meaning."""
    answers = table.sum(axis=1)
    share = (table / answers[:, None]).mean(axis=0)
    chance = float(share @ share)
    more = answers >= _TWO
    if not more.any() or chance >= 1.0:
        return math.nan
    alike = (np.sum(table[more] ** 2, axis=1) - answers[more]) / (answers[more] * (answers[more] - 1.0))
    return (float(alike.mean()) - chance) / (1.0 - chance)


def _weights(size: int, weights: Weights) -> Floats:
    if weights == "none":
        return np.eye(size)
    steps = np.abs(np.arange(size)[:, None] - np.arange(size)[None, :])
    weight: Floats = 1.0 - (steps / (size - 1)) ** _POWER[weights]
    return weight


def _agreement(judged: int, kappa: float, error: float, half: float, confidence: float) -> Agreement:
    return Agreement(
        judged=judged,
        kappa=kappa,
        standard_error=error,
        low=max(kappa - half, -1.0),
        high=min(kappa + half, 1.0),
        confidence=confidence,
    )


def _check_confidence(confidence: float) -> None:
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="must lie between 0 and 1", value=confidence, mend="Give for example 0.95."
        )


def _refuse_counts(rule: str, table: Floats) -> ArgumentError:
    return ArgumentError(
        where="counts",
        rule=rule,
        value=f"{table.shape[0]} things" if table.ndim == _TWO else table.tolist(),
        mend="Count how often each answer was given to each thing.",
    )
