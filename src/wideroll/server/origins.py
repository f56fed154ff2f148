"""That a request was meant for this desk, and came from one of its own pages where it changes something."""

import re
from typing import Final

from starlette.requests import HTTPConnection

from wideroll.server.desk import desk_of
from wideroll.server.entrance import entrance_of

__all__ = ["comes_from_elsewhere", "is_for_another_host", "leads_astray"]

_HOST: Final = re.compile(r"([a-z0-9.-]{1,253}|\[[0-9a-f:.]{2,45}\])(?::(\d{1,5}))?", re.IGNORECASE)
_ASTRAY: Final = re.compile(r"[\x00-\x1f\x7f\\]|(?:^|/)\.{1,2}(?:/|$)")
_HIDDEN: Final = re.compile(rb"%(?:2f|5c|00)", re.IGNORECASE)


def is_for_another_host(request: HTTPConnection) -> bool:
    """Whether it asks for a name that the desk doesn't answer to, or for none, or for two."""
    hosts = request.headers.getlist("host")
    found = _HOST.fullmatch(hosts[0]) if len(hosts) == 1 else None
    return found is None or found[1].lower() not in desk_of(request).hosts


def leads_astray(request: HTTPConnection) -> bool:
    """Whether the path has steps upward, signs that steer, or hidden slashes: no page of the desk needs them."""
    path = str(request.scope.get("path", ""))
    raw: bytes = request.scope.get("raw_path") or b""
    return _ASTRAY.search(path) is not None or _HIDDEN.search(raw) is not None


def comes_from_elsewhere(request: HTTPConnection) -> bool:
    """Whether a browser says that another site's page sent it.

    A program that is no browser says nothing of it; the token of the form is asked for all the same.
    """
    origin = request.headers.get("origin")
    if origin is not None:
        scheme = "https" if entrance_of(request).rules.https else "http"
        return origin.lower() != f"{scheme}://{request.headers['host']}".lower()
    return request.headers.get("sec-fetch-site", "same-origin") != "same-origin"
