"""The page about the API, and its description for machines."""

from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from wideroll.server.access import Allow
from wideroll.server.cookies import cookie_name
from wideroll.server.entrance import entrance_of
from wideroll.server.pages import page

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])


@router.get("/api", response_class=HTMLResponse)
def told(request: Request) -> HTMLResponse:
    """What programs may ask for, and how they get a token."""
    from wideroll.server.programs.document import lines_of  # noqa: PLC0415  (as the description itself)

    described = request.app.openapi()
    return page(request, "programs/told.html.j2", lines=lines_of(described), closed=entrance_of(request).closed)


@router.get("/api/openapi.json")
def description(request: Request) -> dict[str, Any]:
    """This description, as OpenAPI 3.1."""
    from wideroll.server.programs.document import with_doors  # noqa: PLC0415  (loaded when first asked for)

    cookie = cookie_name(request, "session")
    return with_doors(request.app.openapi(), cookie=cookie, closed=entrance_of(request).closed)
