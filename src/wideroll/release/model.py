"""Evidence, criteria and the decision they lead to.

Evidence comes in plain forms that any room can fill: marks (a table), flaws (rectangles with a value), readings
(numbers for a stretch), and what is missing.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import polars as pl

from wideroll.roll import Coverage, Extent

__all__ = [
    "NEEDED",
    "Consequence",
    "Criterion",
    "Decision",
    "Evidence",
    "Finding",
    "Flaw",
    "Measurand",
    "Missing",
    "Reading",
    "Reason",
    "RegionVerdict",
    "Verdict",
]

NEEDED: Final = "evidence needed"
"""Criterion named in a finding about what none of the product's criteria speaks of: evidence that is missing, and kinds
of mark or flaw that were found."""


class Verdict(StrEnum):
    """What may be done with a part of the roll, from best to worst."""

    RELEASE = "release"
    HOLD = "hold"
    CUT_OUT = "cut out"
    REJECT = "reject"


class Consequence(StrEnum):
    """What follows when a criterion isn't met."""

    HOLD = "hold"
    CUT_OUT = "cut out"
    REJECT = "reject"


class Measurand(StrEnum):
    """What a criterion is about."""

    MARKS_PER_M2 = "marks per m²"
    """Rate of marks over the whole roll, what is cut out left aside."""
    MARKS_PER_M2_LOCAL = "marks per m² in a stretch"
    """The same in every stretch of ``window_m``; stretches above the limit are the region."""
    FLAW = "flaw"
    """Value of each flaw of the named kinds: streak contrast, repeating marks …"""
    READING = "reading"
    """A number for a stretch: speed deviation, contrast, minimum density …"""
    COVERAGE = "coverage"
    """Share of the roll that the named source looked at."""
    FORBIDDEN = "forbidden"
    """Not one sighting of the named kind or sign."""
    EVIDENCE_COUNT = "evidence count"
    """Usable pieces of evidence of the named source in each batch."""


class Reason(StrEnum):
    """Why a finding has its verdict; each has its entry in docs/reference/reasons.md."""

    WITHIN_LIMIT = "within-limit"
    ABOVE_LIMIT = "above-limit"
    NOT_PROVEN = "not-proven"
    NONE_FOUND = "none-found"
    FORBIDDEN_FOUND = "forbidden-found"
    NOT_LOOKED_AT = "not-looked-at"
    NOT_JUDGED = "not-judged"
    EVIDENCE_MISSING = "evidence-missing"
    EVIDENCE_VOID = "evidence-void"
    EXTRAPOLATED = "extrapolated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One line of a product's release criteria.

    ``limit`` is an upper limit, except for COVERAGE and EVIDENCE_COUNT where it is the least; READING takes it as the
    greatest absolute value. ``subject`` names the reading, or the source of evidence as in ``Evidence.coverage`` and
    ``Evidence.counts``; left empty it is the scan for rates of marks, and any source for FLAW and FORBIDDEN. ``kinds``
    limits it to kinds of mark or flaw. ``confidence`` is how sure a statement must be, ``risk`` the rest: the greatest
    probability that what is released lies beyond the limit. For rates each limit of an interval is one-sided at it; a
    READING is released, or found bad, when that has at least this probability.
    """

    name: str
    measurand: Measurand
    limit: float
    unit: str
    consequence: Consequence
    subject: str = ""
    kinds: tuple[str, ...] = ()
    least_size_mm: float = 0.0
    confidence: float = 0.95
    window_m: float = 1.0
    guard_m: float = 0.0
    guard_mm: float = 0.0

    @property
    def risk(self) -> float:
        """Greatest probability that what this criterion releases lies beyond its limit."""
        return 1.0 - self.confidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Flaw:
    """A fault with a place and a size in ``unit``, from ``source``."""

    kind: str
    extent: Extent
    value: float
    low: float
    high: float
    unit: str
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A number measured for a stretch of the roll, with its 95 % interval and source.

    ``value`` is NaN where the evidence for the stretch lacks this number; ``source`` then says what lacks it.
    """

    subject: str
    extent: Extent
    value: float
    low: float
    high: float
    unit: str
    source: str
    extrapolated: bool = False
    standard_uncertainty: float = math.nan
    """Of the value, in its unit; NaN where only the interval is known."""
    degrees_of_freedom: float = math.inf
    """Of Student's t that goes with the standard uncertainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """Evidence that is needed and isn't there or can't be used: what, for which part, why, and what would mend it.

    ``cause`` is the why in a few words, such as "process run P-313 is void", for the roll's one sentence.
    """

    subject: str
    extent: Extent
    void: bool
    why: str
    mend: str
    cause: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """Everything known about a roll.

    ``coverage`` maps a source to what it looked at; ``counts`` a source to (stretch, usable pieces of evidence in it).
    """

    whole: Extent
    marks: pl.DataFrame
    coverage: dict[str, Coverage]
    flaws: tuple[Flaw, ...] = ()
    readings: tuple[Reading, ...] = ()
    missing: tuple[Missing, ...] = ()
    counts: dict[str, tuple[tuple[Extent, int], ...]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One criterion's result for the roll or one stretch of it.

    ``margin`` is limit minus found in the unit of the limit (found minus limit where the limit is a least), so positive
    is good; a READING keeps its sign in ``found``, its margin is limit minus |found|. ``found``, ``low``, ``high`` and
    ``margin`` are NaN where nothing was measured; ``low`` and ``high`` where no flaw was found, because from which size
    on it would have been seen isn't known; ``limit`` and ``margin`` where no criterion sets a limit.

    ``conformance`` is the probability that a READING lies within its limits. ``acceptance_limit`` is the greatest
    absolute value that would be released with the reading's uncertainty, limit minus guard band; NaN where none would.
    Both are NaN for all other findings, and for a reading that is extrapolated or absent.
    """

    criterion: str
    extent: Extent
    limit: float
    found: float
    low: float
    high: float
    margin: float
    unit: str
    verdict: Verdict
    reason: Reason
    why: str
    source: str
    conformance: float = math.nan
    acceptance_limit: float = math.nan


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionVerdict:
    """A part of the roll that isn't released, and the findings (by number) that say so."""

    extent: Extent
    verdict: Verdict
    findings: tuple[int, ...]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Decision:
    """The verdict on a roll: what no region names is released, as far as it was looked at.

    ``released_share`` is the share of the roll's area that no region names and that the scan looked at (any source,
    where there is no scan).
    """

    verdict: Verdict
    why: str
    findings: tuple[Finding, ...]
    regions: tuple[RegionVerdict, ...]
    missing: tuple[Missing, ...]
    coverage: dict[str, Coverage]
    released_share: float
    criteria: tuple[Criterion, ...]
