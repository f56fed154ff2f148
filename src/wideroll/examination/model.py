"""Sample sheets and what examiners saw on them."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from wideroll.roll import Extent, MarkKind, Place

__all__ = [
    "Agreement",
    "Capture",
    "FilterColour",
    "Layer",
    "LayerPosterior",
    "Match",
    "Matching",
    "Origin",
    "OriginFinding",
    "Seen",
    "Sheet",
    "Sighting",
]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerPosterior:
    """Probability of each layer (sums to 1), and whether dye is in excess (True), lacking (False) or can't be said."""

    probability: Mapping[Layer, float]
    excess: bool | None
    contradiction: str = ""
    """Empty, or which statements can't be true together."""

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
    """Agreement of two examiners beyond chance (kappa), with its large-sample interval."""

    judged: int
    kappa: float
    standard_error: float
    low: float
    high: float
    confidence: float
