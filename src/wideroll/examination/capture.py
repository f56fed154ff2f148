"""How many marks there are when two looked and each missed some."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.optimize import brentq
from scipy.special import ndtri

from wideroll.errors import ArgumentError
from wideroll.examination.model import Capture

__all__ = ["StratifiedCapture", "chapman", "stratified_chapman"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StratifiedCapture:
    """How many there are in classes that are not equally easy to see, and in all of them together."""

    classes: tuple[Capture, ...]
    together: Capture


def chapman(first: int, second: int, both: int, confidence: float = 0.95) -> Capture:
    """Chapman's estimate of how many marks there are.

    N = (n₁ + 1)(n₂ + 1)/(m + 1) − 1 with variance (n₁ + 1)(n₂ + 1)(n₁ − m)(n₂ − m) / ((m + 1)²(m + 2)) (Chapman 1951;
    Seber 1982). It holds when both looked independently and all marks are equally hard to see; large marks are easier
    for both, so the true number tends to be greater. The interval takes the number nobody saw as log-normal, so that
    it never falls below the number that was seen (Burnham et al. 1987; from memory); its lower end is rounded down,
    marks being whole. Where one of them missed nothing
    that the other saw, the variance is 0 but the number still isn't known: there the upper limit is the number N at
    which so full an agreement has just the probability (1 − confidence)/2, given what each saw (test inversion of the
    hypergeometric law, C(b, s)/C(N, s) for the smaller and larger count s and b, taken for real N). Where one saw
    nothing at all there is no upper limit.

    Args:
        first: marks seen by one of them.
        second: marks seen by the other.
        both: marks seen by both.
        confidence: of the interval, between 0 and 1.

    Raises:
        ArgumentError: when a count is negative, more were seen by both than by one, or confidence isn't in (0, 1).

    Example:
        >>> trout = chapman(100, 100, 10)
        >>> round(trout.total, 2), round(trout.standard_error, 2)
        (926.36, 238.55)
        >>> alike = chapman(23, 23, 23)
        >>> alike.low, round(alike.high, 2)
        (23.0, 24.19)
    """
    if not 0 <= both <= min(first, second):
        raise ArgumentError(
            where="both",
            rule="must be 0 or more and at most what each saw",
            value=(first, second, both),
            mend="Count each mark once.",
        )
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="must lie between 0 and 1", value=confidence, mend="Give for example 0.95."
        )
    product = (first + 1) * (second + 1)
    total = product / (both + 1) - 1.0
    variance = product * (first - both) * (second - both) / ((both + 1) ** 2 * (both + 2))
    seen = first + second - both
    hidden = (first - both) * (second - both) / (both + 1)
    if variance > 0.0:
        spread = math.exp(float(ndtri(0.5 + confidence / 2.0)) * math.sqrt(math.log1p(variance / hidden**2)))
        low, high = float(math.floor(seen + hidden / spread)), seen + hidden * spread
    else:
        low, high = float(seen), _most(both, max(first, second), (1.0 - confidence) / 2.0)
    return Capture(
        first=first,
        second=second,
        both=both,
        total=total,
        standard_error=math.sqrt(variance),
        low=low,
        high=high,
        confidence=confidence,
    )


def stratified_chapman(counts: Sequence[tuple[int, int, int]], confidence: float = 0.95) -> StratifiedCapture:
    """Chapman's estimate class by class, and the sum.

    Marks that are easy for one are easy for the other too, which makes the estimate from all together too small; inside
    a class of size they are nearly alike. Numbers and variances of the classes are added (Seber 1982). The interval of
    the sum comes of those of the classes: N ± √(Σ (Nₖ − limitₖ)²), lower and upper limits apart (Zou and Donner 2008,
    from memory), so that a class in which one missed nothing still adds to it. Where one saw nothing of a class that
    the other saw, there is no upper limit. Classes aren't joined, however few there are: what few counts cost in bias
    is less than what joining unlike ones does.

    Args:
        counts: of each class: seen by the first, by the second, by both.
        confidence: of the intervals.

    Raises:
        ArgumentError: as ``chapman``, and where there is no class.

    Example:
        >>> found = stratified_chapman([(20, 16, 8), (40, 38, 36), (0, 0, 0)])
        >>> [round(one.total, 1) for one in found.classes], round(found.together.total, 1)
        ([38.7, 42.2, 0.0], 80.9)
    """
    if not counts:
        raise ArgumentError(where="counts", rule="must have a class", value=counts, mend="Count at least one class.")
    classes = tuple(chapman(*count, confidence) for count in counts)
    total = math.fsum(one.total for one in classes)
    together = Capture(
        first=sum(one.first for one in classes),
        second=sum(one.second for one in classes),
        both=sum(one.both for one in classes),
        total=total,
        standard_error=math.hypot(*(one.standard_error for one in classes)),
        low=total - math.hypot(*(one.total - one.low for one in classes)),
        high=total + math.hypot(*(one.high - one.total for one in classes)),
        confidence=confidence,
    )
    return StratifiedCapture(classes=classes, together=together)


def _most(fewer: int, more: int, tail: float) -> float:
    """The number there may be when all that one saw was among what the other saw.

    Each of the factors (more − i)/(N − i) of the probability is at most more/N, which brackets N.
    """
    if more == 0:
        return 0.0
    if fewer == 0:
        return math.inf

    def excess(total: float) -> float:
        return sum(math.log((more - i) / (total - i)) for i in range(fewer)) - math.log(tail)

    return float(brentq(excess, more, more * tail ** (-1.0 / fewer) + 1.0))
