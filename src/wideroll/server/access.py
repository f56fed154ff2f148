"""Who asks, and what they may."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal, TypeAlias

from fastapi import Depends, HTTPException
from starlette.requests import Request

from wideroll.server.desk import desk_of

__all__ = ["ROLES", "Act", "Allow", "Person", "Reader", "person_of", "sign_off"]

Act: TypeAlias = Literal["read", "examine", "measure", "decide", "act", "complain", "administer"]
"""What somebody may do: read; enter sightings; enter readings; decide and cut; take and close action cards; work on
complaints; change people and the plant."""

ROLES: Final[Mapping[str, frozenset[Act]]] = {
    "reader": frozenset({"read"}),
    "examiner": frozenset({"read", "examine"}),
    "technician": frozenset({"read", "measure"}),
    "control room": frozenset({"read", "act"}),
    "engineer": frozenset({"read", "examine", "measure", "decide", "act", "complain"}),
    "administrator": frozenset({"read", "administer"}),
}
_EVERY_ROLE: Final = tuple(ROLES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody at the desk; ``alone`` when nobody else has a name there, so that no login is needed."""

    name: str
    roles: tuple[str, ...]
    alone: bool = False

    def may(self, act: str) -> bool:
        """Whether one of their roles allows it."""
        return any(act in ROLES[role] for role in self.roles)


def person_of(request: Request) -> Person | None:
    """Who asks; None for somebody who hasn't said."""
    return Person(name=desk_of(request).settings.who, roles=_EVERY_ROLE, alone=True)


class Allow:
    """A dependency of a route: the person who asks, when they may do an act, or one of several."""

    def __init__(self, *acts: Act) -> None:
        """Of one act, or of any of several."""
        self.acts = acts

    def __call__(self, request: Request) -> Person:
        """The person.

        Raises:
            HTTPException: 401 when nobody has said who asks, 403 when they may not.
        """
        person = person_of(request)
        if person is None:
            raise HTTPException(401, "say who you are first")
        if not any(person.may(act) for act in self.acts):
            yours = ", ".join(person.roles) or "none"
            raise HTTPException(403, f"needs a role that may {' or '.join(self.acts)}; yours: {yours}")
        return person


Reader = Annotated[Person, Depends(Allow("read"))]
"""Somebody who may read."""


def sign_off(request: Request, person: Person, password: str) -> bool:
    """Whether somebody who puts their name to a decision is who they say; one person alone needs no password."""
    del request, password
    return person.alone
