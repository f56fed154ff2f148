"""How many marks a finished roll may carry: which marks count is known now, the rolls only when the web is cut."""

import math
from collections.abc import Sequence
from typing import Final

import polars as pl

from wideroll.release.counting import SCAN, counted_kinds, counted_marks, marks_words, on_web, sources_of
from wideroll.release.looked_at import nothing_seen
from wideroll.release.model import Criterion, Evidence, Reason, Verdict
from wideroll.release.ruling import Found, Ruling, Word, absent, rule
from wideroll.release.words import plural
from wideroll.roll import Extent

__all__ = ["judge_mark_count", "marks_in_rolls"]

_GUARD_M: Final = 0.01
"""A mark's place and length along are known to less than this (from the scan's pitch and the slitter's counter)."""
_GUARD_MM: Final = 1.0
"""The same across: a knife stands to a millimetre, and so does the web's edge."""


def judge_mark_count(criterion: Criterion, evidence: Evidence, _cuts: Sequence[Extent]) -> list[Ruling]:
    """Pass, with how many such marks there are: the cut list keeps each finished roll within the limit.

    Held where the scan looked at nothing: what wasn't found can't be counted.
    """
    sources = sources_of(criterion)
    if nothing_seen(evidence, sources):
        return [absent(criterion, evidence, evidence.whole, sources)]
    count = counted_marks(criterion, evidence, SCAN).height
    most = plural(round(criterion.limit), "mark") if criterion.limit else "none"
    lie = "lies" if count == 1 else "lie"
    brief = f"{marks_words(criterion, count)} {lie} on the roll; a finished roll may carry {most}"
    why = f"{brief}. Which rolls there are is known when it is cut: the cut list makes none that carries more"
    found = Found(value=count, low=count, high=count, margin=math.nan)
    word = Word(Verdict.RELEASE, Reason.JUDGED_WHEN_CUT, why, brief=brief)
    return [rule(criterion, found, word, extent=evidence.whole, source=SCAN)]


def marks_in_rolls(criterion: Criterion, marks: pl.DataFrame, whole: Extent) -> tuple[Extent, ...]:
    """Where the marks lie that count towards a finished roll, in order along, each with a guard around it.

    The guard is the criterion's own, but never less than 10 mm along and 1 mm across.

    Args:
        criterion: MARK_COUNT.
        marks: those of the scan.
        whole: the roll.

    Example:
        >>> from wideroll.release import Consequence, Measurand
        >>> from wideroll.roll import empty_marks
        >>> web = Extent(along_from_m=0, along_to_m=40, across_from_mm=0, across_to_mm=1380)
        >>> few = Criterion(
        ...     name="few spots",
        ...     measurand=Measurand.MARK_COUNT,
        ...     limit=2,
        ...     unit="marks",
        ...     consequence=Consequence.CUT_OUT,
        ... )
        >>> marks_in_rolls(few, empty_marks(), web)
        ()
    """
    counted = marks.filter(on_web(whole) & counted_kinds(criterion))
    guard_m, guard_mm = max(criterion.guard_m, _GUARD_M), max(criterion.guard_mm, _GUARD_MM)
    columns = ("along_m", "length_mm", "across_mm", "width_mm")
    return tuple(
        Extent(
            along_from_m=along_m - length_mm / 2000.0 - guard_m,
            along_to_m=along_m + length_mm / 2000.0 + guard_m,
            across_from_mm=across_mm - width_mm / 2.0 - guard_mm,
            across_to_mm=across_mm + width_mm / 2.0 + guard_mm,
        )
        for along_m, length_mm, across_mm, width_mm in counted.sort("along_m", "across_mm").select(columns).iter_rows()
    )
