"""Sample sheets and what examiners saw on them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wideroll.roll import Extent, MarkKind, Place, Side

__all__ = [
    "Agreement",
    "Capture",
    "DensityChange",
    "FilterColour",
    "Floats",
    "Layer",
    "LayerPosterior",
    "Match",
    "Matching",
    "Origin",
    "OriginFinding",
    "Section",
    "Seen",
    "SeenThing",
    "Sheet",
    "SheetLook",
    "Sighting",
]

Floats = NDArray[np.float64]


class FilterColour(StrEnum):
    """The filter held over the loupe."""

    RED = "red"
    GREEN = "green"
    BLUE = "blue"


class Seen(StrEnum):
    """How a mark looks through a filter, against its surround."""

    DARKER = "darker"
    LIGHTER = "lighter"
    SAME = "same"


class Section(StrEnum):
    """A part of the sample sheet, by the flat exposure it had; in a separation only one record is exposed."""

    HIGH_DENSITY = "high density"
    MID_DENSITY = "mid density"
    UNEXPOSED = "unexposed"
    CYAN_SEPARATION = "cyan separation"
    MAGENTA_SEPARATION = "magenta separation"
    YELLOW_SEPARATION = "yellow separation"


class Layer(StrEnum):
    """Where in the film a mark sits."""

    CYAN = "cyan record"
    MAGENTA = "magenta record"
    YELLOW = "yellow record"
    CYAN_MAGENTA = "cyan and magenta records"
    CYAN_YELLOW = "cyan and yellow records"
    MAGENTA_YELLOW = "magenta and yellow records"
    OPAQUE = "all records or opaque"
    SURFACE = "base or surface"


class Origin(StrEnum):
    """Whether a mark came with the coating or by handling the sheet afterwards."""

    WEB = "web"
    HANDLING = "handling"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sample sheet and the part of the web it was cut from."""

    name: str
    extent: Extent
    examiner: str
    """Who looked first."""
    drawn: bool = True
    """By chance; False where it was chosen because something was expected there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLook:
    """A further look at a sheet that was examined already."""

    name: str
    sheet: str
    examiner: str
    on: str = ""
    """The day, as 2026-11-20; empty where it wasn't noted."""
    blind: bool
    """Whether the examiner didn't know what had been noted before."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DensityChange:
    """Density of a mark less that of its surround, in red, green and blue (3,), with its covariance (3, 3).

    Positive where the mark is darker.
    """

    density: Floats
    covariance: Floats

    @property
    def standard_uncertainty(self) -> Floats:
        """Of each channel (3,)."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One thing an examiner saw on a sheet."""

    sheet: str
    kind: MarkKind
    place: Place
    size_mm: float
    grade: str = ""
    through: Mapping[FilterColour, Seen]
    embedded: bool | None = None
    """True under or in the emulsion, False on top, None not said."""
    wipes_off: bool | None = None
    metallic: bool = False
    note: str = ""
    shows_in: Mapping[Section, bool] = field(default_factory=dict)
    """Whether it shows in a section; sections that were not looked at are left out."""
    magnification: float | None = None
    """Of the loupe it was graded under."""
    density: DensityChange | None = None
    """Measured with a densitometer, against the surround."""
    photograph: str = ""
    """Name of the file, empty without one."""
    photograph_mm_per_pixel: float | None = None
    """Scale of the photograph, on the film."""
    entry: str = ""
    """What the line is called, so that a later one can take it back."""
    look: str = ""
    """The further look it was seen in; empty for the sheet's own first look."""
    side: Side | None = None
    """The side of the web it was said to lie on, None not said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenThing:
    """One thing on a sheet, however often it was seen."""

    sighting: Sighting
    """In the words of the first look that saw it; metallic if any look says so."""
    seen: tuple[Sighting, ...]
    """As it was said in each look that saw it, the first one first."""
    differs: str = ""
    """Empty, or in what the looks differ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerPosterior:
    """Probability of each layer (sums to 1), and whether dye is in excess (True), lacking (False) or can't be said."""

    probability: Mapping[Layer, float]
    excess: bool | None
    contradiction: str = ""
    """Empty, or which statements can't be true together."""
    conflict: float = 1.0
    """How many times less probable all the evidence is together than each piece by itself; 20 and more is said."""
    alone: Mapping[str, Mapping[Layer, float]] = field(default_factory=dict)
    """The same probabilities from each kind of evidence by itself."""
    amounts: tuple[float, ...] = ()
    """Of cyan, magenta and yellow dye, more than in the surround; empty where no densities were measured."""
    amounts_standard_uncertainty: tuple[float, ...] = ()
    """Of each amount, from that of the densities."""

    @property
    def likeliest(self) -> Layer:
        """The layer with the greatest probability."""
        return max(self.probability, key=lambda layer: self.probability[layer])


@dataclass(frozen=True, slots=True, kw_only=True)
class OriginFinding:
    """Where a sighting came from, and by which of its signs."""

    origin: Origin
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A sighting and the scanner's mark taken to be the same thing."""

    sighting: int
    mark_id: str
    distance_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Matching:
    """Sightings matched with the scan inside the sheets; ``hidden`` is the number that neither saw (Chapman)."""

    matches: tuple[Match, ...]
    only_examiner: tuple[int, ...]
    only_scanner: tuple[str, ...]
    total: float
    total_low: float
    total_high: float
    hidden: float
    handling: tuple[int, ...] = ()
    """Sightings that came by handling the sheet: in neither list, and not in the estimate."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """Capture–recapture: what two independent looks at the same sheets say about the number there is."""

    first: int
    second: int
    both: int
    total: float
    standard_error: float
    low: float
    high: float
    confidence: float

    @property
    def hidden(self) -> float:
        """Estimated number that neither saw."""
        return self.total - (self.first + self.second - self.both)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Agreement of examiners beyond chance (kappa), with its interval."""

    judged: int
    """Things that were judged."""
    kappa: float
    standard_error: float
    low: float
    high: float
    confidence: float
