"""All that looks say about a rate: its limits at any confidence, and how surely it lies within a limit."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sampling.dispersion import excess_of
from wideroll.sampling.looks import agreement, check_looks, look_log_likelihood
from wideroll.sampling.model import Look
from wideroll.sampling.rates import check_confidence

__all__ = ["RateKnowledge", "know_rate"]

Floats = NDArray[np.float64]

_DRAWS: Final = 2000
_RATES: Final = 1001
_WIDE: Final = (-16.0, 9.0)
"""Logarithms of the least and greatest rate looked at, over a first estimate."""
_REACH: Final = 10.0
"""Widths of the likelihood to either side, over which rates are looked at closely."""


@dataclass(frozen=True, kw_only=True)
class RateKnowledge:
    """A rate per m² as looks at areas that don't overlap tell it; made by ``know_rate``."""

    looks: tuple[Look, ...]
    excess: tuple[float, ...]
    """Of each look, the variance over the mean of its counts that limits allow for; 1 for independent marks."""
    seed: int = 1
    """Of the draws by which ``released_at`` is found."""

    @property
    def count(self) -> int:
        """Marks found."""
        return sum(look.count for look in self.looks)

    @property
    def effective_m2(self) -> float:
        """Area times the probability of detection."""
        return math.fsum(look.area_m2 * look.detected.value for look in self.looks)

    @cached_property
    def p_agree(self) -> float:
        """Probability of looks that differ so much when the rate is the same for all; NaN for one look."""
        return agreement(self.looks, self.effective_m2)

    @property
    def rate(self) -> float:
        """The likeliest rate."""
        if self.is_exact:
            return self._shape / self._area if self.count else 0.0
        return math.exp(self._grid[int(self._log_likelihood.argmax())]) if self.count else 0.0

    @property
    def method(self) -> str:
        """How the limits were made, in a few words."""
        law = "Poisson (Garwood)" if self.is_exact else "Poisson, detection uncertain"
        worst = max(self.excess)
        return law if worst == 1.0 else f"{law}, clusters allowed for (variance {worst:.2g} times the mean)"

    @property
    def is_exact(self) -> bool:
        """Whether each probability of detection is known, so that limits have a closed form."""
        return all(look.detected.low == look.detected.high for look in self.looks)

    def at_most(self, confidence: float) -> float:
        """Upper limit, one-sided."""
        check_confidence(confidence)
        if self.is_exact:
            return float(special.gammainccinv(self._shape + 1.0, 1.0 - confidence)) / self._area
        if all(look.detected.low <= 0.0 for look in self.looks):
            return math.inf
        return math.exp(float(np.interp(confidence, self._below_flat, self._grid)))

    def at_least(self, confidence: float) -> float:
        """Lower limit, one-sided."""
        check_confidence(confidence)
        if not self.count:
            return 0.0
        if self.is_exact:
            return float(special.gammaincinv(self._shape, 1.0 - confidence)) / self._area
        return math.exp(float(np.interp(1.0 - confidence, self._below_log, self._grid)))

    def within(self, limit: float) -> float:
        """The greatest confidence at which the upper limit is at most ``limit``: how surely the rate lies within it."""
        _check_rate("limit", limit)
        if self.is_exact or limit == 0.0:
            return float(special.gammainc(self._shape + 1.0, limit * self._area))
        if all(look.detected.low <= 0.0 for look in self.looks):
            return 0.0
        return self._share(math.log(limit), self._below_flat)

    def beyond(self, limit: float) -> float:
        """The greatest confidence at which the lower limit is above ``limit``."""
        _check_rate("limit", limit)
        if not self.count:
            return 0.0
        if self.is_exact or limit == 0.0:
            return float(special.gammaincc(self._shape, limit * self._area))
        return 1.0 - self._share(math.log(limit), self._below_log)

    def released_at(self, rate: float, *, limit: float, confidence: float) -> float:
        """Probability that looks at the same parts find the rate within the limit, were it truly ``rate``.

        With marks as clustered as they were found, by seeded draws, clusters being allowed for in each as they are
        here; by Poisson's law where no parts are told. NaN where a probability of detection is uncertain.
        """
        for name, value in (("rate", rate), ("limit", limit)):
            _check_rate(name, value)
        check_confidence(confidence)
        if not self.is_exact:
            return math.nan
        rng, shape, area = np.random.Generator(np.random.PCG64(self.seed)), np.zeros(_DRAWS), np.zeros(_DRAWS)
        for look, excess in zip(self.looks, self.excess, strict=True):
            areas = np.array([part for _, part in look.parts or ((look.count, look.area_m2),)])
            counts = _draw(rate * areas * look.detected.value, excess, rng)
            allowed = excess_of(counts, areas)
            shape += counts.sum(axis=1) / allowed
            area += look.area_m2 * look.detected.value / allowed
        return float((special.gammainc(shape + 1.0, limit * area) >= confidence).mean())

    @property
    def _shape(self) -> float:
        return math.fsum(look.count / excess for look, excess in zip(self.looks, self.excess, strict=True))

    @property
    def _area(self) -> float:
        pairs = zip(self.looks, self.excess, strict=True)
        return math.fsum(look.area_m2 * look.detected.value / excess for look, excess in pairs)

    @cached_property
    def _grid(self) -> Floats:
        """Logarithms of rates (n,): coarse far off, close about where the likelihood is."""
        about = math.log(max(self.count, 1) / self.effective_m2)
        wide = about + np.linspace(*_WIDE, _RATES)
        if not self.count:
            return wide
        near = math.sqrt(max(self.excess) / self.count)
        return np.unique(np.concatenate([wide, about + np.linspace(-_REACH, _REACH, _RATES) * near]))

    @cached_property
    def _log_likelihood(self) -> Floats:
        pairs = zip(self.looks, self.excess, strict=True)
        return _sum(look_log_likelihood(look, np.exp(self._grid)) / excess for look, excess in pairs)

    @cached_property
    def _below_flat(self) -> Floats:
        """Share of the likelihood below each rate, flat in the rate."""
        return _cumulative(self._grid, self._log_likelihood + self._grid)

    @cached_property
    def _below_log(self) -> Floats:
        """The same, flat in its logarithm."""
        return _cumulative(self._grid, self._log_likelihood)

    def _share(self, log_rate: float, below: Floats) -> float:
        return float(np.interp(log_rate, self._grid, below, left=0.0, right=1.0))


