"""The list of rolls, and a roll's sheet."""

from typing import Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, HTMLResponse

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.guard import SHEET_POLICY
from wideroll.server.pages import page
from wideroll.server.rolls.data import list_rolls, sheet_path

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])


@router.get("/", response_class=HTMLResponse)
def index(request: Request) -> HTMLResponse:
    """The rolls of the plant."""
    return page(request, "rolls/list.html.j2", rolls=list_rolls(desk_of(request).results))


@router.get("/rolls/{roll}/sheet", response_class=HTMLResponse)
def sheet(request: Request, roll: str) -> FileResponse:
    """The decision sheet as it lies in the roll's results."""
    return FileResponse(
        sheet_path(desk_of(request).results, roll),
        media_type="text/html; charset=utf-8",
        headers={"Content-Security-Policy": SHEET_POLICY},
    )
