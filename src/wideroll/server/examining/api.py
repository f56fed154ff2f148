"""The examination for machines."""

from dataclasses import asdict, replace
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool

from wideroll.server.access import Allow, Person
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.examining.by_program import LooksBody, send_body
from wideroll.server.examining.data import basics_of, examination_of
from wideroll.server.examining.drafts import draft_of, drafting, now_utc, photographs_of
from wideroll.server.examining.noted import agreement_grids, listed_table, noted_table
from wideroll.server.examining.photographs import keep_photograph, photograph_sent

__all__ = ["router"]

router: Final = APIRouter(prefix="/api")
_FILE: Final = {
    "type": "object",
    "required": ["photograph"],
    "properties": {"photograph": {"type": "string", "format": "binary"}},
}
_PHOTOGRAPH: Final = {"requestBody": {"required": True, "content": {"multipart/form-data": {"schema": _FILE}}}}


@router.get("/rolls/{roll}/examination", response_description="Looks at the sheets, as the page has them")
def examination(request: Request, roll: str, person: Annotated[Person, Depends(Allow("read"))]) -> dict[str, Any]:
    """Each look at each sheet of a roll; drafts of examiners are in none of it."""
    del person
    desk = desk_of(request)
    files = examination_of(desk, basics_of(desk, roll))
    return {"schema": "wideroll/examination/1", "roll": roll, "looks": listed_table(files)}


@router.get("/rolls/{roll}/examination/sightings", response_description="What was noted, and how alike examiners see")
def sightings(request: Request, roll: str, person: Annotated[Person, Depends(Allow("read"))]) -> dict[str, Any]:
    """What was noted and sent. An examiner who asks is taken to know it: looks begun after aren't blind."""
    desk = desk_of(request)
    files = examination_of(desk, basics_of(desk, roll))
    if person.may("examine"):
        with drafting(desk.root, roll, person) as held:
            held[0] = replace(held[0], shown_utc=held[0].shown_utc or now_utc())
    tables = {"sightings": noted_table(files), "agreement": agreement_grids(desk, roll)}
    return {"schema": "wideroll/sightings/1", "roll": roll, **tables}


@router.get("/rolls/{roll}/examination/draft", response_description="What the one who asks has in hand")
def draft(request: Request, roll: str, person: Annotated[Person, Depends(Allow("examine"))]) -> dict[str, Any]:
    """What the one who asks has entered and not sent; nobody else's."""
    desk = desk_of(request)
    basics_of(desk, roll)
    return {"schema": "wideroll/draft/1", **asdict(draft_of(desk.root, roll, person))}


@router.post("/rolls/{roll}/examination/photographs", openapi_extra=_PHOTOGRAPH)
async def send_up(request: Request, roll: str, person: Annotated[Person, Depends(Allow("examine"))]) -> dict[str, Any]:
    """Send a photograph up; gives ``wideroll/photograph/1``, the name that a sighting sent later calls it by."""
    desk = desk_of(request)
    await run_in_threadpool(basics_of, desk, roll)
    async with request.form(max_files=1, max_fields=10) as form:
        with as_asked():
            name, data = await photograph_sent(request, form)
    await run_in_threadpool(keep_photograph, photographs_of(desk.root, roll, person), (name, data))
    return {"schema": "wideroll/photograph/1", "roll": roll, "photograph": name}


@router.post("/rolls/{roll}/examination/sightings", responses={404: {"description": "No such roll."}})
def send(
    request: Request, roll: str, body: LooksBody, person: Annotated[Person, Depends(Allow("examine"))]
) -> dict[str, Any]:
    """Send whole looks at sheets, all or none; gives ``wideroll/sent-looks/1``, as what they came in.

    Where the examiner was shown at the desk what was noted, no look is blind, whatever is said.
    """
    with as_asked():
        return send_body(desk_of(request), roll, body, person)
