"""What a test does at each rate: exactly, sheet by sheet, and beside a test of one fixed area."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaincc, gammainccinv, gammaincinv, gammaln

from wideroll.errors import ArgumentError
from wideroll.sampling.sequential import SequentialPlan

__all__ = ["FixedPlan", "OperatingPoint", "fixed_plan", "operating_points"]

_MOST_MARKS: Final = 10_000
_NOTHING: Final = 1e-25


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """What happens at a rate: probabilities that sum to 1, and the mean area looked at."""

    rate: float
    accept: float
    reject: float
    undecided: float
    """Not settled when the most sheets were taken."""
    mean_m2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedPlan:
    """Accept when an area holds no more than so many marks."""

    area_m2: float
    accept: int
    producer_risk: float
    consumer_risk: float
    """Those that it truly has."""

    def accepts(self, rate: float) -> float:
        """Probability of acceptance at a rate, marks per m² (Poisson)."""
        return float(gammaincc(self.accept + 1, rate * self.area_m2))


def operating_points(
    plan: SequentialPlan, rates: Sequence[float], sheet_m2: float, most_sheets: int
) -> tuple[OperatingPoint, ...]:
    """Exact operating characteristic and average sample number of the test, looked at sheet by sheet.

    The distribution of the count is carried from sheet to sheet; what meets a line leaves it (recursion of the
    probabilities, as for any truncated sequential test of a Poisson count).

    Args:
        plan: the test.
        rates: true rates, marks per m².
        sheet_m2: area of each sheet.
        most_sheets: after which nothing is settled and the roll is held.

    Raises:
        ArgumentError: when a number is outside its range.

    Example:
        >>> from wideroll.sampling.sequential import sequential_plan
        >>> plan = sequential_plan(1.0, 3.0, 0.05, 0.10)
        >>> good, bad = operating_points(plan, [1.0, 3.0], 0.4, 40)
        >>> good.reject < 0.05, bad.accept < 0.10, good.mean_m2 < 3.2
        (True, True, True)
    """
    if not (0.0 < sheet_m2 < math.inf and most_sheets >= 1):
        raise ArgumentError(
            where="sheet_m2",
            rule="the area of a sheet is above 0, and there are one or more",
            value=(sheet_m2, most_sheets),
            mend="Give what is cut.",
        )
    if not all(0.0 <= rate < math.inf for rate in rates):
        raise ArgumentError(where="rates", rule="each is 0 or more", value=tuple(rates), mend="Give marks per m².")
    return tuple(_point(plan, rate, sheet_m2, most_sheets) for rate in rates)


def _point(plan: SequentialPlan, rate: float, sheet_m2: float, most_sheets: int) -> OperatingPoint:
    top = math.ceil(plan.slope * sheet_m2 * most_sheets + plan.reject_offset)
    counts = np.arange(top + 1)
    mean = rate * sheet_m2
    log_mean = math.log(mean) if mean > 0.0 else -math.inf
    with np.errstate(invalid="ignore"):
        log_p = np.where(counts == 0, -mean, counts * log_mean - mean - gammaln(counts + 1.0))
    found = np.exp(log_p)
    found = found[: 1 + int(np.flatnonzero(found > _NOTHING)[-1])]
    open_ = np.zeros(top + 1)
    open_[0] = 1.0
    accept, area = 0.0, 0.0
    for number in range(1, most_sheets + 1):
        still = float(open_.sum())
        area += still * sheet_m2
        open_ = np.convolve(open_, found)[: top + 1]
        line = plan.slope * sheet_m2 * number
        open_[counts >= line + plan.reject_offset] = 0.0
        low = counts <= line - plan.accept_offset
        accept += float(open_[low].sum())
        open_[low] = 0.0
    undecided = float(open_.sum())
    return OperatingPoint(
        rate=rate,
        accept=accept,
        reject=max(0.0, 1.0 - accept - undecided),
        undecided=undecided,
        mean_m2=area,
    )


def fixed_plan(
    good_rate: float, bad_rate: float, producer_risk: float = 0.05, consumer_risk: float = 0.05
) -> FixedPlan:
    """The least area, looked at all at once, that keeps both risks, and how many marks it may hold.

    The least c with χ²(1 − β; 2c + 2)/χ²(α; 2c + 2) ≤ λ₁/λ₀; the area is χ²(1 − β; 2c + 2)/(2λ₁) (Poisson operating
    points; common in textbooks of acceptance sampling).

    Raises:
        ArgumentError: when the rates aren't in order, or so close that no practical count tells them apart.

    Example:
        >>> plan = fixed_plan(1.0, 3.0, 0.05, 0.10)
        >>> round(plan.area_m2, 3), plan.accept
        (3.924, 7)
    """
    if not 0.0 < good_rate < bad_rate < math.inf:
        raise ArgumentError(
            where="bad_rate",
            rule="the good rate is above 0 and the bad rate above the good",
            value=(good_rate, bad_rate),
            mend="Give the rate that should pass and the one that should not.",
        )
    accept = np.arange(_MOST_MARKS)
    enough = gammainccinv(accept + 1, consumer_risk) / gammaincinv(accept + 1, producer_risk) <= bad_rate / good_rate
    if not enough.any():
        raise ArgumentError(
            where="bad_rate",
            rule="must differ enough from the good rate to be told apart",
            value=(good_rate, bad_rate),
            mend="Set them further apart.",
        )
    most = int(enough.argmax())
    area = float(gammainccinv(most + 1, consumer_risk)) / bad_rate
    return FixedPlan(
        area_m2=area,
        accept=most,
        producer_risk=1.0 - float(gammaincc(most + 1, good_rate * area)),
        consumer_risk=float(gammaincc(most + 1, bad_rate * area)),
    )
