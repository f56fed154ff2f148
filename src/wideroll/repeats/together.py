"""One maker for the series of several rolls: how likely, and which.

From roll to roll the slip is another, the roller's diameter the same. So rolls that agree tell rollers apart whose
difference hides in slip, and don't where it hides in the tolerance of the table.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, fsum, log, pi, sqrt
from typing import Final

from wideroll.repeats.cases_model import Suspicion
from wideroll.repeats.model import ANOTHER, Candidate, Roller, SeriesSettings
from wideroll.repeats.rollers import ANOTHER_SHARE

__all__ = ["Seen", "makers_of", "mean_spacing", "same_maker"]

_NEVER: Final = 1e-12
_SIGMAS: Final = 1.959963984540054  # half width of an interval of 95 %
_FAR: Final = 4.0  # standard deviations to which a roller's neighbourhood is searched
_LEAST_SPREAD: Final = 1e-4
_SETTINGS: Final = SeriesSettings()
_SPAN: Final = log(_SETTINGS.most_spacing_m / _SETTINGS.least_spacing_m)  # of what something unknown may have


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A suspicion with the slip that its roll allows for."""

    suspicion: Suspicion
    slip: float

    @property
    def spread(self) -> float:
        """Standard deviation of what the spacing says of π × diameter, as a fraction, tolerance aside."""
        series = self.suspicion.series
        own = (series.spacing_high_m - series.spacing_low_m) / (2.0 * _SIGMAS * series.spacing_m)
        return max(sqrt(own**2 + self.slip**2), _LEAST_SPREAD)


def makers_of(seen: Sequence[Seen], rollers: Sequence[Roller]) -> tuple[Candidate, ...]:
    """Probability of each maker when one made the series of all these rolls.

    Each roll's likelihood is its posterior over its prior; their product is corrected for what they share: the
    diameter, within its tolerance, or for *another* its unknown diameter.

    Args:
        seen: at least one, of different rolls.
        rollers: the table.
    """
    logs = _log_joint(seen, rollers)
    top = max(logs.values())
    weights = {name: exp(one - top) for name, one in logs.items()}
    total = fsum(weights.values())
    slips = {name: fsum(_slip(one, name) for one in seen) / len(seen) for name in logs}
    made = [Candidate(roller=name, probability=weight / total, slip=slips[name]) for name, weight in weights.items()]
    return tuple(sorted(made, key=lambda one: -one.probability))


def same_maker(seen: Sequence[Seen], rollers: Sequence[Roller]) -> float:
    """Log likelihood ratio: one maker for all, against a maker of its own for each, drawn from the same table."""
    logs = list(_log_joint(seen, rollers).values())
    top = max(logs)
    return top + log(fsum(exp(one - top) for one in logs))


def mean_spacing(seen: Sequence[Seen]) -> tuple[float, float, float]:
    """Lower limit, mean and upper limit (95 %) of the spacing without slip, in metres.

    Each roll weighs by how well its spacing is known, slip included.
    """
    weights = [1.0 / one.spread**2 for one in seen]
    total = fsum(weights)
    middle = exp(fsum(w * log(one.suspicion.series.spacing_m) for w, one in zip(weights, seen, strict=True)) / total)
    off = _SIGMAS / sqrt(total)
    return middle * exp(-off), middle, middle * exp(off)


def _log_joint(seen: Sequence[Seen], rollers: Sequence[Roller]) -> dict[str, float]:
    """Logarithm of prior × likelihood of all, by maker; 0 in sum for a single roll."""
    known = {roller.name: roller for roller in rollers}
    priors = [_priors(one.suspicion.series.candidates) for one in seen]
    names = dict.fromkeys(name for prior in priors for name in prior)
    return {
        name: log(priors[0].get(name, _NEVER))
        + fsum(_log_likelihood(one, name, prior) for one, prior in zip(seen, priors, strict=True))
        + _shared(seen, name, known.get(name))
        for name in names
    }


def _priors(candidates: Sequence[Candidate]) -> Mapping[str, float]:
    """As the search gave them: three quarters to the rollers that reach the place, one to another."""
    rollers = len(candidates) - 1
    another = ANOTHER_SHARE if rollers else 1.0
    each = (1.0 - another) / max(rollers, 1)
    return {one.roller: another if one.roller == ANOTHER else each for one in candidates}


def _log_likelihood(one: Seen, name: str, prior: Mapping[str, float]) -> float:
    posterior = {maker.roller: maker.probability for maker in one.suspicion.series.candidates}
    return log(max(posterior.get(name, 0.0), _NEVER) / prior.get(name, 1.0))


def _shared(seen: Sequence[Seen], name: str, roller: Roller | None) -> float:
    """Log of the joint density of the rolls' spacings over the product of their own densities."""
    spreads = [one.spread**2 for one in seen]
    if roller is None:
        logs = [log(one.suspicion.series.spacing_m) for one in seen]
        return _log_normal_about_any(logs, spreads) + (len(seen) - 1) * log(_SPAN)
    shared = (roller.tolerance_mm / sqrt(3.0) / roller.diameter_mm) ** 2
    offs = [_within(_slip(one, name), sqrt(v + shared)) for one, v in zip(seen, spreads, strict=True)]
    alone = fsum(_log_normal(x, v + shared) for x, v in zip(offs, spreads, strict=True))
    return _log_normal_shared(offs, spreads, shared) - alone


def _slip(one: Seen, name: str) -> float:
    return next((maker.slip for maker in one.suspicion.series.candidates if maker.roller == name), 0.0)


def _within(off: float, spread: float) -> float:
    return min(max(off, -_FAR * spread), _FAR * spread)


def _log_normal(off: float, variance: float) -> float:
    return -0.5 * (off**2 / variance + log(2.0 * pi * variance))


def _log_normal_shared(offs: Sequence[float], variances: Sequence[float], shared: float) -> float:
    """Log density of normal values that have one normal part of variance ``shared`` in common (Sherman–Morrison)."""
    alone = fsum(_log_normal(x, v) for x, v in zip(offs, variances, strict=True))
    known = fsum(1.0 / v for v in variances)
    pull = fsum(x / v for x, v in zip(offs, variances, strict=True))
    grown = 1.0 + shared * known
    return alone + 0.5 * (shared * pull**2 / grown - log(grown))


def _log_normal_about_any(values: Sequence[float], variances: Sequence[float]) -> float:
    """Log of the density of normal values about one middle, integrated over all middles."""
    known = fsum(1.0 / v for v in variances)
    middle = fsum(x / v for x, v in zip(values, variances, strict=True)) / known
    about = fsum(_log_normal(x - middle, v) for x, v in zip(values, variances, strict=True))
    return about + 0.5 * log(2.0 * pi / known)
