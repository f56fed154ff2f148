"""Costs that aren't known for sure, added up: distributions as points with probabilities."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

__all__ = ["Chance", "Points", "Rate", "add_up", "further_counts", "quantiles"]

Floats: TypeAlias = NDArray[np.float64]

_NODES: Final = 250
_MOST_POINTS: Final = 2048
_LEAST_STEP: Final = 1e-300
_SURE: Final = 1.0 - 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Values and their probabilities, (n,) each; the probabilities add up to 1."""

    values: Floats
    probabilities: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """``number`` things that escape together with a probability, each at ``cost``."""

    criterion: str
    probability: float
    number: float
    cost: float

    @property
    def expected(self) -> float:
        """How many escape on average."""
        return self.probability * self.number

    def points(self) -> Points:
        """The cost."""
        return Points(
            values=np.array([0.0, self.number * self.cost]),
            probabilities=np.array([1.0 - self.probability, self.probability]),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Things that escape at a rate known from a count: gamma with ``shape`` per ``looked_m2``, on ``film_m2``.

    ``shape`` is the count and a half (Jeffreys' prior for a Poisson rate). ``sheet_share`` is how much of a further
    sheet of the part speaks for this rate: 0 where sheets say nothing of it.
    """

    criterion: str
    shape: float
    looked_m2: float
    film_m2: float
    cost: float
    sheet_share: float = 0.0

    @property
    def expected(self) -> float:
        """How many escape on average."""
        return self.shape / self.looked_m2 * self.film_m2

    def quantile(self, share: float) -> float:
        """The cost at a quantile of the rate."""
        return float(special.gammaincinv(self.shape, share)) / self.looked_m2 * self.film_m2 * self.cost

    def points(self) -> Points:
        """The cost at equally probable rates."""
        shares = (np.arange(_NODES) + 0.5) / _NODES
        values = special.gammaincinv(self.shape, shares) / self.looked_m2 * self.film_m2 * self.cost
        return Points(values=np.asarray(values), probabilities=np.full(_NODES, 1.0 / _NODES))


def quantiles(chances: Sequence[Chance], rates: Sequence[Rate], shares: Sequence[float]) -> tuple[float, ...]:
    """Quantiles of the whole cost, taking what the criteria say as independent; exact for one rate and sure numbers."""
    sure = [one for one in chances if one.probability in {0.0, 1.0} or not one.number * one.cost]
    doubtful = [one for one in chances if one not in sure]
    known = sum(one.expected * one.cost for one in sure)
    costly = [rate for rate in rates if rate.film_m2 * rate.cost > 0.0]
    if len(costly) == 1 and not doubtful:
        return tuple(known + costly[0].quantile(share) for share in shares)
    total = add_up([*(one.points() for one in doubtful), *(one.points() for one in costly)])
    order = np.argsort(total.values, kind="stable")
    upto = np.cumsum(total.probabilities[order])
    rows = np.minimum(np.searchsorted(upto, np.asarray(shares) - _NODES**-2.0), len(order) - 1)
    return tuple(known + float(value) for value in total.values[order][rows])


def further_counts(rate: Rate, area_m2: float) -> Points:
    """Expected cost after a look at so much more film, over what may be counted there.

    The count is negative binomial, Poisson with a gamma rate; after it the rate is gamma again, with both added.
    """
    looked = rate.looked_m2 + area_m2
    old = rate.looked_m2 / looked
    counts = np.arange(int(stats.nbinom.ppf(_SURE, rate.shape, old)) + 1)
    probabilities = np.asarray(stats.nbinom.pmf(counts, rate.shape, old), dtype=np.float64)
    values = (rate.shape + counts) / looked * rate.film_m2 * rate.cost
    return Points(values=np.asarray(values), probabilities=probabilities / probabilities.sum())


def add_up(parts: Sequence[Points]) -> Points:
    """The distribution of the sum of independent costs; of one of them it is that one."""
    nothing = Points(values=np.zeros(1), probabilities=np.ones(1))
    return reduce(_added, parts, nothing)


def _added(one: Points, other: Points) -> Points:
    values = np.add.outer(one.values, other.values).ravel()
    probabilities = np.multiply.outer(one.probabilities, other.probabilities).ravel()
    low = float(values.min())
    step = (float(values.max()) - low) / (_MOST_POINTS - 1)
    if len(values) <= _MOST_POINTS:
        return Points(values=values, probabilities=probabilities)
    if step < _LEAST_STEP:
        return Points(values=np.array([low]), probabilities=np.ones(1))
    return _on_grid(values, probabilities, low, step)


def _on_grid(values: Floats, probabilities: Floats, low: float, step: float) -> Points:
    """On even steps, each probability shared by the two nearest so that the mean stays as it is."""
    place = (values - low) / step
    below = np.minimum(place.astype(np.int64), _MOST_POINTS - 2)
    part = (place - below) * probabilities
    weights = np.bincount(below, probabilities - part, minlength=_MOST_POINTS)
    weights += np.bincount(below + 1, part, minlength=_MOST_POINTS)
    kept = weights > 0.0
    grid = low + step * np.arange(_MOST_POINTS)
    return Points(values=np.asarray(grid[kept]), probabilities=np.asarray(weights[kept], dtype=np.float64))
