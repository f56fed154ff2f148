"""The pages of the plant: what it is made of, each part from its file."""

from typing import Final

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, PlainTextResponse

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.pages import page
from wideroll.server.plant.data import plant_parts
from wideroll.server.plant.grids import grid_lines
from wideroll.server.times import today_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/plant", dependencies=[Depends(Allow("read"))])


@router.get("", response_class=HTMLResponse)
def plant(request: Request) -> HTMLResponse:
    """The line, cleanings, instruments, processors, examiners and the record."""
    from wideroll.report.caution import ROLLER_CAUTION  # noqa: PLC0415

    parts = plant_parts(desk_of(request).root, today_of(desk_of(request)))
    return page(request, "plant/plant.html.j2", parts=parts, caution=ROLLER_CAUTION)


@router.get("/tables/{key}.csv")
def table(request: Request, key: str) -> PlainTextResponse:
    """A table of the plant as CSV."""
    for part in plant_parts(desk_of(request).root, today_of(desk_of(request))):
        if key in part.tables:
            return PlainTextResponse(grid_lines(part.tables[key]), media_type="text/csv; charset=utf-8")
    raise HTTPException(404, f"the plant has no table {key[:80]}")
