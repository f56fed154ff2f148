"""How probably a quantity lies within its limits when it was measured with a known uncertainty, and what that risks."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import optimize, special

from wideroll.errors import ArgumentError

__all__ = [
    "GlobalRisks",
    "beyond_probabilities",
    "conformance_probability",
    "global_risks",
    "guard_band",
    "standard_uncertainty_of",
]

_FAR: Final = 9.0
"""Standard deviations beyond which a normal density holds less than 1e-18."""
_STEEP: Final = 6.0
"""Standard uncertainties to either side of an acceptance limit beyond which acceptance hardly changes."""
_SOLVED: Final = 1e-13
_NODES: Final = np.polynomial.legendre.leggauss(64)
_UPPER: Final = 0.975
"""Upper end of a 95 % interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GlobalRisks:
    """What a decision rule does to all of a product, as shares of everything that is measured."""

    consumer: float
    """Share that is accepted though it lies beyond a limit."""
    producer: float
    """Share that is not accepted though it lies within the limits."""
    accepted: float
    """Share that is accepted; ``consumer / accepted`` is the bad share of what is sold."""


def conformance_probability(
    value: float,
    standard_uncertainty: float,
    *,
    lower: float = -math.inf,
    upper: float = math.inf,
    degrees_of_freedom: float = math.inf,
) -> float:
    """Probability that the quantity lies from ``lower`` to ``upper``, all in one unit.

    p = F((upper − y) ⁄ u) − F((lower − y) ⁄ u), F the normal distribution (JCGM 106:2012, 7, from memory), or Student's
    t where the uncertainty itself is known with few degrees of freedom (scaled and shifted, JCGM 101:2008, 6.4.9, from
    memory). The quantity is supposed to be known by this measurement alone, with nothing believed before it.

    An uncertainty of 0 is an exact value. An infinite one, or a value that is NaN, says nothing: the result is NaN.

    Args:
        value: best estimate y.
        standard_uncertainty: u, in the same unit.
        lower: the least that is allowed; −∞ where only the other limit is.
        upper: the most that is allowed; ∞ where only the other limit is.
        degrees_of_freedom: of u.

    Raises:
        ArgumentError: when u is negative or NaN, the degrees of freedom aren't positive, or lower is above upper.

    Example:
        >>> round(conformance_probability(-5.47, 0.05, upper=-5.40), 4)
        0.9192
    """
    below, above = beyond_probabilities(
        value, standard_uncertainty, lower=lower, upper=upper, degrees_of_freedom=degrees_of_freedom
    )
    return min(max(1.0 - below - above, 0.0), 1.0) if not math.isnan(below) else math.nan


def beyond_probabilities(
    value: float,
    standard_uncertainty: float,
    *,
    lower: float = -math.inf,
    upper: float = math.inf,
    degrees_of_freedom: float = math.inf,
) -> tuple[float, float]:
    """Probabilities that the quantity lies below ``lower``, and above ``upper``; arguments as of the conformance.

    They are kept apart because a poor measurement spreads beyond both limits without proving that either is exceeded.

    Raises:
        ArgumentError: as ``conformance_probability``.

    Example:
        >>> below, above = beyond_probabilities(0.08, 0.02, lower=-0.05, upper=0.05)
        >>> below < 1e-9, round(above, 4)
        (True, 0.9332)
    """
    _check(standard_uncertainty, degrees_of_freedom)
    if not lower <= upper:
        raise ArgumentError(where="lower", rule="must not be above upper", value=lower, mend="Exchange the limits.")
    if math.isnan(value) or math.isinf(standard_uncertainty):
        return math.nan, math.nan
    if standard_uncertainty == 0.0:
        return float(value < lower), float(value > upper)
    low, high = ((limit - value) / standard_uncertainty for limit in (lower, upper))
    return _share_below(low, degrees_of_freedom), _share_below(-high, degrees_of_freedom)


def guard_band(
    standard_uncertainty: float, risk: float, *, width: float = math.inf, degrees_of_freedom: float = math.inf
) -> float:
    """How far inside a limit a value must lie to be within the limits with probability 1 − risk, in the unit of u.

    With one limit w = t₍₁₋risk₎·u (JCGM 106:2012, 8.3, from memory). With two, ``width`` apart, what lies beyond the
    other limit counts too, and w is solved for; the two agree when the limits are many uncertainties apart. A value
    exactly w inside the limit has the conformance probability 1 − risk. A risk of a half with one limit is simple
    acceptance, w = 0: the value is compared with the limit, and both sides share the risk.

    Args:
        standard_uncertainty: u.
        risk: greatest probability that what is accepted lies beyond a limit (specific consumer's risk).
        width: distance of the two limits; infinite where there is one.
        degrees_of_freedom: of u.

    Returns:
        w, or NaN where u is too large for any value to be accepted.

    Raises:
        ArgumentError: when the risk isn't above 0 and at most a half, the width isn't positive, or u or its degrees of
            freedom are impossible.

    Example:
        >>> round(guard_band(0.02, 0.05), 4), round(guard_band(0.02, 0.05, width=0.10), 4)
        (0.0329, 0.033)
        >>> guard_band(0.02, 0.5), guard_band(0.02, 0.05, width=0.06)
        (0.0, nan)
    """
    _check(standard_uncertainty, degrees_of_freedom)
    if not 0.0 < risk <= 0.5:  # noqa: PLR2004 - beyond a half more is accepted than lies within the limit
        raise ArgumentError(
            where="risk", rule="must be above 0 and at most 0.5", value=risk, mend="Give for example 0.05."
        )
    if not width > 0.0:
        raise ArgumentError(where="width", rule="must be greater than 0", value=width, mend="Give upper minus lower.")
    if standard_uncertainty == 0.0:
        return 0.0
    if math.isinf(standard_uncertainty):
        return math.nan
    least = max(_quantile(1.0 - risk, degrees_of_freedom), 0.0)
    whole = width / standard_uncertainty

    def short_by(inside: float) -> float:
        """How much more than the risk lies beyond the limits when the value is so far inside, in units of u."""
        return _share_below(-inside, degrees_of_freedom) + _share_below(inside - whole, degrees_of_freedom) - risk

    if short_by(whole / 2.0) > 0.0:
        return math.nan
    if math.isinf(whole) or short_by(least) <= 0.0:
        return least * standard_uncertainty
    return float(optimize.brentq(short_by, least, whole / 2.0, xtol=_SOLVED)) * standard_uncertainty


