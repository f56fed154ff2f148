"""What the API answers, field by field.

A route that names its document, such as ``wideroll/cards/1``, is told by that name; the others stand here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from wideroll.server.programs.mark_answers import Marks, OneMark, Segment, Segments, StepMark
from wideroll.server.programs.people_answers import Log, OnePerson, People, Tokens
from wideroll.server.programs.plant_answers import Plant, Product, Products

__all__ = ["ANSWERS", "Wrong"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongPart:
    """What is wrong."""

    status: int
    where: str
    rule: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """The one shape of an error: where it is, the rule that is broken, and how to mend it."""

    error: WrongPart


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """How a roll stands."""

    roll: str
    product: str
    coated: str
    age_days: float | None
    state: Literal["waiting", "changed", "hold", "reject", "cut out", "release", "unknown"]
    verdict: str
    why: str
    missing: list[str]
    waits_for: list[str]
    holder: str
    sheet: str | None
    touched: int
    trouble: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rolls:
    """The rolls."""

    rolls: list[Roll]


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A decision; its further fields are those of ``wideroll decide --json``."""

    roll: str
    verdict: Literal["release", "cut out", "hold", "reject"]
    why: str
    inputs: dict[str, str]
    fingerprint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A page: each block has ``heading``, ``text``, ``caution``, or ``key`` with ``table`` or ``figure``."""

    roll: str
    page: str
    blocks: list[dict[str, Any]] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What would be sealed; ``found`` is null until it is known."""

    roll: str
    state: Literal["not asked", "waiting", "running", "done", "failed"]
    done: int
    total: int
    found: dict[str, Any] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """A description as OpenAPI has it."""

    openapi: str
    info: dict[str, Any]
    paths: dict[str, Any]
    components: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """Each look at each sheet, as a table."""

    schema: Literal["wideroll/examination/1"]
    roll: str
    looks: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sightings:
    """What was noted and sent, and how alike examiners see, as tables."""

    schema: Literal["wideroll/sightings/1"]
    roll: str
    sightings: dict[str, Any]
    agreement: list[dict[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What an examiner entered and didn't send."""

    schema: Literal["wideroll/draft/1"]
    roll: str
    examiner: str
    shown_utc: str
    sheets: list[dict[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """A proof of the record, and how far it is."""

    schema: Literal["wideroll/record-proof/1"]
    state: str
    done: int
    total: int
    proof: dict[str, Any] | None


ANSWERS: Final[Mapping[tuple[str, str], Any]] = {
    ("get", "/api/openapi.json"): Description,
    ("get", "/api/rolls"): Rolls,
    ("get", "/api/rolls/{roll}"): Decision,
    ("get", "/api/rolls/{roll}/standing"): Roll,
    ("get", "/api/rolls/{roll}/shown/{page_name}"): Shown,
    ("get", "/api/rolls/{roll}/decide"): Summary,
    ("get", "/api/rolls/{roll}/segments"): Segments,
    ("get", "/api/rolls/{roll}/segments/{number}"): Segment,
    ("get", "/api/rolls/{roll}/marks"): Marks,
    ("get", "/api/rolls/{roll}/marks/next"): StepMark,
    ("get", "/api/rolls/{roll}/marks/{mark}"): OneMark,
    ("get", "/api/rolls/{roll}/examination"): Looks,
    ("get", "/api/rolls/{roll}/examination/sightings"): Sightings,
    ("get", "/api/rolls/{roll}/examination/draft"): Draft,
    ("get", "/api/plant"): Plant,
    ("get", "/api/products"): Products,
    ("get", "/api/products/{product}"): Product,
    ("get", "/api/record/verify"): Proof,
    ("post", "/api/record/verify"): Proof,
    ("get", "/api/people"): People,
    ("get", "/api/people/{name}"): OnePerson,
    ("get", "/api/people/tokens"): Tokens,
    ("get", "/api/people/log"): Log,
}
"""By method and path."""
