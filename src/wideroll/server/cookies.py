"""The cookies of the desk: for this desk alone, sent only from its own pages, and out of reach of scripts."""

from typing import Final, Literal, TypeAlias

from starlette.requests import HTTPConnection
from starlette.responses import Response

from wideroll.server.entrance import entrance_of

__all__ = ["Purpose", "cookie_line", "cookie_name", "drop_cookie", "read_cookie", "set_cookie"]

Purpose: TypeAlias = Literal["session", "visitor", "provider"]
"""Who is logged in; who is shown a form without being; who went to the provider of names."""
_LONGEST: Final = 200


def cookie_name(request: HTTPConnection, purpose: Purpose) -> str:
    """A name that no other site can set where there is https; else one with the port, as cookies heed no ports."""
    if entrance_of(request).rules.https:
        return f"__Host-wideroll-{purpose}"
    server = request.scope.get("server") or ("", 0)
    return f"wideroll-{server[1] or 80}-{purpose}"


def read_cookie(request: HTTPConnection, purpose: Purpose) -> str:
    """What a cookie holds; empty where there is none, or it is none of ours."""
    value = request.cookies.get(cookie_name(request, purpose), "")
    return value if len(value) <= _LONGEST and value.isascii() else ""


def set_cookie(request: HTTPConnection, response: Response, purpose: Purpose, value: str) -> None:
    """Give the browser a cookie."""
    response.headers.append("set-cookie", cookie_line(request, purpose, value))


def drop_cookie(request: HTTPConnection, response: Response, purpose: Purpose) -> None:
    """Let the browser forget a cookie."""
    response.headers.append("set-cookie", cookie_line(request, purpose, "") + "; Max-Age=0")


def cookie_line(request: HTTPConnection, purpose: Purpose, value: str) -> str:
    """The header that sets a cookie.

    That of the provider's must come along when a browser is sent back from there; it lasts ten minutes.
    """
    site = "Lax; Max-Age=600" if purpose == "provider" and value else "Strict"
    secure = "; Secure" if entrance_of(request).rules.https else ""
    return f"{cookie_name(request, purpose)}={value}; HttpOnly; SameSite={site}; Path=/{secure}"
