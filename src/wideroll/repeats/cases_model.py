"""A roller suspected in roll after roll, and when it was cleaned."""

from dataclasses import dataclass
from enum import StrEnum

from wideroll.errors import ArgumentError
from wideroll.repeats.model import Candidate, Series
from wideroll.repeats.traces import Sign

__all__ = ["Case", "CaseState", "Cleaning", "SuspectRoll", "Suspicion", "When"]


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """A day, or a moment of it, as days counted from anywhere.

    Raises:
        ArgumentError: when it ends before it starts.
    """

    text: str
    """As it was written."""
    earliest: float
    latest: float
    """Of a whole day one more than the earliest, of a moment the same."""

    def __post_init__(self) -> None:
        """Refuse a time that runs backwards."""
        if not self.earliest <= self.latest:
            raise ArgumentError(
                where="when", rule="can't end before it starts", value=self.text, mend="Change the two ends."
            )

    def before(self, other: "When") -> bool:
        """Whether it surely came first; of two things on one day, without a time, neither did.

        Example:
            >>> monday = When(text="2026-11-16", earliest=0.0, latest=1.0)
            >>> noon = When(text="2026-11-16T12:00", earliest=0.5, latest=0.5)
            >>> tuesday = When(text="2026-11-17", earliest=1.0, latest=2.0)
            >>> monday.before(tuesday), monday.before(noon), noon.before(monday)
            (True, False, False)
        """
        return self.latest <= other.earliest and self != other


@dataclass(frozen=True, slots=True, kw_only=True)
class Cleaning:
    """A roller was cleaned."""

    roller: str
    on: When
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspicion:
    """A series of one roll, with what was said of its marks that were also seen on sheets.

    The candidates of the series are those that its spacing gives by itself; signs and cleanings are weighed once for
    the whole case.
    """

    series: Series
    signs: tuple[Sign, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SuspectRoll:
    """A roll that was searched, and what it makes suspect: perhaps nothing."""

    roll: str
    coated: When | None
    """None where it isn't known: such a roll can't be put in order with cleanings."""
    observed_m: float
    """Length of web in which marks could be seen."""
    needed_log_evidence: float
    """What a series had to reach there."""
    least_turns: int
    slip: float
    """Standard deviation of the fraction by which draw and slip change the spacing."""
    suspicions: tuple[Suspicion, ...] = ()


class CaseState(StrEnum):
    """How it stands with a case, by days and cleanings."""

    OPEN = "open"
    """Seen, and not cleaned since."""
    WATCHED = "watched"
    """Cleaned since, and too little coated without it to be sure."""
    RELAPSED = "relapsed"
    """Seen again in a roll coated after a cleaning."""
    QUIET = "quiet"
    """Cleaned since, and so much coated without it that it would have been seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One roller, or one spacing that fits none, at one place across in one or more rolls."""

    candidates: tuple[Candidate, ...]
    """By all rolls together, most probable first."""
    across_mm: float
    spacing_m: float
    """Mean of the rolls, with an interval of 95 % that holds slip."""
    spacing_low_m: float
    spacing_high_m: float
    rolls: tuple[str, ...]
    """Those that show it: in the order they were coated, those of unknown day last."""
    first: str
    """Day of the first of them that has one; empty where none has."""
    last: str
    marks: int
    log_evidence: float
    """Of its series together, against marks scattered at random."""
    print_probability: float
    """The least of the rolls that show it."""
    state: CaseState
    cleaned: str = ""
    """Last cleaning of the most probable roller, after the last roll that showed it or before its relapse."""
    rolls_since: tuple[str, ...] = ()
    """Rolls coated after that cleaning that were searched and don't show it."""
    metres_since: float = 0.0
    seen_probability: float = 0.0
    """That these would show it, did it still print as before."""
    notes: tuple[str, ...] = ()
    """What couldn't be put in order, and why."""

    @property
    def roller(self) -> str:
        """The most probable maker."""
        return self.candidates[0].roller
