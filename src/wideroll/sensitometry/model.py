"""What is exposed, read and computed in the strip room."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Place

__all__ = [
    "SHAPE_SPREAD",
    "AimOverlay",
    "Aims",
    "Construction",
    "Curve",
    "CurveFit",
    "Deviation",
    "DeviationCurve",
    "Dye",
    "DyeShift",
    "FilmDyes",
    "FilmType",
    "Floats",
    "IsoSpeed",
    "Measure",
    "Record",
    "RecordPair",
    "RunVerdict",
    "ShiftKind",
    "Strip",
    "StripKind",
    "StripResult",
]

Floats: TypeAlias = NDArray[np.float64]

SHAPE_SPREAD: Final = (0.05, 0.20)
"""Relative standard deviations of rise and of skew between batches of one product, supposed until its history gives
better ones: the coated weight, to which the rise is proportional, is held to a few per cent (common practice)."""


class FilmType(StrEnum):
    """Whether density rises or falls with exposure, and how its speed is defined."""

    COLOUR_NEGATIVE = "colour negative"
    COLOUR_REVERSAL = "colour reversal"
    MOTION_PICTURE_NEGATIVE = "motion-picture negative"
    BLACK_AND_WHITE = "black-and-white"


class Record(StrEnum):
    """The densitometer channel; red reads the cyan dye, green the magenta, blue the yellow."""

    RED = "red"
    GREEN = "green"
    BLUE = "blue"
    VISUAL = "visual"


class Dye(StrEnum):
    """The dye that a colour film's record forms."""

    CYAN = "cyan"
    MAGENTA = "magenta"
    YELLOW = "yellow"

    @property
    def record(self) -> Record:
        """The record that forms it, which is also the densitometer channel that reads it best."""
        return {Dye.CYAN: Record.RED, Dye.MAGENTA: Record.GREEN, Dye.YELLOW: Record.BLUE}[self]


class StripKind(StrEnum):
    """A check strip comes from the roll; a reference strip is film with known aims that ran beside it."""

    CHECK = "check"
    REFERENCE = "reference"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """One strip's readings.

    ``log_h`` (n,) is log10 of exposure in lx·s, ascending; each record's densities have the same length, NaN where a
    step wasn't read.
    """

    name: str
    kind: StripKind
    run: str
    log_h: Floats
    density: Mapping[Record, Floats]
    place: Place | None = None
    shared_covariance: Mapping[Record, Floats] = field(default_factory=dict)
    """Covariance (n, n) of errors that steps share: of the densitometer's calibration, of a process correction."""
    log_h_sd: float = 0.0
    """Standard uncertainty of the level of log H, the same for all steps: of the sensitometer's calibration."""
    read_by: str = ""
    """Densitometer and the day of its calibration: strips with the same share that calibration's error."""
    why_unusable: str = ""
    """Why its readings can't be evidence, known before any curve is fitted; empty when they can."""
    note: str = ""
    """What else is to be known of its readings, such as how many lay over the densitometer's range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Construction:
    """Points and lines in (log H, D) by which a measure was constructed, for the figure."""

    points: tuple[tuple[float, float], ...] = ()
    lines: tuple[tuple[tuple[float, float], tuple[float, float]], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A number read off a curve, with its interval. An extrapolated one can't pass a criterion."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    record: Record | None = None
    extrapolated: bool = False
    note: str = ""
    construction: Construction = field(default_factory=Construction)
    standard_uncertainty: float = math.nan
    """Of the value, in its unit; NaN where only the interval is known."""
    degrees_of_freedom: float = math.inf
    """Of Student's t that goes with the standard uncertainty."""
    run_uncertainty: float = 0.0
    """The part of the standard uncertainty that all strips of a process run share, with one sign."""
    batch_uncertainty: float = 0.0
    """The part that all strips of a batch share: more strips don't average it out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """A table of densities (n,) at ascending log H (n,): an aim, or a curve as drawn."""

    log_h: Floats
    density: Floats

    def at(self, log_h: Floats) -> Floats:
        """Density at log H by linear interpolation; NaN outside the table."""
        return np.interp(log_h, self.log_h, self.density, left=np.nan, right=np.nan)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CurveFit:
    """A generalised logistic (Richards) curve fitted to one record.

    D(x) = low + rise / (1 + q·exp(−k·(x − place)))^(1/q), x = log H. ``parameters`` is (low, rise, place, k, q) and
    ``covariance`` (5, 5) is theirs; a parameter that was held fixed has zero variance. The slope is greatest at
    ``place``; k is negative for reversal film.
    """

    parameters: Floats
    covariance: Floats
    log_h: Floats
    density: Floats
    used: NDArray[np.bool_]
    """Which readings the fit used; the others were missing, clipped or faulty."""
    residual_sd: float
    degrees_of_freedom: int
    faulty_steps: tuple[int, ...] = ()
    """Positions in ``log_h`` of readings set aside because they lie off the curve all others agree on."""
    log_h_sd: float = 0.0
    """Standard uncertainty of the level of log H that the covariance holds; all records of a strip share it."""
    run_covariance: Floats | None = None
    """Part (5, 5) of the covariance that strips of a process run share: of its correction, and of calibrations."""
    batch_covariance: Floats | None = None
    """Part (5, 5) that strips of a batch share: of ties to the aim's shape, which one batch departs from as a whole."""

    @property
    def log_h_range(self) -> tuple[float, float]:
        """First and last log H that was used."""
        return _range_of(self)


