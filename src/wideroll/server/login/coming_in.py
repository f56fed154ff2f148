"""Proving somebody by their password: the same answer and the same work whoever is named, and not too often."""

from dataclasses import dataclass
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from wideroll.people import PersonCard, check_password, close_session, find_person, open_session
from wideroll.server.cookies import drop_cookie, read_cookie, set_cookie
from wideroll.server.entrance import address_of, entrance_of

__all__ = ["Proof", "begin_session", "end_session", "prove"]

_MINUTE_S: Final = 60
_LONGEST_NAME: Final = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """Who it is; or nobody, and the seconds to wait before the next try."""

    person: PersonCard | None
    wait_s: int = 0


def prove(request: Request, name: str, password: str) -> Proof:
    """Whether it is their password. A wrong one is logged, as is a try that came too early."""
    entrance, key = entrance_of(request), name.strip().lower()[:_LONGEST_NAME]
    address, now_s = address_of(request), entrance.clock()
    wait_s = max(entrance.names.begin(key, now_s), entrance.addresses.begin(address, now_s))
    if wait_s > 0:
        entrance.log("refused", request, who="", what="login: too many tries", about=_known_name(request, key))
        return Proof(person=None, wait_s=int(wait_s) + 1)
    database = entrance.database()
    person = None if database is None else check_password(database, key, password, cost=entrance.rules.cost)
    if person is None:
        entrance.log("refused", request, who="", what="login: wrong name or password", about=_known_name(request, key))
        return Proof(person=None)
    entrance.names.right(key)
    entrance.addresses.forgive(address)
    return Proof(person=person)


def begin_session(request: Request, response: Response, person: PersonCard, *, how: str) -> None:
    """Begin a new session, whatever the browser had before, and give the browser its secret."""
    entrance = entrance_of(request)
    database = entrance.made_database()
    old = read_cookie(request, "session")
    if old:
        close_session(database, old)
    secret = open_session(database, person.name, how=how, lengths=entrance.rules.lengths, now_s=entrance.now_s)
    set_cookie(request, response, "session", secret)
    drop_cookie(request, response, "visitor")
    entrance.log("login", request, who=person.shown, what=f"came in by {how}", about=person.name)


def end_session(request: Request, response: Response) -> None:
    """End the session here and in the browser."""
    database, secret = entrance_of(request).database(), read_cookie(request, "session")
    if database is not None and secret:
        close_session(database, secret)
    drop_cookie(request, response, "session")


def _known_name(request: Request, name: str) -> str:
    """The name when somebody has it: else it may be a password that went into the wrong field."""
    database = entrance_of(request).database()
    return name if database is not None and find_person(database, name) is not None else "a name that nobody has"
