"""The page that says what the desk is and how it is used."""

import tomllib
from importlib import metadata
from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from wideroll.errors import WiderollError
from wideroll.people import ROLES
from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.pages import page
from wideroll.server.static_files import STATIC

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_PACKAGES: Final = ("fastapi", "jinja2", "matplotlib", "numba", "numpy", "pydantic", "scipy", "sqlalchemy", "uvicorn")
_ACTS: Final = {
    "read": "see all pages",
    "examine": "enter sightings and measure photographs",
    "measure": "enter readings",
    "decide": "decide and cut rolls, change products",
    "act": "take and close action cards",
    "complain": "work on complaints",
    "administer": "add people, change products",
}


@router.get("/help", response_class=HTMLResponse)
def helping(request: Request) -> HTMLResponse:
    """What the desk is, keys, roles, where the record lies, and what it is made of."""
    return page(
        request,
        "plant/help.html.j2",
        roles={role: [_ACTS.get(act, act) for act in _ACTS if act in acts] for role, acts in ROLES.items()},
        lies=_lies(request),
        parts=_parts(),
        packages=[(name, version) for name in _PACKAGES if (version := _version(name))],
    )


def _lies(request: Request) -> str:
    from sqlalchemy import make_url  # noqa: PLC0415

    from wideroll.readers import PlantFolder  # noqa: PLC0415

    try:
        url = PlantFolder(desk_of(request).root).record_url()
    except WiderollError:
        return ""
    return make_url(url).render_as_string(hide_password=True).removeprefix("sqlite:///")


def _parts() -> list[dict[str, Any]]:
    """Parts of others that pages are made with, as vendor.toml lists them."""
    try:
        return list(tomllib.loads((STATIC / "vendor" / "vendor.toml").read_text(encoding="utf-8"))["parts"])
    except (OSError, ValueError, KeyError):
        return []


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ""
