"""What somebody may, asked for by each route, and the password asked for again before a decision is signed."""

from typing import Annotated, Final

from fastapi import Depends, HTTPException
from starlette.requests import Request

from wideroll.errors import InputError
from wideroll.people import ROLES, Act, check_password
from wideroll.server.entrance import address_of, entrance_of
from wideroll.server.identity import Person, who_asks

__all__ = ["ROLES", "Act", "Allow", "Person", "Reader", "person_of", "sign_off"]

_SIGNED: Final = "signed by re-entered password"
_MINUTE_S: Final = 60


def person_of(request: Request) -> Person | None:
    """Who asks; None for somebody who hasn't said."""
    return who_asks(request).person


class Allow:
    """A dependency of a route: the person who asks, when they may do an act, or one of several."""

    def __init__(self, *acts: Act) -> None:
        """Of one act, or of any of several."""
        self.acts = acts

    async def __call__(self, request: Request) -> Person:
        """The person.

        Raises:
            HTTPException: 401 when nobody has said who asks, 403 when they may not.
        """
        asking = who_asks(request)
        person = asking.person
        if person is None:
            raise HTTPException(401, asking.trouble or "say who you are first")
        if not any(person.may(act) for act in self.acts):
            raise HTTPException(403, _lack(person, self.acts))
        return person


Reader = Annotated[Person, Depends(Allow("read"))]
"""Somebody who may read."""


def sign_off(request: Request, person: Person, password: str) -> str:
    """Ask for the password again, right before something is sealed.

    Args:
        request: that seals.
        person: who signs.
        password: as they typed it now; not asked for where one person is alone at this machine.

    Returns:
        How it was signed, in words for the record; empty where nothing was asked.

    Raises:
        InputError: when it isn't their password, they have none here, or they tried too often; this is logged.
    """
    if person.alone:
        return ""
    entrance = entrance_of(request)
    database = entrance.database()
    keys = ((entrance.names, person.login), (entrance.addresses, address_of(request)))
    waits_s = [tries.begin(key, entrance.clock()) for tries, key in keys]
    if max(waits_s) > 0:
        minutes = int(max(waits_s) // _MINUTE_S) + 1
        raise _unsigned(request, person, "too many wrong passwords", f"Wait {minutes} min, then sign again.")
    if person.scopes is not None:
        raise _unsigned(request, person, "a token can't sign", "Sign in a browser.")
    if database is None or check_password(database, person.login, password, cost=entrance.rules.cost) is None:
        mend = "Type it again. If you have none here, an administrator can give you one."
        raise _unsigned(request, person, "isn't your password", mend)
    entrance.names.right(person.login)
    entrance.addresses.forgive(address_of(request))
    return _SIGNED


def _unsigned(request: Request, person: Person, rule: str, mend: str) -> InputError:
    entrance_of(request).log("refused", request, who=person.name, what=f"signing: {rule}", about=request.url.path)
    return InputError(where="password", rule=rule, mend=mend)


def _lack(person: Person, acts: tuple[Act, ...]) -> str:
    wanted = " or ".join(acts)
    if person.scopes is not None and not set(acts) & set(person.scopes):
        return f"needs a token with the scope {wanted}; this one has {', '.join(person.scopes)}"
    return f"needs a role that may {wanted}; yours: {', '.join(person.roles) or 'none'}"
