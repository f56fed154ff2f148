"""A complaint about a finished roll as a case: what was seen, looked at and found, step by step."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from wideroll.record import Json

__all__ = [
    "COMPLAINT",
    "RECALL",
    "Complaint",
    "ComplaintState",
    "ComplaintStep",
    "Finding",
    "LookedAt",
    "Photo",
    "RecallList",
    "Sample",
    "Step",
    "Touched",
    "case_name",
]

COMPLAINT: Final = "complaint"
"""Act of the events that complaints are made of."""
RECALL: Final = "recall"
"""Act of the events that say a recall list was written."""


class Step(StrEnum):
    """What is done with a complaint; a case begins with ``opened``."""

    OPENED = "opened"
    SEEN = "seen"
    """More was said of it, shown, or measured by the customer."""
    ASKED = "asked"
    """Retained samples were asked for."""
    LOOKED = "looked"
    """A retained sample was looked at, or isn't there any more."""
    FOUND = "found"
    CLOSED = "closed"
    REOPENED = "reopened"


class Finding(StrEnum):
    """Whose the fault is."""

    OURS = "ours"
    HANDLING = "handling"
    """After it left us: storage, transport, loading."""
    CAMERA = "camera"
    LAB = "lab"
    UNKNOWN = "unknown"
    """What there is was looked at, and it doesn't tell."""


class LookedAt(StrEnum):
    """What a finding rests on."""

    TRACE = "trace"
    PHOTOGRAPH = "photograph"
    SAMPLE = "sample"


class ComplaintState(StrEnum):
    """How a case stands."""

    OPEN = "open"
    WAITING = "waiting for samples"
    FOUND = "found"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """A stretch of coated web that the complaint may come from, in metres from the wide roll's head.

    ``batches`` are those that the roll's card names there.
    """

    roll: str
    batches: tuple[str, ...]
    along_from_m: float
    along_to_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A photograph that was kept: the name it came with, where it lies in the plant, and its SHA-256."""

    name: str
    file: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """A retained sample, and what was seen on it.

    ``waited_for`` while nobody has looked since it was asked for; ``there`` is None until somebody looks.
    """

    name: str
    waited_for: bool
    there: bool | None = None
    saw: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintStep:
    """One event of a case: its number in the record, and what was said, in words."""

    number: int
    step: str
    who: str
    when_utc: str
    digest: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecallList:
    """A recall list that was written: the event that says so, who wrote it, and the rolls on it."""

    number: int
    who: str
    when_utc: str
    rolls: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """A case as it stands after its last step.

    ``at`` is where on the finished roll, in the customer's words, or empty for the roll as a whole; ``trace`` is the
    document of the last trace, empty where it couldn't be traced. ``finding``, ``why`` and ``looked_at`` are those that
    stand: reopening the case takes them back.
    """

    number: int
    finished: str
    at: str
    reference: str
    saw: tuple[str, ...]
    photos: tuple[Photo, ...]
    samples: tuple[Sample, ...]
    trace: Mapping[str, Json]
    touched: tuple[Touched, ...]
    finding: Finding | None
    why: str
    looked_at: tuple[LookedAt, ...]
    outcome: str
    closed: bool
    steps: tuple[ComplaintStep, ...]
    recalls: tuple[RecallList, ...]

    @property
    def name(self) -> str:
        """As people write it, such as C-0003."""
        return case_name(self.number)

    @property
    def state(self) -> ComplaintState:
        """How the case stands."""
        if self.closed:
            return ComplaintState.CLOSED
        if self.finding is not None:
            return ComplaintState.FOUND
        waiting = any(sample.waited_for for sample in self.samples)
        return ComplaintState.WAITING if waiting else ComplaintState.OPEN

    @property
    def rolls(self) -> tuple[str, ...]:
        """Wide rolls it touches."""
        return tuple(dict.fromkeys(one.roll for one in self.touched))

    @property
    def batches(self) -> tuple[str, ...]:
        """Batches it touches."""
        return tuple(dict.fromkeys(batch for one in self.touched for batch in one.batches))


def case_name(number: int) -> str:
    """The number of a case as people write it.

    Example:
        >>> case_name(3)
        'C-0003'
    """
    return f"C-{number:04d}"
