"""What a plant, a product and a roll are, and everything gathered about one roll."""

from collections.abc import Mapping
from dataclasses import dataclass

from wideroll.errors import InputError
from wideroll.examination.grade_model import GradeFinding, GradeFit
from wideroll.examination.model import LayerPosterior, Matching, OriginFinding, Sheet, SheetLook, Sighting
from wideroll.examination.photograph import MarkPhotograph
from wideroll.release.costs_model import Costs, CostTable
from wideroll.release.model import Criterion, Decision, Evidence
from wideroll.repeats.cases_model import Cleaning
from wideroll.repeats.model import Roller, SeriesSearch, Winding
from wideroll.repeats.naming import USUAL_DAYS
from wideroll.roll import Extent, Polarity, ShopUnits
from wideroll.scan.detection import DetectionProbability
from wideroll.scan.model import ScanResult, Streak
from wideroll.sensitometry.model import Aims, FilmType, RunVerdict, Strip, StripResult
from wideroll.slitting.model import CutPlan, CutRules, SlitWidth
from wideroll.workflow.notice_model import Notice
from wideroll.workflow.processor_model import ProcessorState
from wideroll.workflow.property_model import Measurement, PropertySpec

__all__ = [
    "Assessment",
    "Batch",
    "ClassDetected",
    "Examination",
    "Examined",
    "OtherScan",
    "Plant",
    "Product",
    "RollCard",
    "Scanner",
    "StripRoom",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanner:
    """A line scanner on the coating machine."""

    name: str
    wavelength_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """The coating line: what touches the web and what looks at it."""

    name: str
    web_width_mm: float
    datum_edge: str
    rollers: tuple[Roller, ...]
    scanners: Mapping[str, Scanner]
    notices: tuple[Notice, ...] = ()
    """Where action cards go besides the screen."""
    cleanings: tuple[Cleaning, ...] = ()
    """Of its rollers, in any order."""
    usual_days: float = USUAL_DAYS
    """How long a cleaned roller usually stays so."""
    shop_units: ShopUnits = ShopUnits.METRIC
    """What the cut list is written in."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Product:
    """What a roll is meant to be, and what it must meet."""

    name: str
    film_type: FilmType
    sensitisation_nm: tuple[tuple[float, float], ...]
    """Bands of wavelength the film is sensitive to, (from, to)."""
    aims: Aims
    reference_aims: Aims
    """Aims of the reference film that runs beside the check strips."""
    process_limit_density: float
    """A reference strip further than this from its aim voids the run."""
    criteria: tuple[Criterion, ...]
    widths: tuple[SlitWidth, ...]
    cut_rules: CutRules
    grades: GradeFit | None = None
    """The scale examiners grade by, where reference samples anchor it."""
    costs: Costs | None = None
    """What scrap, a further sample and a fault that escapes cost."""
    properties: tuple[PropertySpec, ...] = ()
    """What its rolls are measured for besides what the strips say."""
    winding: Winding | None = None
    """How its rolls are wound, where prints from lap to lap are to be looked for."""

    def check_scanner(self, scanner: Scanner, *, where: str) -> None:
        """Refuse a scanner whose light would fog the film.

        Raises:
            InputError: when the wavelength lies inside a band of sensitisation.
        """
        for low, high in self.sensitisation_nm:
            if low <= scanner.wavelength_nm <= high:
                raise InputError(
                    where=where,
                    rule=f"scanner {scanner.name} must not use light the film is sensitive to ({low:g} to {high:g} nm)",
                    value=f"{scanner.wavelength_nm:g} nm",
                    mend=f"Name a scanner that {self.name} is blind to; film scanned with this one is fogged.",
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A stretch of the roll coated from one batch of emulsion."""

    name: str
    along_from_m: float
    along_to_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RollCard:
    """A wide roll as the coating machine left it."""

    name: str
    product: str
    length_m: float
    batches: tuple[Batch, ...]
    splices_m: tuple[float, ...] = ()
    coated: str = ""
    """The day, such as 2026-11-20, or the day and time; empty where it wasn't noted."""
    slit_on: str = ""
    """The day it is to be slit, such as 2026-12-02; empty where none is set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherScan:
    """What the scan of another roll by the same scanner says about the scanner."""

    roll: str
    fingerprint: str
    """Of what it was computed from."""
    streaks: tuple[Streak, ...]
    length_m: float
    columns: int
    pitch_mm: tuple[float, float]
    streak_snr: float
    """What a streak had to reach there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassDetected:
    """How likely the roll's scan finds the smallest marks that a criterion counts, at one contrast."""

    criterion: str
    size_mm: float
    contrast: float
    """Without its sign, as a fraction of the signal."""
    polarity: Polarity | None
    """None: dark and bright marks are found alike; else the one that is found less likely."""
    probability: DetectionProbability
    fits: bool
    """Whether the curve describes the marks that were laid; else look at the classes themselves."""
    source: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripRoom:
    """The strips of a roll, judged: by process run, then one by one."""

    strips: tuple[Strip, ...] = ()
    runs: tuple[RunVerdict, ...] = ()
    results: tuple[StripResult, ...] = ()
    processors: tuple[ProcessorState, ...] = ()
    """Of each run whose processor is known, as it was at that run."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Examined:
    """One sighting with what it says about layer and origin."""

    sighting: Sighting
    layer: LayerPosterior
    origin: OriginFinding
    seen: tuple[Sighting, ...] = ()
    """As it was said in each look that saw it, the first one first; empty where that is ``sighting`` alone."""
    differs: str = ""
    """Empty, or in what these looks differ."""
    photograph: MarkPhotograph | None = None
    """What its photograph tells, where there is one."""
    grade: GradeFinding | None = None
    """Its grade beside what was measured, where the product has a scale."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Examination:
    """The sheets of a roll, the things seen on them in all looks, each once, and how that agrees with the scan."""

    sheets: tuple[Sheet, ...] = ()
    examined: tuple[Examined, ...] = ()
    matching: Matching | None = None
    looks: tuple[SheetLook, ...] = ()
    """Further looks at the sheets."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Assessment:
    """Everything about one roll, from evidence to cut list: what the sheet shows."""

    plant: Plant
    product: Product
    card: RollCard
    whole: Extent
    scan: ScanResult | None
    strip_room: StripRoom
    examination: Examination
    repeats: SeriesSearch
    evidence: Evidence
    decision: Decision
    plan: CutPlan | None
    version: str
    detected: tuple[ClassDetected, ...] = ()
    """Evidence beside the decision; empty where the probability of detection was not measured."""
    costs: CostTable | None = None
    """What each choice is expected to cost, where the product says what things cost; no verdict depends on it."""
    measurements: tuple[Measurement, ...] = ()
    """Of its properties, place by place; what they come to is in the evidence."""
