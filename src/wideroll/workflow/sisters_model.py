"""Finished rolls that may carry the same flaw as a traced one, how likely, and where in each to look."""

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Link", "Look", "Sister", "SisterList", "Suspect", "SuspectKind"]


class Link(StrEnum):
    """What a finished roll shares with the traced film."""

    STRETCH = "stretch"
    """Coated at the same metres of the same wide roll."""
    LANE = "lane"
    """Of the same wide roll, and of the same place across."""
    SERIES = "repeat series"
    """It lies where the same roller's marks return."""
    BATCH = "batch"
    """Coated from the same batch of emulsion."""


class SuspectKind(StrEnum):
    """What the complaint may be about, by what the scan saw in the traced film."""

    SERIES = "repeating marks"
    STREAK = "streak"
    MARKS = "scattered marks"
    UNSEEN = "not seen by the scan"


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A flaw of the traced film that sisters are looked through for."""

    kind: SuspectKind
    roll: str
    """The coated roll it was seen on."""
    words: str
    mark_kind: str = ""
    polarity: str = ""
    least_mm: float = 0.0
    """Of scattered marks: those as long or wide as this count as such marks."""
    series: int = 0
    """Of repeating marks: number of the series on that roll."""
    across_mm: float = 0.0
    """Of a streak or a series."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Where on a finished roll to look: metres from its outer end, and from its two edges where that is known."""

    from_m: float
    to_m: float
    edge_mm: float | None
    other_edge_mm: float | None
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sister:
    """A finished roll that shares something with the traced film.

    ``expected`` is the expected number of such flaws in it with limits; ``risk`` = 1 − exp(−expected) that it carries
    at least one, and 1 where the scan saw one. None where nothing is known.
    """

    finished: str
    roll: str
    width: str
    quality: str
    order: str
    length_m: float
    links: tuple[Link, ...]
    seen: int
    """Such flaws that the scan saw in it."""
    expected: float | None
    expected_low: float | None
    expected_high: float | None
    risk: float | None
    risk_low: float | None
    risk_high: float | None
    look: tuple[Look, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SisterList:
    """The sisters of a traced finished roll, those most at risk first."""

    finished: str
    suspects: tuple[Suspect, ...]
    sisters: tuple[Sister, ...]
    notes: tuple[str, ...] = ()
    """What the risks leave out."""

    @property
    def at_risk(self) -> tuple[Sister, ...]:
        """Those whose risk is above 0 or unknown: the others the scan looked at and saw none in."""
        return tuple(sister for sister in self.sisters if sister.risk is None or sister.risk > 0.0)
