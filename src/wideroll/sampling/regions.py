"""The rate in each part of the web, also in those where nobody looked."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from wideroll.errors import ArgumentError
from wideroll.sampling.model import RegionBasis, RegionLook, RegionRate
from wideroll.sampling.rates import check_confidence, rate_limits

__all__ = ["region_rates"]

Floats = NDArray[np.float64]

_LEAST_REGIONS: Final = 3
"""Regions looked at, below which nothing is said about how much regions differ."""
_MEANS: Final = 101
_SPREADS: Final = 41
_MOST_SPREAD: Final = 4.0
"""Standard deviation between regions over their mean, at most."""
_REACH: Final = 12.0
_LEAST_WEIGHT: Final = 1e-6


def region_rates(regions: Sequence[RegionLook], confidence: float = 0.95) -> tuple[RegionRate, ...]:
    """A rate with limits for each region, and what it rests on.

    A region that was looked at, in part or whole, has the rate found there with Garwood's limits of the area looked at;
    it borrows nothing from others. One that wasn't is known only as far as regions are alike: the rates of regions are
    taken as drawn from one gamma distribution, so counts are negative binomial, and the limits are the quantiles of the
    rate of one more region, averaged over mean and spread by how well they explain the counts of the others (flat in
    the mean for the upper limit and in its logarithm for the lower, as Garwood's limits are, and in the relative spread
    up to 4; never narrower than the limits of all that was looked at; hierarchical Poisson model, from memory of Gelman
    et al., *Bayesian Data Analysis*). Fewer than three regions looked at say nothing about the spread: then one that
    nobody looked at is not known at all, from 0 to infinity. A fault that is new there, and only there, no such
    reckoning can foresee.

    Args:
        regions: parts of the web that don't overlap, such as lanes by stretches.
        confidence: two-sided.

    Raises:
        ArgumentError: when a number is outside its range, or more was looked at than there is.

    Example:
        >>> from dataclasses import replace
        >>> from wideroll.roll import Extent
        >>> first = Extent(along_from_m=0.0, along_to_m=10.0, across_from_mm=0.0, across_to_mm=1000.0)
        >>> web = [replace(first, along_from_m=10.0 * n, along_to_m=10.0 * n + 10.0) for n in range(4)]
        >>> looked = [RegionLook(extent=one, count=2, looked_m2=5.0) for one in web[:3]]
        >>> *_, last = region_rates([*looked, RegionLook(extent=web[3], count=0, looked_m2=0.0)])
        >>> last.basis.value, round(last.rate, 1), last.high > rate_limits(6, 15.0).high
        ('inferred from other regions', 0.4, True)
    """
    check_confidence(confidence)
    for region in regions:
        if region.count < 0 or not 0.0 <= region.looked_m2 <= region.extent.area_m2 * (1.0 + 1e-9):
            raise ArgumentError(
                where="regions",
                rule="counts are 0 or more, and no more is looked at than there is",
                value=(region.count, region.looked_m2, region.extent.area_m2),
                mend="Correct them.",
            )
    seen = [region for region in regions if region.looked_m2 > 0.0]
    other = _unseen(seen, confidence) if len(seen) < len(regions) else None
    return tuple(_rate(region, other, confidence) for region in regions)


def _rate(region: RegionLook, other: tuple[float, float, float] | None, confidence: float) -> RegionRate:
    if region.looked_m2 > 0.0:
        own = rate_limits(region.count, region.looked_m2, confidence)
        basis, found = RegionBasis.LOOKED_AT, (own.rate, own.low, own.high)
    elif other is not None:
        basis, found = RegionBasis.OTHERS, other
    else:
        basis, found = RegionBasis.NOTHING, (math.nan, 0.0, math.inf)
    area = region.extent.area_m2
    return RegionRate(
        extent=region.extent,
        count=region.count,
        looked_m2=region.looked_m2,
        looked_share=region.looked_m2 / area if area > 0.0 else 0.0,
        rate=found[0],
        low=found[1],
        high=found[2],
        confidence=confidence,
        basis=basis,
    )


def _unseen(seen: Sequence[RegionLook], confidence: float) -> tuple[float, float, float] | None:
    """Mean and limits of the rate of one more region; None where too few were looked at."""
    if len(seen) < _LEAST_REGIONS:
        return None
    counts = np.array([region.count for region in seen], dtype=np.float64)
    areas = np.array([region.looked_m2 for region in seen], dtype=np.float64)
    pooled = rate_limits(int(counts.sum()), float(areas.sum()), confidence)
    centre = (counts.sum() + 0.5) / areas.sum()
    means = centre * np.exp(np.linspace(-6.0, 4.0, _MEANS))
    spreads = (np.arange(_SPREADS) + 0.5) / _SPREADS * _MOST_SPREAD
    shape = np.broadcast_to(1.0 / spreads[None, :] ** 2, (_MEANS, _SPREADS))
    scale = means[:, None] / shape
    log_w = np.zeros((_MEANS, _SPREADS))
    for count, area in zip(counts, areas, strict=True):
        log_w += special.gammaln(count + shape) - special.gammaln(shape)
        log_w += count * np.log(area * scale / (1.0 + area * scale)) - shape * np.log1p(area * scale)
    tail = (1.0 - confidence) / 2.0
    low = _quantile(tail, (log_w, shape, scale), centre) if counts.any() else 0.0
    high = _quantile(1.0 - tail, (log_w + np.log(means)[:, None], shape, scale), centre)
    rate = float(counts.sum() / areas.sum())
    return rate, min(low, pooled.low), max(high, pooled.high)


def _quantile(share: float, mixed: tuple[Floats, Floats, Floats], centre: float) -> float:
    """Of the rate of one more region, its gamma distributions weighted by how well they explain the others."""
    log_weight, shape, scale = mixed
    weight = np.exp(log_weight - log_weight.max())
    kept = weight > _LEAST_WEIGHT
    weight, shape, scale = weight[kept] / weight[kept].sum(), shape[kept], scale[kept]

    def above(log_rate: float) -> float:
        return float((weight * special.gammainc(shape, math.exp(log_rate) / scale)).sum()) - share

    ends = math.log(centre) - _REACH, math.log(centre) + _REACH
    if above(ends[0]) >= 0.0:
        return 0.0
    return math.exp(float(optimize.brentq(above, *ends, xtol=1e-5))) if above(ends[1]) > 0.0 else math.inf