def know_rate(looks: Sequence[Look], *, seed: int = 1) -> RateKnowledge:
    """What looks say about the rate per m² of marks that are there, found or not.

    With the probability of detection known and independent marks the limits are Garwood's of the sum of counts over the
    sum of area times probability, exactly. Where a probability is uncertain the likelihood is averaged over it, as in
    ``combine_looks``. Where the parts of a look vary more than chance lets them, its log likelihood is divided by the
    excess φ of their variance (quasi-likelihood, Wedderburn 1974, from memory; ``excess_of``): k marks on A then say as
    much as k⁄φ on A⁄φ.

    Args:
        looks: at areas that don't overlap; where one has ``parts`` their sums are its count and area.
        seed: of the draws by which the chance of a release is found.

    Raises:
        ArgumentError: when there are no looks, or a number is outside its range.

    Example:
        >>> found = know_rate([Look(source="sheets", count=0, area_m2=3.0)])
        >>> round(found.at_most(0.95), 3), round(found.within(1.0), 3), found.method
        (0.999, 0.95, 'Poisson (Garwood)')
        >>> heaped = Look(source="sheets", count=8, area_m2=8.0, parts=((0, 2.0), (8, 2.0), (0, 2.0), (0, 2.0)))
        >>> even = Look(source="sheets", count=8, area_m2=8.0, parts=((2, 2.0),) * 4)
        >>> know_rate([heaped]).within(2.0) < 0.95 < know_rate([even]).within(2.0)
        True
    """
    check_looks(looks)
    return RateKnowledge(looks=tuple(looks), excess=tuple(_excess(look) for look in looks), seed=seed)


def _excess(look: Look) -> float:
    counts, areas = zip(*(look.parts or ((look.count, look.area_m2),)), strict=True)
    return float(excess_of(np.array([counts]), np.array(areas))[0])


def _draw(means: Floats, excess: float, rng: np.random.Generator) -> NDArray[np.int64]:
    """Counts (draws, parts) with these means (parts,) and a variance of so many times the mean."""
    size = (_DRAWS, len(means))
    if excess == 1.0 or not means.any():
        return rng.poisson(means, size)
    return rng.negative_binomial(np.maximum(means, 1e-12) / (excess - 1.0), 1.0 / excess, size)


def _sum(each: Iterable[Floats]) -> Floats:
    return np.asarray(sum(each), dtype=np.float64)


def _cumulative(log_rate: Floats, log_density: Floats) -> Floats:
    density = np.exp(log_density - log_density.max())
    total = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2.0 * np.diff(log_rate))])
    return np.asarray(total / total[-1], dtype=np.float64)


def _check_rate(name: str, value: float) -> None:
    if not (math.isfinite(value) and value >= 0.0):
        raise ArgumentError(where=name, rule="must be 0 or more", value=value, mend="Give a rate per m².")
