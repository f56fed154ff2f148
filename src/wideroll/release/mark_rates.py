"""Rates of marks against their limits, over the roll and in each stretch of it."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from wideroll.release.ground import seen_along
from wideroll.release.limits import rate_at_least, rate_at_most
from wideroll.release.looked_at import nothing_seen
from wideroll.release.model import Criterion, Evidence, Measurand, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, absent, rule
from wideroll.release.stretches import Places, Window, dense_stretches, densest_window
from wideroll.release.words import number, percent, plural, where
from wideroll.roll import Extent

__all__ = ["RATES", "SCAN", "judge_rate", "judge_stretches", "judge_unseen_stretches", "on_roll", "owner", "uncut"]

RATES: Final = (Measurand.MARKS_PER_M2, Measurand.MARKS_PER_M2_LOCAL)
"""Criteria that count marks."""


SCAN: Final = "scan"
"""The source whose marks are counted where a criterion names none, and of marks whose own source has no coverage."""


def judge_rate(criterion: Criterion, evidence: Evidence, cuts: Sequence[Extent]) -> list[Ruling]:
    """The rate over all that isn't cut out: released only when even the upper limit of the rate is within the limit."""
    subject = criterion.subject or SCAN
    coverage = evidence.coverage.get(subject)
    area = 0.0 if coverage is None else seen_along(evidence.whole, coverage, cuts).total_m2
    if area <= 0.0:
        return [absent(criterion, evidence, evidence.whole, (subject,))]
    count = int(uncut(_counted(criterion, evidence), cuts).sum())
    rate = count / area
    low = float(rate_at_least(count, area, criterion.confidence)[0])
    high = rate_at_most(count, area, criterion.confidence)
    counted = f"{_marks(criterion, count)} in {number(area)} m², {number(rate)} {criterion.unit}"
    limit, sure = f"{number(criterion.limit)} {criterion.unit}", f"at {percent(criterion.confidence)} confidence"
    if high <= criterion.limit:
        reason = Reason.WITHIN_LIMIT if count else Reason.NONE_FOUND
        verdict = Verdict.RELEASE
        why = f"{counted}: at most {number(high, beside=criterion.limit)} {sure}, within the limit of {limit}"
    elif low > criterion.limit:
        verdict, reason = Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT
        why = f"{counted}: at least {number(low, beside=criterion.limit)} {sure}, above the limit of {limit}"
    else:
        verdict, reason = Verdict.HOLD, Reason.NOT_PROVEN
        ends = f"{number(low, beside=criterion.limit)} to {number(high, beside=criterion.limit)}"
        why = f"{counted}: {ends} {sure} on each side, which doesn't settle the limit of {limit}"
    found = Found(value=rate, low=low, high=high, margin=criterion.limit - rate)
    extent = evidence.whole
    return [rule(criterion, found, Word(verdict, reason, why), extent=extent, source=subject)]


def judge_stretches(criterion: Criterion, evidence: Evidence) -> list[Ruling]:
    """Each stretch denser than the limit beyond chance, or the densest stretch there is.

    Here the burden of proof is the other way round: any long roll has stretches that chance alone makes dense, and good
    film isn't cut out on chance. The rate over the whole roll carries the proof that the film is good.
    """
    subject = criterion.subject or SCAN
    coverage = evidence.coverage.get(subject)
    if coverage is None or seen_along(evidence.whole, coverage).total_m2 <= 0.0:
        return []
    places = _places(_counted(criterion, evidence))
    dense = dense_stretches(places, evidence.whole, coverage, criterion)
    if dense:
        return [_dense(criterion, evidence, stretch, subject) for stretch in dense]
    worst = densest_window(places, evidence.whole, coverage, criterion)
    return [_densest(criterion, evidence, worst, subject)]


def judge_unseen_stretches(criterion: Criterion, evidence: Evidence, _cuts: Sequence[Extent]) -> list[Ruling]:
    """Hold the roll when its source saw nothing of it; how much must be seen is for a coverage criterion to say."""
    subject = criterion.subject or SCAN
    return [absent(criterion, evidence, evidence.whole, (subject,))] if nothing_seen(evidence, (subject,)) else []


