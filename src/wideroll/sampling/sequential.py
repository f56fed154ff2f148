"""Wald's sequential test: look at sheet after sheet, and stop as soon as it is settled."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from scipy import optimize

from wideroll.errors import ArgumentError

__all__ = ["SequentialPlan", "Settled", "Standing", "approximate_point", "sequential_plan", "settle"]


class Settled(StrEnum):
    """What the sheets so far settle."""

    ACCEPT = "accept"
    REJECT = "reject"
    GO_ON = "take more"


@dataclass(frozen=True, slots=True, kw_only=True)
class SequentialPlan:
    """The two lines of a test.

    Accept at or below ``slope·A − accept_offset`` marks in the area A, reject at or above ``slope·A + reject_offset``.
    """

    good_rate: float
    bad_rate: float
    producer_risk: float
    """Of rejecting at the good rate."""
    consumer_risk: float
    """Of accepting at the bad rate."""
    slope: float
    accept_offset: float
    reject_offset: float

    def settled(self, count: int, area_m2: float) -> Settled:
        """What a count in an area settles, taken by itself."""
        if count >= self.slope * area_m2 + self.reject_offset:
            return Settled.REJECT
        return Settled.ACCEPT if count <= self.slope * area_m2 - self.accept_offset else Settled.GO_ON


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How far the test has come.

    ``at_sheet`` is the number of the sheet that settled it (0: not settled). The rest speaks of the test going on: the
    further area that accepts when it holds no mark, the further marks that reject if found at once, and the further
    area to be expected when the rate is the good one, or the bad. All are 0 once it is settled.
    """

    settled: Settled
    at_sheet: int
    count: int
    area_m2: float
    clean_m2: float
    marks_to_reject: int
    expected_good_m2: float
    expected_bad_m2: float
    together: Settled = Settled.GO_ON
    """What all sheets together would settle, those after ``at_sheet`` too. Where it is the opposite, the roll isn't
    alike all along, or its marks aren't independent."""


def sequential_plan(
    good_rate: float, bad_rate: float, producer_risk: float = 0.05, consumer_risk: float = 0.05
) -> SequentialPlan:
    """Lines of the test between two rates with two risks.

    With r = ln(λ₁/λ₀): slope (λ₁ − λ₀)/r, accept offset ln((1 − α)/β)/r, reject offset ln((1 − β)/α)/r (Wald 1947,
    *Sequential Analysis*; from memory). The risks are then at most α/(1 − β) and β/(1 − α), and mostly below α and β,
    because a line is seldom met exactly.

    Args:
        good_rate: λ₀, marks per m² that should be accepted.
        bad_rate: λ₁, marks per m² that should be rejected, above the good one.
        producer_risk: α, of rejecting at λ₀.
        consumer_risk: β, of accepting at λ₁.

    Raises:
        ArgumentError: when the rates aren't in order, or a risk is outside its range.

    Example:
        >>> plan = sequential_plan(1.0, 3.0, 0.05, 0.10)
        >>> round(plan.slope, 4), round(plan.accept_offset, 4), round(plan.reject_offset, 4)
        (1.8205, 2.0492, 2.6309)
    """
    if not 0.0 < good_rate < bad_rate < math.inf:
        raise ArgumentError(
            where="bad_rate",
            rule="the good rate is above 0 and the bad rate above the good",
            value=(good_rate, bad_rate),
            mend="Give the rate that should pass and the one that should not.",
        )
    for name, risk in (("producer_risk", producer_risk), ("consumer_risk", consumer_risk)):
        if not 0.0 < risk < 0.5:  # noqa: PLR2004
            raise ArgumentError(
                where=name, rule="must lie between 0 and 0.5", value=risk, mend="Give for example 0.05."
            )
    log_ratio = math.log(bad_rate / good_rate)
    return SequentialPlan(
        good_rate=good_rate,
        bad_rate=bad_rate,
        producer_risk=producer_risk,
        consumer_risk=consumer_risk,
        slope=(bad_rate - good_rate) / log_ratio,
        accept_offset=math.log((1.0 - producer_risk) / consumer_risk) / log_ratio,
        reject_offset=math.log((1.0 - consumer_risk) / producer_risk) / log_ratio,
    )


