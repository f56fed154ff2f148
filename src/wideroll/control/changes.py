"""Where the level of a process changed for good, and how sure that is."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, chdtri, stdtrit
from scipy.stats import f

from wideroll.control.change_model import ChangePoint, ChangePoints
from wideroll.control.freezing import D2_OF_TWO, mean_move
from wideroll.control.ranges import moving_range_freedom
from wideroll.control.series import check_confidence, check_series
from wideroll.errors import ArgumentError

__all__ = ["find_changes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Series:
    """Sums of the values in standard deviations, of which the cost of any stretch follows at once."""

    sums: NDArray[np.float64]
    squares: NDArray[np.float64]
    sigma: float
    freedom: float
    least: int

    @property
    def count(self) -> int:
        return len(self.sums) - 1

    def cost(self, start: NDArray[np.intp] | int, end: NDArray[np.intp] | int) -> NDArray[np.float64]:
        """Σ (x − mean)² of each stretch, in variances."""
        total = self.sums[end] - self.sums[start]
        cost: NDArray[np.float64] = self.squares[end] - self.squares[start] - total * total / np.subtract(end, start)
        return cost

    def mean(self, start: int, end: int) -> float:
        return float(self.sums[end] - self.sums[start]) / (end - start)


def find_changes(
    values: Sequence[float],
    *,
    false_alarm: float = 0.05,
    least: int = 3,
    sigma: float | None = None,
    confidence: float = 0.95,
) -> ChangePoints:
    """The stretches of one level each that explain a series best, for a penalty on each change.

    Least Σ (x − mean)² ⁄ σ² + β · changes over all divisions, exactly, by dynamic programming (optimal partitioning,
    Jackson et al. 2005, from memory); time grows with the square of the number of points. β = F(1 − α ⁄ m; 1, ν) over
    the m possible places of one change (Bonferroni): a steady series gets any change with a chance of at most about
    ``false_alarm``; in simulations it is a fifth of that. σ is the mean moving range over 1.128, which steps hardly
    widen, with its degrees of freedom ν; where a value resembles the one before it, σ is too small and more changes
    are found than there are; ``caution`` says so where it shows.

    Where a change lies: the smallest set of places that holds ``confidence`` of the likelihood between the changes
    before and after it. Its step is the difference of two means with Student's interval; steps that were searched for
    come out somewhat too large.

    Args:
        values: in time order.
        false_alarm: as above, between 0 and 1.
        least: points that a stretch must have; with 3 an outlier of up to some six sigma isn't made two changes.
        sigma: of a single value, where it is known; None takes it from the values.
        confidence: two-sided, of places and steps.

    Raises:
        ArgumentError: when there are too few values, they don't vary, or a setting is outside its range.

    Example:
        >>> rolls = [0.1, -0.2, 0.0, 0.2, -0.1, 0.1, 0.0, 1.1, 0.9, 1.2, 1.0, 0.8, 1.1, 1.0]
        >>> found = find_changes(rolls)
        >>> [(one.at, one.first, one.last, round(one.step, 2)) for one in found.changes]
        [(7, 7, 7, 1.0)]
        >>> find_changes(rolls[:7]).changes
        ()
    """
    points = check_series(values, where="values")
    check_confidence(confidence)
    _check(points, false_alarm, least, sigma)
    series = _series(points, least, sigma)
    places = series.count - 2 * least + 1
    penalty = _penalty(false_alarm / places, series.freedom)
    ends = _divide(series, penalty)
    borders = [0, *ends, series.count]
    offset = math.fsum(points) / len(points)
    levels = [offset + series.sigma * series.mean(a, b) for a, b in itertools.pairwise(borders)]
    changes = tuple(
        _change(series, borders[n - 1 : n + 2], levels[n - 1 : n + 1], confidence) for n in range(1, len(borders) - 1)
    )
    starts = np.array(borders[:-1])
    return ChangePoints(
        count=series.count,
        changes=changes,
        levels=tuple(levels),
        sigma=series.sigma,
        penalty=penalty,
        false_alarm=false_alarm,
        confidence=confidence,
        resemblance=_resemblance(np.array(points) - np.repeat(levels, np.diff(borders))),
        cost=float(np.sum(series.cost(starts, np.array(borders[1:])))) + penalty * len(changes),
    )


def _series(points: tuple[float, ...], least: int, sigma: float | None) -> _Series:
    spread = mean_move(points) / D2_OF_TWO if sigma is None else sigma
    scaled = (np.array(points) - math.fsum(points) / len(points)) / spread
    return _Series(
        sums=np.concatenate([[0.0], np.cumsum(scaled)]),
        squares=np.concatenate([[0.0], np.cumsum(scaled * scaled)]),
        sigma=spread,
        freedom=moving_range_freedom(len(points)) if sigma is None else math.inf,
        least=least,
    )


def _penalty(tail: float, freedom: float) -> float:
    return float(chdtri(1, tail)) if math.isinf(freedom) else float(f.isf(tail, 1, freedom))


def _divide(series: _Series, penalty: float) -> list[int]:
    """First points of the stretches after the first."""
    best = np.full(series.count + 1, np.inf)
    best[0] = -penalty
    before = np.zeros(series.count + 1, dtype=np.intp)
    starts = np.arange(series.count + 1)
    for end in range(series.least, series.count + 1):
        from_ = starts[: end - series.least + 1]
        totals = best[from_] + series.cost(from_, end)
        before[end] = int(np.argmin(totals))
        best[end] = totals[before[end]] + penalty
    ends: list[int] = []
    end = int(before[series.count])
    while end:
        ends.append(end)
        end = int(before[end])
    return ends[::-1]


def _change(series: _Series, borders: Sequence[int], levels: Sequence[float], confidence: float) -> ChangePoint:
    start, at, end = borders
    places = np.arange(start + series.least, end - series.least + 1)
    costs = series.cost(start, places) + series.cost(places, end)
    weights = np.exp(-0.5 * (costs - costs.min()))
    order = np.argsort(-weights, kind="stable")
    held = np.cumsum(weights[order]) / weights.sum()
    likely = places[order[: int(np.searchsorted(held, confidence)) + 1]]
    error = series.sigma * math.sqrt(1.0 / (at - start) + 1.0 / (end - at))
    half = float(stdtrit(min(series.freedom, 1e9), 0.5 + confidence / 2.0)) * error
    gain = float(series.cost(start, end)) - float(costs.min())
    tail = chdtrc(1, gain) if math.isinf(series.freedom) else f.sf(gain, 1, series.freedom)
    return ChangePoint(
        at=at,
        first=int(likely.min()),
        last=int(likely.max()),
        before=levels[0],
        after=levels[1],
        step_low=levels[1] - levels[0] - half,
        step_high=levels[1] - levels[0] + half,
        chance=min(1.0, len(places) * float(tail)),
    )


def _resemblance(left: NDArray[np.float64]) -> float:
    total = float(left @ left)
    return float(left[1:] @ left[:-1]) / total if total > 0.0 else 0.0


def _check(points: tuple[float, ...], false_alarm: float, least: int, sigma: float | None) -> None:
    if not 0.0 < false_alarm < 1.0:
        raise ArgumentError(where="false_alarm", rule="must lie between 0 and 1", value=false_alarm, mend="Give 0.05.")
    if least < 1 or len(points) < max(2 * least, 3):
        raise ArgumentError(
            where="values",
            rule=f"at least two stretches of {least} points, and a stretch has at least one",
            value=f"{len(points)} points",
            mend="Give more points, or shorter stretches.",
        )
    if min(points) == max(points) or (sigma is not None and not 0.0 < sigma < math.inf):
        raise ArgumentError(
            where="values", rule="must vary, and sigma be greater than 0", value=sigma, mend="Read them more finely."
        )
