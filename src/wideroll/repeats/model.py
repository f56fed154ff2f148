"""Rollers, and series of marks that return every turn."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from math import pi

import numpy as np
from numpy.typing import NDArray

from wideroll.errors import ArgumentError
from wideroll.roll import Extent, Side

__all__ = [
    "ANOTHER",
    "SEARCH_REVISION",
    "Candidate",
    "FoldTest",
    "Lap",
    "Roller",
    "Series",
    "SeriesKind",
    "SeriesSearch",
    "SeriesSettings",
    "SpacingEvidence",
    "Stage",
    "Winding",
]

ANOTHER = "another, not in the table"
SEARCH_REVISION = 2
"""Counts up when the same marks give another search; older ones are then stale."""


class Stage(StrEnum):
    """Where on the line a roller stands, by what the emulsion is when it passes."""

    BEFORE = "before coating"
    WET = "coating to drying"
    DRY = "after drying"


class SeriesKind(StrEnum):
    """What returns: a turn of a roller, or a lap of the wound roll with a particle in it."""

    ROLLER = "roller"
    LAP = "lap print"


@dataclass(frozen=True, slots=True, kw_only=True)
class Roller:
    """A roller of the coating line.

    Raises:
        ArgumentError: when diameter isn't positive or tolerance is negative.
    """

    name: str
    diameter_mm: float
    tolerance_mm: float = 0.0
    side: Side | None = None
    """The side of the web it touches, None for both."""
    across_from_mm: float | None = None
    across_to_mm: float | None = None
    """Its span across the web; None reaches the edge."""
    zone: str = ""
    stage: Stage | None = None
    """None where the plant doesn't say."""

    def __post_init__(self) -> None:
        """Refuse rollers that can't turn."""
        if not self.diameter_mm > 0.0:
            raise ArgumentError(
                where=f"roller {self.name}, diameter_mm",
                rule="must be greater than 0",
                value=self.diameter_mm,
                mend="Give the diameter from the machine drawing.",
            )
        if self.tolerance_mm < 0.0:
            raise ArgumentError(
                where=f"roller {self.name}, tolerance_mm",
                rule="must not be negative",
                value=self.tolerance_mm,
                mend="Give 0 or more.",
            )

    @property
    def pitch_m(self) -> float:
        """Length of web that passes in one turn without slip: π × diameter."""
        return pi * self.diameter_mm / 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesSettings:
    """What counts as a series."""

    lane_mm: float = 6.0
    """Marks of one series lie within this of one another across."""
    jitter_mm: float = 3.0
    """Standard deviation of a mark's place along about its turn."""
    slip: float = 0.002
    """Standard deviation of the fraction by which draw and slip change the spacing."""
    false_alarm: float = 0.001
    """Greatest probability that chance alone would give a series this clear anywhere on the roll."""
    spacing_step: float = 0.0004
    """Step of trial spacings, as a fraction."""
    least_turns: int = 5
    """Fewest printed turns of a series."""
    least_spacing_m: float = 0.15
    most_spacing_m: float = 3.0
    wander: float = 0.001
    """Standard deviation of one turn's spacing about the mean, as a fraction: adds up as a random walk."""
    drift: float = 0.0003
    """Standard deviation of the mean spacing between one print and the next, as a fraction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A roller that could have made a series.

    ``slip`` is the fraction by which the spacing differs from π × diameter.
    """

    roller: str
    probability: float
    slip: float
    why: str = ""
    """Empty, or what besides the spacing spoke for or against it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """How the roll was wound when something could print from lap to lap."""

    thickness_mm: float
    """Of the web: a lap's radius differs from the next one's by it."""
    tolerance_mm: float = 0.0
    """Limits of the thickness, either way, air between the laps included."""
    least_radius_mm: float
    """Of the core."""
    most_radius_mm: float
    """Of the full roll."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lap:
    """Where in a wound roll a lap print sits."""

    radius_mm: float
    """Of the lap that holds the first member."""
    radius_low_mm: float
    radius_high_mm: float
    per_lap_mm: float
    """Change of the spacing from one lap to the next along: 2π × thickness, negative where laps grow shorter."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpacingEvidence:
    """How much more likely the marks of one lane are with a series than without, by its spacing: for a figure."""

    across_mm: float
    spacings_m: NDArray[np.float64]
    """(k,) ascending."""
    log_evidence: NDArray[np.float64]
    """(k,) natural logarithm of the likelihood ratio."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoldTest:
    """Whether the phases of folded marks are uneven."""

    statistic: float
    probability: float
    """Of a statistic as great from phases without preference, at one trial spacing."""
    harmonics: int
    """Number of harmonics the statistic holds."""
    marks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Marks at one place across that return every turn."""

    spacing_m: float
    spacing_low_m: float
    spacing_high_m: float
    phase_m: float
    """Place of turn 0, from the head."""
    across_mm: float
    extent: Extent
    members: tuple[int, ...]
    """Row numbers of the marks given to the search."""
    turns: tuple[int, ...]
    """Turn number of each member."""
    print_probability: float
    drift: float
    """Change of the spacing from first to last turn, as a fraction."""
    log_evidence: float
    """Log likelihood ratio against marks scattered at random."""
    false_alarm: float
    candidates: tuple[Candidate, ...]
    """Most probable first; probabilities with ``ANOTHER`` sum to 1. Empty for a lap print."""
    kind: SeriesKind = SeriesKind.ROLLER
    same_maker_as: int | None = None
    """Index of the clearer series of the search that the same roller left; None for a roller's clearest."""
    other_kind: float = 0.0
    """Probability that the other kind made these marks: a lap print instead of a roller, or a roller instead."""
    lap: Lap | None = None
    """Of a lap print; its ``spacing_m`` is that at the first member, its ``drift`` 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesSearch:
    """The series found, most significant first, and what was searched."""

    series: tuple[Series, ...]
    marks: int
    lanes: int
    trials: int
    length_m: float
    observed: tuple[tuple[float, float], ...]
    settings: SeriesSettings

    def __iter__(self) -> Iterator[Series]:
        """The series in order."""
        return iter(self.series)

    def __len__(self) -> int:
        """How many series were found."""
        return len(self.series)

    def __getitem__(self, index: int) -> Series:
        """The series at a rank, 0 the most significant."""
        return self.series[index]
