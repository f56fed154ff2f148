"""The record for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, HTTPException, Query, Request

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.record.data import EventsAsked, ask_proof, proof_job, read_events

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])
_MOST: Final = 1000


@router.get("/record")
def events(
    request: Request, asked: Annotated[EventsAsked, Query()], most: Annotated[int, Query(ge=1, le=_MOST)] = 50
) -> dict[str, Any]:
    """``wideroll/events/1``: events, the newest first; ``before`` of the next page stands under ``older``."""
    from wideroll.acts.history import event_document  # noqa: PLC0415  (loads the store)

    with as_asked():
        found = read_events(desk_of(request), asked, most=most)
    return {
        "schema": "wideroll/events/1",
        "events": [event_document(one) for one in found.events],
        "older": found.older or None,
    }


@router.get("/record/verify")
def proof(request: Request) -> dict[str, Any]:
    """``wideroll/record-proof/1``: the last proof that was asked for, and how far it is."""
    job = proof_job(desk_of(request))
    if job is None:
        return {"schema": "wideroll/record-proof/1", "state": "never asked", "done": 0, "total": 0, "proof": None}
    return {
        "schema": "wideroll/record-proof/1",
        "state": job.state,
        "done": job.done,
        "total": job.total,
        "proof": job.result,
    }


@router.post("/record/verify", responses={429: {"description": "Proven less than a minute ago."}}, status_code=202)
def prove(request: Request) -> dict[str, Any]:
    """Begin a proof; ask for it with GET."""
    wait_s = ask_proof(desk_of(request))
    if wait_s:
        raise HTTPException(429, f"the record was proven just now: wait {wait_s} s")
    return proof(request)


@router.get("/record/checkpoints")
def checkpoints(request: Request) -> dict[str, Any]:
    """``wideroll/checkpoints/1``: who signed the record, when, and up to which event."""
    from wideroll.acts.record_pages import kept_signatures  # noqa: PLC0415
    from wideroll.record import checkpoint_json  # noqa: PLC0415

    found = kept_signatures(desk_of(request).root)
    return {
        "schema": "wideroll/checkpoints/1",
        "checkpoints": [
            {**checkpoint_json(one.checkpoint), "recorded_as": one.number or None, "holds": one.holds} for one in found
        ],
    }


@router.get("/record/{number}", responses={404: {"description": "No such event."}})
def event(request: Request, number: int) -> dict[str, Any]:
    """``wideroll/event/1``: one event with its canonical line, its digest and the signatures under it."""
    from wideroll.acts.record_pages import event_in_full, event_in_full_document  # noqa: PLC0415

    found = event_in_full(desk_of(request).root, number) if number > 0 else None
    if found is None:
        raise HTTPException(404, f"the record has no event {number}")
    return event_in_full_document(found)
