"""The rolls for machines."""

from dataclasses import asdict
from datetime import UTC, datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request

from wideroll.server.access import Allow, Person
from wideroll.server.desk import desk_of
from wideroll.server.jobs import jobs_of
from wideroll.server.rolls.data import check_roll, read_roll
from wideroll.server.rolls.shown import shown_page
from wideroll.server.rolls.waiting import RollStanding, rolls_of, standing_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get("/rolls")
def rolls(request: Request, state: str = "", waits: str = "") -> dict[str, Any]:
    """The rolls, those that wait for somebody first; ``state`` and ``waits`` choose some as on the page."""
    desk = desk_of(request)
    every = rolls_of(desk.root, desk.results, datetime.now(UTC))
    chosen = (one for one in every if state in {"", one.state} and (not waits or waits in one.waits_for))
    return {"rolls": [_told(one) for one in chosen]}


@router.get("/rolls/{roll}")
def one(request: Request, roll: str) -> dict[str, Any]:
    """The decision of a roll, as ``decision.json`` has it."""
    return dict(read_roll(desk_of(request).results, roll).decision)


@router.get("/rolls/{roll}/standing")
def standing(request: Request, roll: str) -> dict[str, Any]:
    """How a roll stands, decided or not: what is missing, whom it waits for, who has it."""
    desk = desk_of(request)
    return _told(standing_of(desk.root, desk.results, roll, datetime.now(UTC)))


@router.get("/rolls/{roll}/shown/{page_name}")
def shown(request: Request, roll: str, page_name: str) -> dict[str, Any]:
    """What a page of a decided roll shows, in order; ``blocks`` is null while it isn't drawn."""
    found = shown_page(desk_of(request), roll, page_name)
    return {"roll": roll, "page": page_name, "blocks": None if found is None else found["blocks"]}


@router.get("/rolls/{roll}/decide")
def summary(request: Request, roll: str, person: Annotated[Person, Depends(Allow("decide"))]) -> dict[str, Any]:
    """What would be sealed, once its page was asked to look at the evidence; and how far the looking is."""
    del person
    job = jobs_of(desk_of(request)).get(f"assess {check_roll(roll)}")
    if job is None:
        return {"roll": roll, "state": "not asked", "done": 0, "total": 0, "found": None}
    found = job.result if job.state == "done" else None
    return {"roll": roll, "state": job.state, "done": job.done, "total": job.total, "found": found}


def _told(one: RollStanding) -> dict[str, Any]:
    sheet = f"/rolls/{one.roll}/sheet" if one.has_sheet else None
    fields = {name: value for name, value in asdict(one).items() if name != "has_sheet"}
    return {**fields, "sheet": sheet, "trouble": one.trouble or None}
