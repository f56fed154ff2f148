"""The read-only beginnings of the desk: which rolls are decided, how, why, and their sheets."""

import base64
import hashlib
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.responses import FileResponse, HTMLResponse, JSONResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.middleware.trustedhost import TrustedHostMiddleware

from wideroll import __version__
from wideroll.errors import InputError
from wideroll.server.results import RollResult, list_rolls, read_roll, sheet_path

__all__ = ["create_app"]

_HOSTS: Final = ("127.0.0.1", "localhost", "testserver")
_TEMPLATES: Final = Environment(
    loader=PackageLoader("wideroll.server", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_STYLE: Final = _TEMPLATES.get_template("desk.css.j2").render()
_STYLE_HASH: Final = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
_SHUT: Final = "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
_PAGE_POLICY: Final = f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; {_SHUT}"
_SHEET_POLICY: Final = f"default-src 'none'; style-src 'unsafe-inline'; {_SHUT}"
"""A sheet is one file with its style in it, and its figures carry style attributes; no script can run."""
_HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def create_app(plant_dir: Path, *, sheets: Path | None = None) -> FastAPI:
    """The desk over one plant's results.

    Args:
        plant_dir: the plant's folder.
        sheets: the folder with one folder a roll, each with ``decision.json`` and ``sheet.html``; ``results`` in the
            plant's folder unless given.

    It answers only to the loopback names, sends nothing outward, and writes nothing.
    """
    results = plant_dir / "results" if sheets is None else sheets
    app = FastAPI(title="wideroll desk", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    app.middleware("http")(_guard)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(_HOSTS), www_redirect=False)
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(FileNotFoundError, _not_found)
    app.add_exception_handler(InputError, _unreadable)
    _add_pages(app, results)
    _add_api(app, results)
    return app


def _add_pages(app: FastAPI, results: Path) -> None:
    def index() -> HTMLResponse:
        return _page("rolls.html.j2", rolls=list_rolls(results))

    def sheet(roll: str) -> FileResponse:
        return FileResponse(
            sheet_path(results, roll),
            media_type="text/html; charset=utf-8",
            headers={"Content-Security-Policy": _SHEET_POLICY},
        )

    app.get("/", response_class=HTMLResponse)(index)
    app.get("/rolls/{roll}", response_class=HTMLResponse)(sheet)


def _add_api(app: FastAPI, results: Path) -> None:
    def rolls() -> JSONResponse:
        return JSONResponse({"rolls": [_brief(roll) for roll in list_rolls(results)]})

    def one(roll: str) -> JSONResponse:
        return JSONResponse(dict(read_roll(results, roll).decision))

    app.get("/api/rolls")(rolls)
    app.get("/api/rolls/{roll}")(one)


def _brief(roll: RollResult) -> dict[str, Any]:
    return {
        "roll": roll.roll,
        "verdict": roll.verdict,
        "why": roll.why,
        "sheet": f"/rolls/{roll.roll}" if roll.has_sheet else None,
        "trouble": roll.trouble or None,
    }


async def _guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    response = await call_next(request)
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    response.headers.setdefault("Content-Security-Policy", _PAGE_POLICY)
    return response


def _refused(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    rule = error.detail if isinstance(error, HTTPException) else "internal error"
    return _error(request, status=status, where=request.url.path, rule=rule, mend="See the list of rolls.")


def _not_found(request: Request, error: Exception) -> Response:
    return _error(
        request,
        status=404,
        where=request.url.path,
        rule=f"nothing is decided about a roll {error}, or it has no sheet",
        mend="Decide it with wideroll decide, or take a name from the list of rolls.",
    )


def _unreadable(request: Request, error: Exception) -> Response:
    if not isinstance(error, InputError):
        raise error
    # a name that can't be a roll's is as good as unknown; a file of ours that can't be read is our trouble
    status = 404 if error.where == "roll" else 500
    return _error(request, status=status, where=error.where, rule=error.rule, mend=error.mend)


def _error(request: Request, *, status: int, where: str, rule: str, mend: str) -> Response:
    """The one shape of an error: JSON below /api, the same words as a page elsewhere."""
    if request.url.path.startswith("/api/"):
        return JSONResponse(
            {"error": {"status": status, "where": where, "rule": rule, "mend": mend}}, status_code=status
        )
    return _page("error.html.j2", status=status, where=where, rule=rule, mend=mend)


def _page(template: str, *, status: int = 200, **context: object) -> HTMLResponse:
    text = _TEMPLATES.get_template(template).render(style=_STYLE, status=status, **context)
    return HTMLResponse(text, status_code=status)
