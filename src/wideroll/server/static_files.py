"""Style, scripts and vendored parts; their addresses change with their content, so they may be kept for long."""

import hashlib
from functools import cache
from pathlib import Path
from typing import Final

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

__all__ = ["STATIC", "KeptFiles", "static_address"]

STATIC: Final = Path(__file__).with_name("static")
_YEAR: Final = "public, max-age=31536000, immutable"


@cache
def static_address(name: str) -> str:
    """The address of a file in ``static``, with a part of its hash.

    Args:
        name: path below ``static``, such as ``desk.css``.

    Example:
        >>> static_address("desk.css").split("?")[0]
        '/static/desk.css'
    """
    return f"/static/{name}?v={hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]}"


class KeptFiles(StaticFiles):
    """Files that a browser may keep when it asks with their hash."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file."""
        response = await super().get_response(path, scope)
        if b"v=" in scope.get("query_string", b""):
            response.headers["Cache-Control"] = _YEAR
        return response
