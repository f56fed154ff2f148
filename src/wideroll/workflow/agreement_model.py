"""How examiners agree with one another, with themselves and with the scanner: what goes in, and what comes out."""

from collections.abc import Mapping
from dataclasses import dataclass

from wideroll.examination import (
    Agreement,
    Capture,
    Reliability,
    Sheet,
    SheetLook,
    Sighting,
    StratifiedCapture,
    WrongShare,
)
from wideroll.scan import ScanResult
from wideroll.workflow.hit_miss import SizeCurve

__all__ = ["ExaminerAnswers", "HitMiss", "Judged", "PairAgreement", "PlantAgreement", "RollSeen", "ScannerAgreement"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollSeen:
    """What was seen on one roll."""

    roll: str
    sheets: tuple[Sheet, ...]
    looks: tuple[SheetLook, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    scan: ScanResult | None = None
    scale: tuple[str, ...] = ()
    """Grades of its product from best to worst; empty where it has no scale."""
    borders_mm: tuple[float, ...] = ()
    """Sizes from which on its product's criteria count marks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """How alike examiners judged what more than one of them saw."""

    what: str
    things: int
    alike: int | None = None
    """Things on which two agree; None for more than two examiners."""
    agreement: Agreement | None = None
    why: str = ""
    """Why there is no kappa."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairAgreement:
    """Two examiners, or one with themself, on the sheets that both looked at blind."""

    first: str
    second: str
    sheets: int
    both: int
    only_first: int
    only_second: int
    there: StratifiedCapture | None
    """None where too little was seen."""
    judged: tuple[Judged, ...]

    @property
    def repeated(self) -> bool:
        """Whether it is one examiner, first and second look."""
        return self.first == self.second


@dataclass(frozen=True, slots=True, kw_only=True)
class ScannerAgreement:
    """The scanner against all blind looks together."""

    sheets: int
    classes: tuple[Capture, ...]
    """For each size class what examiners (first) and scanner (second) saw."""
    there: StratifiedCapture | None
    """None where too little was seen."""
    plain: Capture
    """Without size classes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HitMiss:
    """What an examiner's first look saw of the marks that scanner or other examiners saw on the same sheets."""

    examiner: str
    marks: int
    seen: int
    curve: SizeCurve | None
    why: str = ""
    """Why there is no curve."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExaminerAnswers:
    """How often an examiner's answers seem to be wrong, and what follows for examiners.toml."""

    examiner: str
    shares: Mapping[str, WrongShare]
    """By kind of answer; a kind is left out where no two looks answered the same question."""
    proposed: Reliability


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantAgreement:
    """Everything that looks, sightings and scans say about how alike is seen."""

    rolls: tuple[str, ...]
    borders_mm: tuple[float, ...]
    """Between size classes."""
    sheets: int = 0
    """With two blind looks or more."""
    pairs: tuple[PairAgreement, ...] = ()
    groups: tuple[Judged, ...] = ()
    """Where three looks or more share a sheet."""
    scanner: ScannerAgreement | None = None
    hits: tuple[HitMiss, ...] = ()
    answers: tuple[ExaminerAnswers, ...] = ()
    notes: tuple[str, ...] = ()
