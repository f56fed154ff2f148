"""Events that are chained so that none can be changed unseen."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

__all__ = ["GENESIS", "ChainReport", "Event", "Json"]

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


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainReport:
    """Whether a chain holds, and if not which event fails first and by which rule."""

    events: int
    intact: bool
    first_bad: int | None = None
    why: str = ""