def global_risks(
    mean: float,
    sd: float,
    standard_uncertainty: float,
    *,
    lower: float = -math.inf,
    upper: float = math.inf,
    inside: float = 0.0,
) -> GlobalRisks:
    """What is wrongly accepted and wrongly refused in the long run, for a product whose own spread is known.

    The quantity is normal with ``mean`` and ``sd`` over the product's history, a value measured has a normal error of
    ``standard_uncertainty``, and values from lower + inside to upper − inside are accepted. The consumer's risk is the
    integral of the product's density times the probability of acceptance beyond the limits, the producer's that of
    refusal within them (JCGM 106:2012, 9, from memory), by adaptive quadrature.

    Args:
        mean: of the product.
        sd: of the product, without the error of measurement.
        standard_uncertainty: of one value, the same for all.
        lower: the least that is allowed; −∞ where only the other limit is.
        upper: the most that is allowed; ∞ where only the other limit is.
        inside: guard band; 0 is simple acceptance.

    Raises:
        ArgumentError: when a spread isn't positive and finite, or lower isn't below upper.

    Example:
        >>> risks = global_risks(1500.0, 0.12, 0.04, lower=1499.8, upper=1500.2)
        >>> round(risks.consumer, 3), round(risks.producer, 3)
        (0.019, 0.037)
    """
    for where, spread in (("sd", sd), ("standard_uncertainty", standard_uncertainty)):
        if not 0.0 < spread < math.inf:
            raise ArgumentError(where=where, rule="must be greater than 0 and finite", value=spread, mend="Measure it.")
    if not lower < upper:
        raise ArgumentError(where="lower", rule="must be below upper", value=lower, mend="Exchange the limits.")
    allowed = ((lower - mean) / sd, (upper - mean) / sd)
    band = (allowed[0] + inside / sd, allowed[1] - inside / sd)
    if not band[0] < band[1]:
        return GlobalRisks(consumer=0.0, producer=_normal_share(*allowed), accepted=0.0)
    blur = standard_uncertainty / sd
    blurred = math.hypot(1.0, blur)
    return GlobalRisks(
        consumer=_mass(-math.inf, allowed[0], band, blur) + _mass(allowed[1], math.inf, band, blur),
        producer=_normal_share(*allowed) - _mass(*allowed, band, blur),
        accepted=_normal_share(band[0] / blurred, band[1] / blurred),
    )


def standard_uncertainty_of(value: float, low: float, high: float, *, degrees_of_freedom: float = math.inf) -> float:
    """The standard uncertainty behind a 95 % interval: its wider half divided by Student's t.

    Example:
        >>> round(standard_uncertainty_of(0.02, 0.0, 0.0396), 4)
        0.0102
    """
    return max(value - low, high - value) / _quantile(_UPPER, degrees_of_freedom)


def _mass(start: float, end: float, band: tuple[float, float], blur: float) -> float:
    """Share of a standard normal product that lies from start to end and is accepted, by Gauss–Legendre quadrature.

    Acceptance changes within some blurs of the band's edges, so that each piece between them is smooth.
    """
    corners = [edge + step * blur for edge in band for step in (-_STEEP, 0.0, _STEEP)]
    cuts = np.array(sorted({min(max(cut, -_FAR), _FAR) for cut in (start, end, 0.0, *corners) if start <= cut <= end}))
    half = np.diff(cuts)[:, None] / 2.0
    place = cuts[:-1, None] + half * (1.0 + _NODES[0])
    share = special.ndtr((band[1] - place) / blur) - special.ndtr((band[0] - place) / blur)
    return float((half * _NODES[1] * share * np.exp(-(place**2) / 2.0)).sum() / math.sqrt(2.0 * math.pi))


def _normal_share(start: float, end: float) -> float:
    return float(special.ndtr(end) - special.ndtr(start))


def _share_below(place: float, degrees_of_freedom: float) -> float:
    """Distribution function of Student's t; the normal one with infinite degrees of freedom."""
    if math.isinf(degrees_of_freedom):
        return float(special.ndtr(place))
    return float(special.stdtr(degrees_of_freedom, place))


def _quantile(probability: float, degrees_of_freedom: float) -> float:
    if math.isinf(degrees_of_freedom):
        return float(special.ndtri(probability))
    return float(special.stdtrit(degrees_of_freedom, probability))


def _check(standard_uncertainty: float, degrees_of_freedom: float) -> None:
    if not standard_uncertainty >= 0.0:
        raise ArgumentError(
            where="standard_uncertainty",
            rule="must be 0 or more",
            value=standard_uncertainty,
            mend="Give the standard deviation of the value.",
        )
    if not degrees_of_freedom > 0.0:
        raise ArgumentError(
            where="degrees_of_freedom",
            rule="must be greater than 0",
            value=degrees_of_freedom,
            mend="Give infinity where they aren't known.",
        )