def _dense(criterion: Criterion, evidence: Evidence, worst: Window, subject: str) -> Ruling:
    counted = f"{_marks(criterion, worst.count)} within {number(criterion.window_m)} m"
    least = f"at least {number(worst.low, beside=criterion.limit)} at {percent(criterion.confidence)} confidence"
    why = (
        f"{counted}, {number(worst.rate)} {criterion.unit}, in {where(worst.extent, evidence.whole)}: "
        f"{least}, above the limit of {number(criterion.limit)} {criterion.unit}"
    )
    return rule(
        criterion,
        _found(criterion, worst),
        Word(Verdict(criterion.consequence.value), Reason.ABOVE_LIMIT, why),
        extent=worst.extent,
        source=subject,
    )


def _densest(criterion: Criterion, evidence: Evidence, worst: Window | None, subject: str) -> Ruling:
    limit = f"{number(criterion.limit)} {criterion.unit}"
    if worst is None:
        area = min(criterion.window_m, evidence.whole.length_m) * evidence.whole.width_mm / 1000.0
        high = rate_at_most(0, area, criterion.confidence)
        found = Found(value=0.0, low=0.0, high=high, margin=criterion.limit)
        extent, reason = evidence.whole, Reason.NONE_FOUND
        why = f"{_marks(criterion, 0)} in any stretch of {number(criterion.window_m)} m; the limit is {limit}"
    else:
        found, extent = _found(criterion, worst), worst.extent
        told = (
            f"the densest stretch, {where(extent, evidence.whole)}, has {_marks(criterion, worst.count)}, "
            f"{number(worst.rate)} {criterion.unit}"
        )
        reason = Reason.WITHIN_LIMIT if worst.rate <= criterion.limit else Reason.NOT_PROVEN
        why = f"{told}: within the limit of {limit}"
        if worst.high > criterion.limit:
            ends = f"{number(worst.low)} to {number(worst.high, beside=criterion.limit)}"
            sure = f"{ends} at {percent(criterion.confidence)} confidence on each side"
            why = f"{told} ({sure}): not shown to be above the limit of {limit}"
    return rule(criterion, found, Word(Verdict.RELEASE, reason, why), extent=extent, source=subject)


def _found(criterion: Criterion, window: Window) -> Found:
    return Found(value=window.rate, low=window.low, high=window.high, margin=criterion.limit - window.rate)


def _marks(criterion: Criterion, count: int) -> str:
    size = [f"{number(criterion.least_size_mm)} mm or more"] if criterion.least_size_mm > 0.0 else []
    which = ", ".join([*criterion.kinds, *size])
    return plural(count, "mark") + (f" ({which})" if which else "")


def on_roll(evidence: Evidence) -> pl.Expr:
    """Whether a mark's centre lies on the roll."""
    whole = evidence.whole
    along = pl.col("along_m").is_between(whole.along_from_m, whole.along_to_m, closed="left")
    return along & pl.col("across_mm").is_between(whole.across_from_mm, whole.across_to_mm, closed="left")


def owner(source: str, evidence: Evidence) -> str:
    """The source of coverage against which marks of that source are counted."""
    return source if source in evidence.coverage else SCAN


def uncut(marks: pl.DataFrame, cuts: Sequence[Extent]) -> NDArray[np.bool_]:
    """Which of the marks, in order along, don't have their centre in a part that is cut out, (n,)."""
    along, across = marks["along_m"].to_numpy(), marks["across_mm"].to_numpy()
    left = np.ones(len(along), dtype=np.bool_)
    for cut in cuts:
        rows = slice(*np.searchsorted(along, (cut.along_from_m, cut.along_to_m), side="left"))
        left[rows] &= (across[rows] < cut.across_from_mm) | (across[rows] >= cut.across_to_mm)
    return left


def _counted(criterion: Criterion, evidence: Evidence) -> pl.DataFrame:
    """The marks on the roll that the criterion counts, in order along."""
    subject, source = criterion.subject or SCAN, pl.col("source")
    of_another = source.is_in([name for name in evidence.coverage if name != subject])
    chosen = on_roll(evidence) & (pl.max_horizontal("length_mm", "width_mm") >= criterion.least_size_mm)
    chosen &= ~of_another if subject == SCAN else source == subject
    if criterion.kinds:
        chosen &= pl.col("kind").cast(pl.String).is_in(criterion.kinds)
    return evidence.marks.filter(chosen).sort("along_m", "across_mm")


def _places(marks: pl.DataFrame) -> Places:
    return Places(along_m=marks["along_m"].to_numpy(), reach_m=marks["length_mm"].to_numpy() / 2000.0)