def settle(plan: SequentialPlan, counts: Sequence[int], areas_m2: Sequence[float]) -> Standing:
    """Follow the sheets in the order in which they were taken, and say what they settle.

    The first line that is met settles it; sheets after that don't unsettle it, or the risks would no longer hold.

    Args:
        plan: the test.
        counts: marks on each sheet.
        areas_m2: of each sheet.

    Raises:
        ArgumentError: when the two differ in number, or a number is outside its range.

    Example:
        >>> plan = sequential_plan(1.0, 3.0, 0.05, 0.10)
        >>> on = settle(plan, [0, 1], [0.4, 0.4])
        >>> on.settled.value, round(on.clean_m2, 3), on.marks_to_reject
        ('take more', 0.875, 4)
        >>> settle(plan, [0, 0, 0], [0.4, 0.4, 0.4]).settled.value
        'accept'
    """
    if len(counts) != len(areas_m2) or any(k < 0 for k in counts) or not all(0.0 < a < math.inf for a in areas_m2):
        raise ArgumentError(
            where="counts",
            rule="each sheet has a count of 0 or more and an area above 0",
            value=f"{len(counts)} counts and {len(areas_m2)} areas",
            mend="Give one of each for each sheet.",
        )
    count, area = 0, 0.0
    for number, (found, looked) in enumerate(zip(counts, areas_m2, strict=True), 1):
        count, area = count + found, area + looked
        settled = plan.settled(count, area)
        if settled is not Settled.GO_ON:
            standing = _standing(settled, number, (count, area), (0.0, 0, 0.0, 0.0))
            return replace(standing, together=plan.settled(sum(counts), math.fsum(areas_m2)))
    return _standing(Settled.GO_ON, 0, (count, area), _more(plan, count, area))


def approximate_point(plan: SequentialPlan, rate: float) -> tuple[float, float]:
    """Probability of acceptance and mean area at a rate, in closed form.

    With θ ≠ 0 from λ(e^θ − 1) = θ·slope: P = (e^(θh₂) − 1)/(e^(θh₂) − e^(−θh₁)), and the mean area
    (h₂(1 − P) − h₁P)/(λ − slope); at λ = slope their limits h₂/(h₁ + h₂) and h₁h₂/slope (Wald 1947; from memory).
    Leaves aside by how much a line is overshot; ``operating_points`` doesn't.

    Raises:
        ArgumentError: when the rate isn't above 0.

    Example:
        >>> plan = sequential_plan(1.0, 3.0, 0.05, 0.10)
        >>> [round(approximate_point(plan, rate)[0], 4) for rate in (1.0, 3.0)]
        [0.95, 0.1]
    """
    if not 0.0 < rate < math.inf:
        raise ArgumentError(where="rate", rule="must be above 0", value=rate, mend="Give marks per m².")
    return _between(plan.slope, (plan.accept_offset, plan.reject_offset), rate)


def _between(slope: float, offsets: tuple[float, float], rate: float) -> tuple[float, float]:
    """Probability to end at the lower of two lines, and mean area until then, from these distances to them."""
    lower, upper = offsets
    theta = _theta(slope, rate)
    if abs(theta) * (lower + upper) < 1e-6:  # noqa: PLR2004
        return upper / (lower + upper), lower * upper / slope
    # written so that no power can overflow, whichever sign theta has
    down = (
        -math.expm1(-theta * upper) / -math.expm1(-theta * (lower + upper))
        if theta > 0.0
        else math.exp(theta * lower) * math.expm1(theta * upper) / math.expm1(theta * (lower + upper))
    )
    return down, (upper * (1.0 - down) - lower * down) / (rate - slope)


def _theta(slope: float, rate: float) -> float:
    """The other root, beside 0, of rate·(e^θ − 1) = θ·slope."""
    at_least = math.log(slope / rate)  # where the difference is least
    if abs(at_least) < 1e-9:  # noqa: PLR2004
        return 0.0
    far = at_least * 2.0
    while rate * math.expm1(far) - far * slope < 0.0:
        far *= 1.5
    return float(optimize.brentq(lambda t: rate * math.expm1(t) - t * slope, at_least, far, xtol=1e-14))


def _more(plan: SequentialPlan, count: int, area: float) -> tuple[float, int, float, float]:
    line = plan.slope * area
    offsets = count - line + plan.accept_offset, line + plan.reject_offset - count
    clean = offsets[0] / plan.slope
    good, bad = (_between(plan.slope, offsets, rate)[1] for rate in (plan.good_rate, plan.bad_rate))
    return clean, math.ceil(offsets[1]), good, bad


def _standing(
    settled: Settled, at_sheet: int, so_far: tuple[int, float], more: tuple[float, int, float, float]
) -> Standing:
    return Standing(
        settled=settled,
        at_sheet=at_sheet,
        count=so_far[0],
        area_m2=so_far[1],
        clean_m2=more[0],
        marks_to_reject=more[1],
        expected_good_m2=more[2],
        expected_bad_m2=more[3],
    )
