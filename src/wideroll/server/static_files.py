"""Style, scripts and vendored parts; their addresses change with their content, so they may be kept for long."""

import gzip
import hashlib
from functools import cache, lru_cache
from pathlib import Path
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import FileResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

__all__ = ["STATIC", "KeptFiles", "static_address"]

STATIC: Final = Path(__file__).with_name("static")
_YEAR: Final = "public, max-age=31536000, immutable"
_PACKED: Final = frozenset({".css", ".js", ".svg"})


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
    """Files that a browser may keep when it asks with their hash; packed where it can unpack them."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The file."""
        response = await super().get_response(path, scope)
        if isinstance(response, FileResponse) and Path(response.path).suffix in _PACKED:
            response = await _packed(response, scope)
        if b"v=" in scope.get("query_string", b""):
            response.headers["Cache-Control"] = _YEAR
        return response


async def _packed(response: FileResponse, scope: Scope) -> Response:
    """The same, packed for whoever can unpack it."""
    response.headers["Vary"] = "Accept-Encoding"
    asked = Headers(scope=scope)
    if "gzip" not in asked.get("accept-encoding", "") or "range" in asked or scope["method"] != "GET":
        return response
    changed_ns = 0 if response.stat_result is None else response.stat_result.st_mtime_ns
    content = await run_in_threadpool(_pack, Path(response.path), changed_ns)
    headers = {"Content-Encoding": "gzip", "Vary": "Accept-Encoding"}
    kept = {name: response.headers[name] for name in ("etag", "last-modified") if name in response.headers}
    if "etag" in kept:
        kept["etag"] = f"W/{kept['etag']}"
    return Response(content, media_type=response.media_type, headers={**headers, **kept})


@lru_cache(maxsize=64)
def _pack(path: Path, changed_ns: int) -> bytes:
    del changed_ns
    return gzip.compress(path.read_bytes(), 9, mtime=0)
