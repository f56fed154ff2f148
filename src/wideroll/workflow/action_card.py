"""What the control room is told while the machine still runs."""

from dataclasses import dataclass
from typing import Final, Protocol

__all__ = ["CAUTION", "ActionCard", "CardClosing", "CardSink", "CardTaking"]

CAUTION: Final = (
    "Caution: nip points and moving web. Stop and lock out before touching a roller; site procedure, local code and "
    "licensed practice rule."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ActionCard:
    """One thing on the line that marks the web, what says so, and what to do."""

    plant: str
    roll: str
    number: int
    """1 for the first of the roll."""
    at_m: float
    """Metres of web seen when it was raised."""
    first_m: float
    """Place of the first member, from the head."""
    last_m: float
    across_mm: float
    spacing_m: float
    spacing_low_m: float
    spacing_high_m: float
    marks: int
    print_probability: float
    roller: str
    """The most probable; ``another, not in the table`` where none fits."""
    probability: float
    others: tuple[tuple[str, float], ...]
    """Further candidates of at least 1 %, with the probability of each."""
    log10_evidence: float
    """Decimal logarithm of how much more likely the marks are with the series than without."""
    false_alarm: float
    """Greatest probability that any card is raised on this roll by chance alone, looks of the whole roll included."""
    zone: str = ""
    """Of the most probable roller."""
    action: str
    caution: str = CAUTION


@dataclass(frozen=True, slots=True, kw_only=True)
class CardClosing:
    """What was found behind a card and what was done; the card and its caution stay as they were raised."""

    card: int
    cause: str
    done: str
    who: str
    when_utc: str
    event: int
    """Number in the record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CardTaking:
    """Who sees to a card, and since when."""

    card: int
    who: str
    when_utc: str
    event: int
    """Number in the record."""


class CardSink(Protocol):
    """Where cards go."""

    @property
    def where(self) -> str:
        """Which notice it is, for people."""

    def send(self, card: ActionCard) -> None:
        """Deliver a card.

        Raises:
            InputError: when it can't be delivered; the card isn't lost, others have it.
        """
