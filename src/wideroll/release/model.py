"""Evidence, criteria and the decision they lead to.

Evidence comes in plain forms that any room can fill: marks (a table), flaws (rectangles with a value), readings
(numbers for a stretch), and what is missing.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

import polars as pl

from wideroll.release.looks import DetectedShare, Looked, NamedPart
from wideroll.roll import Coverage, Extent

__all__ = [
    "GRADED",
    "NEEDED",
    "SIGHTED",
    "Bound",
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
    "Region",
    "RegionVerdict",
    "Verdict",
]

NEEDED: Final = "evidence needed"
"""Criterion named in a finding about what none of the product's criteria speaks of: evidence that is missing, and kinds
of mark or flaw that were found."""


SIGHTED: Final = "sighted"
"""Before a kind of mark: what an examiner saw of it, a flaw with its size."""
GRADED: Final = "graded"
"""Before a kind of mark: its grade on the product's scale, a flaw with the grade's place from the best."""


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

    MARK_RATE = "rate of marks"
    """How often marks lie in a region, what is cut out left aside."""
    LOCAL_MARK_RATE = "rate of marks in a stretch"
    """The same in every stretch of ``window_m``; stretches above the limit are the region."""
    FLAW = "flaw"
    """Value of each flaw of the named kinds: streak contrast, repeating marks …"""
    GRADE = "grade"
    """Grade of each sighting of the named kinds on the product's scale, by its place from the best."""
    READING = "reading"
    """A number for a stretch: speed deviation, contrast, a measured property …"""
    COVERAGE = "coverage"
    """Share of the roll that the named source looked at."""
    FORBIDDEN = "forbidden"
    """Not one sighting of the named kind or sign."""
    EVIDENCE_COUNT = "evidence count"
    """Usable pieces of evidence of the named source in each batch."""
    MARK_COUNT = "marks in a finished roll"
    """Marks that a finished roll may carry; judged when the roll is cut."""


class Region(StrEnum):
    """The parts that a rate of marks is judged for, each by itself."""

    ROLL = "roll"
    BATCH = "batch"
    LANE = "lane"
    LANE_AND_BATCH = "lane and batch"


class Bound(StrEnum):
    """On which side of its aim a reading is limited."""

    BOTH = "both"
    """It lies within ``aim`` ± ``limit``."""
    MOST = "most"
    """It is at most ``limit``."""
    LEAST = "least"
    """It is at least ``limit``."""


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
    CONTRADICTED = "contradicted"
    JUDGED_WHEN_CUT = "judged-when-cut"


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """One line of a product's release criteria.

    ``limit`` is an upper limit, except for COVERAGE and EVIDENCE_COUNT where it is the least; a READING is limited as
    ``bound`` says, and a GRADE by its place on the scale ``grades``, 1 for the best. ``subject`` names the reading, or
    the source of evidence as in ``Evidence.coverage`` and ``Evidence.counts``; left empty it is the scan for rates of
    marks, and any source for FLAW, GRADE and FORBIDDEN. A rate's subject may also be several sources, joined by
    " and ": their counts are then combined. ``kinds`` limits it to kinds of mark or flaw.

    ``confidence`` is how sure a statement must be, ``risk`` the rest: the consumer's, the greatest probability that
    what is released lies beyond the limit. For rates each limit of an interval is one-sided at it; a READING is
    released, or found bad, when that has at least this probability. ``good`` is a value that ought to be released, but
    for the producer's risk; NaN where the product doesn't say.
    """

    name: str
    measurand: Measurand
    limit: float
    unit: str
    consequence: Consequence
    subject: str = ""
    kinds: tuple[str, ...] = ()
    least_size_mm: float = 0.0
    least_contrast: float = 0.0
    """Faintest contrast that counts, as a fraction; above 0 the scan's count is corrected for what it misses."""
    confidence: float = 0.95
    good: float = math.nan
    producer_risk: float = 0.05
    window_m: float = 1.0
    guard_m: float = 0.0
    guard_mm: float = 0.0
    region: Region = Region.ROLL
    lane_mm: float = 0.0
    """Width of a slit lane, where the region is one or the unit is per length."""
    aim: float = 0.0
    bound: Bound = Bound.BOTH
    grades: tuple[str, ...] = ()
    second_quality: bool = False
    """Whether what this criterion cuts out may be sold as second quality."""

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
    contradiction: str = ""
    """What is said of it that can't be true together; empty where nothing is."""


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
    mend: str = ""
    """What would give a value where there is none."""


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
    ``sampled`` is what of a source's coverage may stand for the rest, because it was drawn by chance or leaves nothing
    out; a source that isn't in it may with all its coverage. ``detected`` maps (criterion, source) to the probability
    that the source finds the faintest and smallest marks the criterion counts.
    """

    whole: Extent
    marks: pl.DataFrame
    coverage: dict[str, Coverage]
    flaws: tuple[Flaw, ...] = ()
    readings: tuple[Reading, ...] = ()
    missing: tuple[Missing, ...] = ()
    counts: dict[str, tuple[tuple[Extent, int], ...]]
    sampled: Mapping[str, Coverage] = field(default_factory=dict)
    detected: Mapping[tuple[str, str], DetectedShare] = field(default_factory=dict)
    batches: tuple[NamedPart, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One criterion's result for the roll or one stretch of it.

    ``margin`` is limit minus found in the unit of the limit (found minus limit where the limit is a least), so positive
    is good; a READING keeps its sign in ``found``, its margin is how far it lies inside its limit. ``found``, ``low``,
    ``high`` and ``margin`` are NaN where nothing was measured; ``low`` and ``high`` where no flaw was found, because
    from which size on it would have been seen isn't known; ``limit`` and ``margin`` where no criterion sets a limit.

    ``conformance`` is the probability that a READING, rate or FLAW with an interval lies within its limits.
    ``acceptance_limit`` is the value farthest out that would be released with this much evidence: for a READING the
    limit less its guard band, as a distance from the aim; for a rate the greatest rate that could be found and still
    be released; NaN where none would. ``consumer_risk`` is the probability to release with this much evidence what
    truly lies at its limit, ``producer_risk`` that of not releasing what is truly as good as ``Criterion.good``. All
    are NaN where they have no meaning or aren't known. ``looks`` are the counts behind a rate.
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
    consumer_risk: float = math.nan
    producer_risk: float = math.nan
    looks: tuple[Looked, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionVerdict:
    """A part of the roll that isn't released, and the findings (by number) that say so."""

    extent: Extent
    verdict: Verdict
    findings: tuple[int, ...]
    why: str
    second_quality: bool = False
    """Whether a part that is cut out may be sold as second quality: all criteria behind it allow that."""


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
