"""One rate from several looks, each of which misses some of the marks."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from wideroll.errors import ArgumentError
from wideroll.sampling.model import Combined, Detected, Look
from wideroll.sampling.rates import check_confidence, rate_limits

__all__ = ["agreement", "check_looks", "combine_looks", "look_log_likelihood"]

Floats = NDArray[np.float64]

_NODES: Final = 101
_RATES: Final = 1001
_SURE: Final = 1.0 - 1e-9
_LEAST_WIDTH: Final = 0.1
_NEAR: Final = np.linspace(-8.0, 8.0, 161)
_LEAST_LN: Final = -16.0
_MOST_LN: Final = 9.0
"""Logarithms of the least and greatest rate looked at, over a first estimate."""


def combine_looks(looks: Sequence[Look], confidence: float = 0.95) -> Combined:
    """The rate per m² of marks that are there, found or not, from all looks together.

    A look finds a Poisson count with the mean λ·A·p. Its likelihood is averaged over what is known of p: a normal
    distribution of its logit with the stated interval, each side with its own width. The looks' likelihoods are
    multiplied. The upper limit is the quantile 1 − α/2 of the product taken over λ, the lower the quantile α/2 of the
    product over ln λ: with p known these are Garwood's limits of the sum of counts over the sum of A·p exactly, and no
    look is weighted by hand. Averaging over an uncertain efficiency: Cousins and Highland 1992, *Nucl. Instrum. Methods
    A* 320:331–335 (from memory).

    Whether the looks agree is tested by the likelihood ratio of one rate against a rate for each, as chi-square with
    one degree of freedom for each look beyond the first. Where they don't, the combined rate is of no use, because one
    of the stated probabilities, or the area, is wrong.

    Args:
        looks: at areas that don't overlap (a sheet's area is left out of the scan's).
        confidence: two-sided.

    Raises:
        ArgumentError: when there are no looks, or a number is outside its range.

    Example:
        >>> from wideroll.sampling.model import Detected
        >>> scan = Look(source="scan", count=40, area_m2=100.0, detected=Detected(value=0.8, low=0.7, high=0.9))
        >>> sheets = Look(source="sheets", count=3, area_m2=4.0)
        >>> both = combine_looks([scan, sheets])
        >>> round(both.rate, 2), round(both.low, 2), round(both.high, 2), both.p_agree > 0.5
        (0.51, 0.36, 0.71, True)
    """
    check_confidence(confidence)
    check_looks(looks)
    count = sum(look.count for look in looks)
    effective = math.fsum(look.area_m2 * look.detected.value for look in looks)
    known = all(look.detected.low == look.detected.high for look in looks)
    if any(look.detected.low <= 0.0 for look in looks) and all(look.detected.low <= 0.0 for look in looks):
        exact = rate_limits(count, math.fsum(look.area_m2 * look.detected.high for look in looks), confidence)
        rate, low, high = (math.nan if effective <= 0.0 else count / effective), exact.low, math.inf
        return _combined(looks, confidence, (effective, rate, low, high, math.nan))
    if known:
        exact = rate_limits(count, effective, confidence)
        rate, low, high = exact.rate, exact.low, exact.high
    else:
        rate, low, high = _limits(looks, count / effective if count else 1.0 / effective, confidence)
        rate = rate if count else 0.0
        low = low if count else 0.0
    return _combined(looks, confidence, (effective, rate, low, high, agreement(looks, effective)))


def _combined(looks: Sequence[Look], confidence: float, found: tuple[float, float, float, float, float]) -> Combined:
    effective, rate, low, high, p_agree = found
    return Combined(
        looks=tuple(looks),
        effective_m2=effective,
        confidence=confidence,
        rate=rate,
        low=low,
        high=high,
        p_agree=p_agree,
    )


def check_looks(looks: Sequence[Look]) -> None:
    """Refuse looks that can't be.

    Raises:
        ArgumentError: when there are none, or a number is outside its range.
    """
    if not looks:
        raise ArgumentError(where="looks", rule="there must be one or more", value=0, mend="Give what was looked at.")
    for look in looks:
        if look.count < 0 or not (math.isfinite(look.area_m2) and look.area_m2 > 0.0):
            raise ArgumentError(
                where=f"look {look.source}",
                rule="counts are 0 or more and areas above 0",
                value=(look.count, look.area_m2),
                mend="Leave out what nobody looked at.",
            )
        count, area = sum(count for count, _ in look.parts), math.fsum(area for _, area in look.parts)
        if look.parts and not (count == look.count and math.isclose(area, look.area_m2)):
            raise ArgumentError(
                where=f"look {look.source}, parts",
                rule="their counts and areas sum to the look's",
                value=(look.count, look.area_m2),
                mend="Take the sums from the parts.",
            )
        found = look.detected
        if not 0.0 <= found.low <= found.value <= found.high <= 1.0 or found.value <= 0.0:
            raise ArgumentError(
                where=f"look {look.source}, detected",
                rule="a probability above 0 inside its interval, both within 0 to 1",
                value=(found.low, found.value, found.high),
                mend="Measure the probability of detection; without it, state the rate found and say so.",
            )


def _limits(looks: Sequence[Look], about: float, confidence: float) -> tuple[float, float, float]:
    """Likeliest rate and limits, on a fine grid of ln λ."""
    tail = (1.0 - confidence) / 2.0
    log_rate = math.log(about) + np.linspace(_LEAST_LN, _MOST_LN, _RATES)
    counted = any(look.count for look in looks)
    low, high, _ = _ends(looks, log_rate, tail, counted=counted)
    if counted:  # once more, closely, where it matters
        wide = max(high - low, _LEAST_WIDTH)
        log_rate = np.linspace(low - 3.0 * wide, high + 3.0 * wide, _RATES)
    low, high, best = _ends(looks, log_rate, tail, counted=counted)
    return math.exp(best), math.exp(low), math.exp(high)


def _ends(looks: Sequence[Look], log_rate: Floats, tail: float, *, counted: bool) -> tuple[float, float, float]:
    log_l = np.sum([look_log_likelihood(look, np.exp(log_rate)) for look in looks], axis=0)
    low = _quantile(log_rate, log_l, tail) if counted else float(log_rate[0])
    return low, _quantile(log_rate, log_l + log_rate, 1.0 - tail), float(log_rate[int(log_l.argmax())])


def _quantile(log_rate: Floats, log_density: Floats, share: float) -> float:
    density = np.exp(log_density - log_density.max())
    steps = (density[1:] + density[:-1]) / 2.0
    total = np.concatenate([[0.0], np.cumsum(steps)])
    return float(np.interp(share * total[-1], total, log_rate))


def look_log_likelihood(look: Look, rates: Floats) -> Floats:
    """Logarithm of the Poisson probability of the count at each rate, averaged over the probability of detection."""
    probability = _nodes(look.detected)
    mean = rates[:, None] * look.area_m2 * probability[None, :]
    log_p = look.count * np.log(mean) - mean - special.gammaln(look.count + 1.0)
    return np.asarray(special.logsumexp(log_p, axis=1) - math.log(len(probability)), dtype=np.float64)


def _nodes(found: Detected) -> Floats:
    """The probability of detection at equal steps of its distribution."""
    if found.low == found.high:
        return np.array([found.value])
    low, value, high = (
        float(special.logit(min(max(p, 1.0 - _SURE), _SURE))) for p in (found.low, found.value, found.high)
    )
    z = special.ndtri((np.arange(_NODES) + 0.5) / _NODES)
    reach = float(special.ndtri((1.0 + found.confidence) / 2.0))
    widths = np.where(z < 0.0, (value - low) / reach, (high - value) / reach)
    return np.asarray(special.expit(value + widths * z), dtype=np.float64)


def agreement(looks: Sequence[Look], effective: float) -> float:
    """Probability of looks that differ so much when the rate is the same for all; NaN for one look."""
    if len(looks) < 2:  # noqa: PLR2004
        return math.nan
    count = sum(look.count for look in looks)
    if not count:
        return 1.0
    log_rates = [math.log(count / effective) + np.linspace(_LEAST_LN, _MOST_LN, _RATES)]
    for k, area in [(count, effective), *((one.count, one.area_m2 * one.detected.value) for one in looks)]:
        # closely about each rate, whose likelihood is narrow where many marks were found
        log_rates += [math.log(k / area) + _NEAR / math.sqrt(k)] if k else []
    rates = np.exp(np.unique(np.concatenate(log_rates)))
    each = [look_log_likelihood(look, rates) for look in looks]
    apart = math.fsum(float(one.max()) for one in each) - float(np.sum(each, axis=0).max())
    return float(special.chdtrc(len(looks) - 1, max(0.0, 2.0 * apart)))
