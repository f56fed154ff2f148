"""What every answer carries, so that a browser runs and fetches nothing that isn't the desk's."""

from collections.abc import Awaitable, Callable
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

__all__ = ["PAGE_POLICY", "PICTURE_POLICY", "SHEET_POLICY", "guard"]

_SHUT: Final = "base-uri 'none'; frame-ancestors 'none'"
PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    f"form-action 'self'; {_SHUT}"
)
SHEET_POLICY: Final = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; {_SHUT}"
"""A sheet is one file with its style and pictures in it, and its figures carry style attributes; no script can run."""
PICTURE_POLICY: Final = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; {_SHUT}"
_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


async def guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """The answer with what it lacks of the headers."""
    response = await call_next(request)
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Content-Security-Policy", PAGE_POLICY)
    return response
