"""Answers that a browser may keep: named by a fingerprint, and asked for again only when that has changed."""

from collections.abc import Callable, Mapping
from typing import Final

from starlette.requests import Request
from starlette.responses import Response

from wideroll.server.errors import error_answer
from wideroll.server.figures import with_night
from wideroll.server.guard import PICTURE_POLICY

__all__ = ["keepable", "missing", "picture"]

_FOREVER: Final = "private, max-age=31536000, immutable"
_ASK_AGAIN: Final = "private, no-cache"


def keepable(
    request: Request, mark: str, media_type: str, make: Callable[[], bytes], *, headers: Mapping[str, str] | None = None
) -> Response:
    """What ``make`` gives, or nothing where the browser already has it.

    Args:
        request: what was asked; with ``v`` the mark in its query it may be kept for good.
        mark: changes when the content does.
        media_type: of the content.
        make: the content.
        headers: further ones.
    """
    tag = f'"{mark}"'
    kept = _FOREVER if request.query_params.get("v") == mark else _ASK_AGAIN
    all_headers = {"ETag": tag, "Cache-Control": kept, **(headers or {})}
    if tag in {one.strip().removeprefix("W/") for one in request.headers.get("if-none-match", "").split(",")}:
        return Response(status_code=304, headers=all_headers)
    return Response(make(), media_type=media_type, headers=all_headers)


def picture(request: Request, mark: str, make: Callable[[], str]) -> Response:
    """A drawn figure as SVG; it can run nothing."""
    policy = {"Content-Security-Policy": PICTURE_POLICY}
    return keepable(request, mark, "image/svg+xml", lambda: with_night(make()), headers=policy)


def missing(request: Request, rule: str) -> Response:
    """404 in the one shape of an error."""
    return error_answer(
        request, status=404, where=request.url.path, rule=rule, mend="Take an address from the roll's map."
    )