@lru_cache(maxsize=64)
def _range_of(fit: CurveFit) -> tuple[float, float]:
    # a dozen measures of a fit ask for it in turn
    x = fit.log_h[fit.used]
    return float(x[0]), float(x[-1])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AimOverlay:
    """The aim's curve laid over a strip's readings: lifted, moved and stretched along log H, its shape nearly kept."""

    fit: CurveFit
    """With rise and q tied to the aim's. It has no meaning when the shape differs."""
    p_value: float
    """How probable readings at least as unlike the aim's shape are when the film has it."""
    same_shape: bool
    """Whether the readings let the aim's shape stand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IsoSpeed:
    """A film's speed by its ISO standard, or why it has none.

    ``measure`` is the arithmetic speed with its interval, ``degrees`` the logarithmic one; the classes are the values
    of the standard's scale they round to, None beyond the scale.
    """

    film_type: FilmType
    measure: Measure | None
    degrees: float | None
    class_arithmetic: int | None
    class_degrees: int | None
    note: str = ""

    def __str__(self) -> str:
        """As it is printed on a box, such as ``ISO 100/21°``; the reason when there is no speed."""
        if self.class_arithmetic is None:
            return self.note
        return f"ISO {self.class_arithmetic}/{self.class_degrees}°"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilmDyes:
    """What a unit of each of a film's dyes reads.

    ``matrix`` (3, 3) has columns with the red, green and blue density of a unit of cyan, magenta and yellow;
    ``standard_uncertainty`` (3, 3) are those of its entries, None when it is taken as known.
    """

    matrix: Floats
    standard_uncertainty: Floats | None = None


class ShiftKind(StrEnum):
    """What a deviation in dye amounts looks like."""

    NONE_SHOWN = "none shown"
    PROCESS_WIDE = "process-wide"
    ONE_RECORD = "one record"
    PROCESS_AND_RECORD = "process-wide and one record"
    NOT_SETTLED = "not settled"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DyeShift:
    """What a strip's deviations (n, 3) in dye amounts look like, and by which tests.

    ``p_values`` has one probability for each explanation: ``none``; ``process-wide``; ``cyan``, ``magenta``, ``yellow``
    for one record alone; and ``process-wide and cyan`` and so on. A small one speaks against its explanation.
    ``common`` and ``specific`` (n,) are the process-wide and the record's own part at each level under the explanation
    named, NaN where it has no such part; their standard uncertainties stand beside them.
    """

    kind: ShiftKind
    dye: Dye | None
    """The dye of the record named, when one is."""
    p_values: Mapping[str, float]
    level: float
    common: Floats
    common_sd: Floats
    specific: Floats
    specific_sd: Floats
    words: str
    log_h: Floats = field(default_factory=lambda: np.empty(0))
    """Exposure levels (n,), where they are those of a strip."""
    amounts: Floats = field(default_factory=lambda: np.empty((0, 3)))
    """The deviations (n, 3) of cyan, magenta and yellow that were judged."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aims:
    """What a product should be: an aim curve for each record, and how far a strip may lie from it (density)."""

    film_type: FilmType
    curves: Mapping[Record, Curve]
    tolerance_density: float
    shape_spread: tuple[float, float] = SHAPE_SPREAD
    """Relative standard deviations of rise and of skew between batches of the product."""
    densities_at_log_h: tuple[float, ...] = ()
    """Log H at which densities are read off and stated."""
    dyes: FilmDyes | None = None
    """With them, deviations are told in amounts of dye too: is it one record, or the process?"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeviationCurve:
    """How far a curve lies from its aim along the useful range; each (m,), halves those of pointwise intervals."""

    log_h: Floats
    density: Floats
    """Check minus aim at the same log H."""
    density_half: Floats
    shift_log_h: Floats
    """Check minus aim at the same density: positive is slower. NaN where the check never has the aim's density."""
    shift_half: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """Check minus aim for one record.

    Shift of speed (log H; positive is slower), of contrast (ratio minus 1), of minimum density, and the largest density
    deviation over the useful range. The first three say in their notes when the strip's shape differs from the aim's.
    """

    record: Record
    speed_log_h: Measure
    contrast: Measure
    dmin_density: Measure
    worst_density: Measure
    curve: DeviationCurve | None = field(default=None, compare=False)
    """None where the readings cover nothing of the aim's useful range."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecordPair:
    """Two records of a strip against one another, and against the aim's two where there is an aim.

    Without an aim they are held against two curves a constant distance apart. All is stated as first minus second.
    """

    first: Record
    second: Record
    spacing: Measure
    """Distance of the speed points in log H."""
    spacing_off: Measure
    """The same less the aim's."""
    slope_ratio: Measure
    """Ratio of the average gradients, over the aim's ratio."""
    shift: Measure
    """How far the first record would have to be moved towards less log H, against the second, to lie best as the aim
    has it; positive: the first is slower."""
    spread: Measure
    """Greatest less least of the difference of the densities less the aim's difference, over the useful range."""
    crossover: Measure
    """Log H at which that difference passes through nought, and colours lean the other way; NaN where none is shown."""
    log_h: Floats
    """Places (m,) of the two next."""
    off: Floats
    """Difference of the densities less the aim's difference (m,)."""
    off_half: Floats
    """Half the width of its pointwise interval (m,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunVerdict:
    """Whether a process run can be believed, judged by the reference strips in it."""

    run: str
    usable: bool
    why: str
    reference_strips: tuple[str, ...]
    void_strips: tuple[str, ...]
    """Check strips to repeat when the run is void."""
    shift_density: Mapping[Record, Curve]
    """Reference minus its aims against log H: what the process added, to be taken off the check strips."""
    shift_covariance: Mapping[Record, Floats] = field(default_factory=dict)
    """Covariance (m, m) of each record's shift at the (m,) log H of its curve, of the readings' own noise."""
    calibration_covariance: Mapping[Record, Floats] = field(default_factory=dict)
    """The same of the calibration by which the reference strips were read."""
    read_by: frozenset[str] = frozenset()
    """Densitometers and calibrations that read the reference strips."""
    dye_shift: DyeShift | None = field(default=None, compare=False)
    """Of the reference strips' mean; None without dyes or a reference strip that can be read."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripResult:
    """One strip, fitted, measured and compared with the aims."""

    strip: Strip
    fits: Mapping[Record, CurveFit]
    measures: tuple[Measure, ...]
    deviations: tuple[Deviation, ...]
    usable: bool
    why: str
    """Empty, or why the strip can't be used as evidence."""
    speed: IsoSpeed | None = None
    """By the standard of its film type; None where the type isn't known."""
    pairs: tuple[RecordPair, ...] = ()
    """Its colour records against one another."""
    dye_shift: DyeShift | None = None
    """Check minus aim in amounts of dye: one record, or all; None without aims or dyes."""
