"""Events that are chained so that none can be changed unseen, and what was found when the chain was walked."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

__all__ = ["GENESIS", "ChainReport", "Checkpoint", "Event", "Json", "RecordReport", "Written"]

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"

GENESIS = "0" * 64
"""What the first event names as the hash before it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One act.

    ``digest`` is SHA-256 over the canonical JSON of everything else, ``previous`` the digest of the event before.
    """

    number: int
    act: str
    who: str
    when_utc: str
    version: str
    body: Mapping[str, Json]
    previous: str
    digest: str


class Written(NamedTuple):
    """An event as it is kept: ``body`` is its canonical JSON, so that it can be hashed without being read."""

    number: int
    act: str
    who: str
    when_utc: str
    version: str
    body: str
    previous: str
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """A person's signature under a record: so many events, of which the last has this digest.

    ``key`` is the public key (Ed25519, 64 hexadecimal digits), ``signature`` 128 of them. ``says`` is what the person
    signs to in words; ``event`` one event that the person signs off, or None for the record as a whole.
    """

    events: int
    head: str
    who: str
    when_utc: str
    version: str
    says: str
    event: int | None
    key: str
    signature: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainReport:
    """Whether a chain holds, and if not which event fails first and by which rule.

    ``head`` is the digest of the last event that holds.
    """

    events: int
    intact: bool
    first_bad: int | None = None
    why: str = ""
    head: str = GENESIS


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordReport:
    """Whether a record holds, chain and signatures, and if not which event fails first and by which rule.

    ``checkpoints`` are the good ones that stand in the record; ``signed`` counts the events from the first that those
    with a key that is trusted cover.
    """

    events: int
    intact: bool
    first_bad: int | None = None
    why: str = ""
    head: str = GENESIS
    checkpoints: tuple[Checkpoint, ...] = ()
    signed: int = 0
