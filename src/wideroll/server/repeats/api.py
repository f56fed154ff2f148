"""A roll's repeats for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.jobs import jobs_of
from wideroll.server.repeats.asking import Asked, job_key
from wideroll.server.repeats.data import cards_of_roll, cases_now, mark_of
from wideroll.server.rolls.data import check_roll, read_roll
from wideroll.server.rolls.shown import shown_page

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get(
    "/rolls/{roll}/repeats",
    response_description="`wideroll/roll-repeats/1`: the decision's series, the page's blocks, cases and cards",
)
def repeats(request: Request, roll: str) -> dict[str, Any]:
    """What returns every turn on a decided roll; `cases` is null while they are gathered, `shown` while it is drawn."""
    desk = desk_of(request)
    decision = read_roll(desk.results, check_roll(roll)).decision
    shown = shown_page(desk, roll, "repeats")
    cards = cards_of_roll(desk, roll)
    documents: list[dict[str, Any]] = []
    if cards:
        from wideroll.acts.card_states import card_document  # noqa: PLC0415  (loads the store)

        documents = [card_document(one) for one in cards]
    return {
        "schema": "wideroll/roll-repeats/1",
        "roll": roll,
        "series": decision.get("series", []),
        "shown": None if shown is None else shown["blocks"],
        "cases": cases_now(desk, roll).document,
        "cards": documents,
    }


@router.get(
    "/rolls/{roll}/repeats/next",
    response_description="`wideroll/roll-next/1`: how far it is, and what the page shows once it is known",
)
def where_next(request: Request, roll: str, asked: Annotated[Asked, Query()]) -> dict[str, Any]:
    """Where to look next, once its page was asked; `shown` is null until that is known."""
    desk = desk_of(request)
    job = jobs_of(desk).get(job_key(check_roll(roll), asked))
    fresh = job is not None and job.state == "done" and job.result["mark"] == mark_of(desk, roll)
    drawn = {"picture", "sheet", "mark"}
    shown = {name: one for name, one in job.result.items() if name not in drawn} if job and fresh else None
    state = "not asked" if job is None or (job.state == "done" and not fresh) else job.state
    return {"schema": "wideroll/roll-next/1", "roll": roll, "state": state, "shown": shown}
