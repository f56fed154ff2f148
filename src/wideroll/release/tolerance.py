"""Within what a reading must lie: either side of an aim, or on one side of a limit; and what deciding by it risks."""

import math
from dataclasses import dataclass

from wideroll.release.conformance import conformance_probability
from wideroll.release.model import Bound, Criterion
from wideroll.release.words import number, stated

__all__ = ["Tolerance", "decision_risks", "tolerance_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """The limits of a reading; infinite on the side where it has none."""

    lower: float
    upper: float
    aim: float
    limit: float
    bound: Bound
    unit: str = ""

    def margin(self, value: float) -> float:
        """How far a value lies inside; negative beyond a limit."""
        return {
            Bound.BOTH: self.limit - abs(value - self.aim),
            Bound.MOST: self.upper - value,
            Bound.LEAST: value - self.lower,
        }[self.bound]

    def inside(self, band: float) -> float:
        """The limit, a guard band farther in: a distance from the aim, or a value where there is one limit."""
        return self.limit + band if self.bound is Bound.LEAST else self.limit - band

    def nearer(self, value: float) -> float:
        """The limit that a value is nearer to."""
        if self.bound is Bound.BOTH:
            return self.upper if value >= self.aim else self.lower
        return self.limit

    @property
    def fine(self) -> float:
        """A difference that must show in a value, where that isn't a deviation; 0 where it is."""
        return self.limit if self.bound is Bound.BOTH and self.aim else 0.0

    @property
    def words(self) -> str:
        """The limits as they stand in a reason."""
        if self.bound is not Bound.BOTH:
            return f"the limit of at {self.bound} {stated(self.limit)} {self.unit}".rstrip()
        if self.aim:
            return f"{stated(self.aim)} ± {stated(self.limit)} {self.unit}".rstrip()
        return f"the limit of ±{number(self.limit)}"

    def passing(self, band: float) -> str:
        """In words, what passes that lies a guard band inside."""
        inside = number(self.inside(band), beside=self.limit)
        if self.bound is not Bound.BOTH:
            return f"from {inside} on" if self.bound is Bound.LEAST else f"up to {inside}"
        return f"within {stated(self.aim)} ± {inside}" if self.aim else f"up to ±{inside}"


def tolerance_of(criterion: Criterion) -> Tolerance:
    """The limits that a criterion on a reading sets.

    Example:
        >>> from wideroll.release.model import Consequence, Measurand
        >>> pitch = Criterion(
        ...     name="pitch",
        ...     measurand=Measurand.READING,
        ...     subject="pitch",
        ...     aim=4.75,
        ...     limit=0.01,
        ...     unit="mm",
        ...     consequence=Consequence.HOLD,
        ... )
        >>> tolerance_of(pitch).words, round(tolerance_of(pitch).margin(4.757), 6)
        ('4.75 ± 0.01 mm', 0.003)
    """
    aim, limit = criterion.aim, criterion.limit
    lower, upper = {
        Bound.BOTH: (aim - limit, aim + limit),
        Bound.MOST: (-math.inf, limit),
        Bound.LEAST: (limit, math.inf),
    }[criterion.bound]
    return Tolerance(lower=lower, upper=upper, aim=aim, limit=limit, bound=criterion.bound, unit=criterion.unit)


def decision_risks(
    criterion: Criterion,
    tolerance: Tolerance,
    standard_uncertainty: float,
    band: float,
    *,
    degrees_of_freedom: float = math.inf,
) -> tuple[float, float]:
    """What a reading this uncertain risks: the consumer's and the producer's specific risk.

    Both as in JCGM 106:2012 (from memory), for a truth that is supposed.

    A value is released from ``lower`` + w to ``upper`` − w. The consumer's risk is the probability of such a value
    when the truth lies at a limit, the producer's that of another one when it is as good as ``Criterion.good``: that
    far from the aim, or that itself where there is one limit. The value errs by Student's t times the standard
    uncertainty, taken as it was found this time.

    Args:
        criterion: with ``good``, or NaN.
        tolerance: of the criterion.
        standard_uncertainty: u, in the reading's unit.
        band: the guard band w in the same unit; NaN where no value is released.
        degrees_of_freedom: of u.

    Returns:
        The two probabilities; the consumer's is 0 where no value is released, or the value is exact. The producer's is
        NaN where the criterion doesn't say what is good.
    """
    if math.isinf(standard_uncertainty):
        band = math.nan

    def released(truth: float) -> float:
        if math.isnan(band):
            return 0.0
        return conformance_probability(
            truth,
            standard_uncertainty,
            lower=tolerance.lower + band,
            upper=tolerance.upper - band,
            degrees_of_freedom=degrees_of_freedom,
        )

    edge = tolerance.upper if tolerance.bound is not Bound.LEAST else tolerance.lower
    good = tolerance.aim + criterion.good if tolerance.bound is Bound.BOTH else criterion.good
    consumer = released(edge) if standard_uncertainty > 0.0 else 0.0
    return consumer, math.nan if math.isnan(good) else 1.0 - released(good)
