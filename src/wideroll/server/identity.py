"""Who asks: by the session's cookie, or below /api by a token."""

from dataclasses import dataclass
from typing import Final

from starlette.requests import HTTPConnection

from wideroll.people import acts_of, session_of, token_of
from wideroll.people.model import ROLES
from wideroll.server.cookies import read_cookie
from wideroll.server.desk import desk_of
from wideroll.server.entrance import entrance_of

__all__ = ["Asking", "Person", "bearer_of", "who_asks"]

_KEPT: Final = "wideroll.asking"
_BEARER: Final = "bearer "


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody at the desk.

    Args:
        name: who they are in the record; by a token, with its name.
        roles: what they may comes from these.
        alone: nobody else has a name here, so that no login is needed.
        login: what they log in with; empty for somebody alone.
        scopes: of the token that they come by; None for somebody in a browser.
        how: they came in: ``password``, ``provider``, ``token`` or ``alone``.
        shown: their own name where that isn't ``name``.
    """

    name: str
    roles: tuple[str, ...]
    alone: bool = False
    login: str = ""
    scopes: tuple[str, ...] | None = None
    how: str = "alone"
    shown: str = ""

    @property
    def own_name(self) -> str:
        """Their name, however they come in."""
        return self.shown or self.name

    def may(self, act: str) -> bool:
        """Whether one of their roles allows it, and the token that they come by has it among its scopes."""
        return act in acts_of(self.roles) and (self.scopes is None or act in self.scopes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """Who asks, if anybody is known; the session's secret; and why what was shown to prove it isn't good."""

    person: Person | None
    secret: str = ""
    trouble: str = ""


def bearer_of(request: HTTPConnection) -> str | None:
    """The token that a program sends along below /api; None where it sends none."""
    sent = request.headers.get("authorization", "")
    is_api = str(request.scope["path"]).startswith("/api/")
    return sent[len(_BEARER) :].strip() if is_api and sent.lower().startswith(_BEARER) else None


def who_asks(request: HTTPConnection) -> Asking:
    """Who asks, looked up once for a request."""
    asking: Asking | None = request.scope.get(_KEPT)
    if asking is None:
        asking = request.scope[_KEPT] = _looked_up(request)
    return asking


def _looked_up(request: HTTPConnection) -> Asking:
    entrance, bearer = entrance_of(request), bearer_of(request)
    if bearer is not None:
        return _by_token(request, bearer)
    if not entrance.closed:
        return Asking(person=Person(name=desk_of(request).settings.who, roles=tuple(ROLES), alone=True))
    secret, database = read_cookie(request, "session"), entrance.database()
    if not secret or database is None:
        return Asking(person=None)
    lengths, touch = entrance.rules.lengths, not _by_itself(request)
    session = session_of(database, secret, lengths=lengths, now_s=entrance.now_s, touch=touch)
    if session is None:
        return Asking(person=None, trouble="the session isn't known or has ended")
    one = session.person
    return Asking(person=Person(name=one.shown, roles=one.roles, login=one.name, how=session.how), secret=secret)


def _by_itself(request: HTTPConnection) -> bool:
    """Whether a page asks by itself, to keep up to date: nobody need be there."""
    return request.url.path == "/live" or "x-live" in request.headers


def _by_token(request: HTTPConnection, bearer: str) -> Asking:
    entrance = entrance_of(request)
    database = entrance.database()
    found = None if database is None else token_of(database, bearer, now_s=entrance.now_s)
    if found is None:
        return Asking(person=None, trouble="the token isn't known, has ended, or is revoked")
    token, one = found
    name = f"{one.shown}, by token {token.name}"
    return Asking(
        person=Person(name=name, roles=one.roles, login=one.name, scopes=token.scopes, how="token", shown=one.shown)
    )
