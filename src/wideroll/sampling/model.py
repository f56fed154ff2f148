"""What is inferred from samples, and where the next are taken."""

import math
from dataclasses import dataclass
from enum import StrEnum

from wideroll.roll import Extent, Lane

__all__ = [
    "Border",
    "ClassRate",
    "Combined",
    "Detected",
    "Dispersion",
    "Look",
    "MarkClass",
    "RateLimits",
    "RegionBasis",
    "RegionLook",
    "RegionRate",
    "SampleSheet",
    "SheetPlan",
    "SheetReason",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLimits:
    """A rate per unit of extent with its limits at a two-sided confidence (Garwood's, where nothing else is said)."""

    count: int
    extent: float
    confidence: float
    rate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Border:
    """A place along where something changes: ``what`` says what, such as "batch E-1 to E-2" or "splice"."""

    along_m: float
    what: str


class SheetReason(StrEnum):
    """Why a sheet is taken."""

    RANDOM = "drawn at random"
    BORDER = "beside a border"
    SHORT = "stretch too short to draw from"


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleSheet:
    """A sheet to take: where, and why; ``beside`` names the borders of one that isn't drawn."""

    name: str
    extent: Extent
    reason: SheetReason
    beside: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPlan:
    """The sheets to take from a web, from the head on, and the seed that they were drawn with."""

    whole: Extent
    sheets: tuple[SampleSheet, ...]
    seed: int
    columns: int
    """Strata across; 1 where each sheet is as wide as the web."""

    @property
    def area_m2(self) -> float:
        """Area of all sheets."""
        return math.fsum(sheet.extent.area_m2 for sheet in self.sheets)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkClass:
    """Marks of a kind (all kinds, where it is empty) and a size: from the first to below the second."""

    kind: str = ""
    size_from_mm: float = 0.0
    size_to_mm: float = math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassRate:
    """How often marks of a class lie on a lane, or the whole width where ``lane`` is None."""

    of: MarkClass
    lane: Lane | None
    per_m2: RateLimits
    per_m: RateLimits
    """Per metre of the lane, over its full width."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dispersion:
    """Whether counts vary more, or less, than chance alone lets them.

    ``index`` is chi-square over its degrees of freedom: near 1 for marks that fall independently, above 1 in clusters,
    below 1 when evenly spread.
    """

    samples: int
    count: int
    index: float
    chi_square: float
    p_clustered: float
    p_even: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Detected:
    """The probability that a mark that is there is found, with its two-sided interval; 1 where it is taken as sure."""

    value: float = 1.0
    low: float = 1.0
    high: float = 1.0
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Marks that one source found in an area that no other look of the same rate covers."""

    source: str
    count: int
    area_m2: float
    detected: Detected = Detected()
    parts: tuple[tuple[int, float], ...] = ()
    """Count and area of each sheet or stretch, to tell clusters by; empty where only their sums are known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """One rate from several looks.

    ``effective_m2`` is the area times the probability of detection, summed. ``p_agree`` is the probability of looks
    that differ so much when the rate is the same for all (NaN for a single one).
    """

    looks: tuple[Look, ...]
    effective_m2: float
    confidence: float
    rate: float
    low: float
    high: float
    p_agree: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionLook:
    """A part of the web and what was found in the part of it that was looked at."""

    extent: Extent
    count: int
    looked_m2: float


class RegionBasis(StrEnum):
    """What a region's rate rests on."""

    LOOKED_AT = "looked at"
    OTHERS = "inferred from other regions"
    NOTHING = "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionRate:
    """The rate in a region, per m²; ``looked_share`` is the share of its area that was looked at."""

    extent: Extent
    count: int
    looked_m2: float
    looked_share: float
    rate: float
    low: float
    high: float
    confidence: float
    basis: RegionBasis
