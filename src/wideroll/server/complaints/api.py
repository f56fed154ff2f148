"""Complaints for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request

from wideroll.server.access import Allow, Person
from wideroll.server.complaints.body import OPENING, STEPPING, OpeningSent, Step, StepSent
from wideroll.server.complaints.data import CasesAsked, case_at, picked
from wideroll.server.complaints.sent import as_files, place_in
from wideroll.server.complaints.steps import FIELDS, STEPS, Taking, open_case, take
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked

__all__ = ["acts", "router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])
acts: Final = APIRouter(prefix="/api")
"""What changes something: for it the act's own scope is enough."""
_Complaining = Annotated[Person, Depends(Allow("complain"))]
_FIELDS: Final = {**FIELDS, "finding": "finding"}


@router.get("/complaints")
def cases(request: Request, asked: Annotated[CasesAsked, Query()]) -> dict[str, Any]:
    """``wideroll/complaints/1``: the cases, those that aren't closed first."""
    from wideroll.acts.complaint_desk import case_fields  # noqa: PLC0415  (loads the store)

    found = picked(desk_of(request), asked)
    return {"schema": "wideroll/complaints/1", "complaints": [case_fields(one) for one in found]}


@acts.post("/complaints", openapi_extra=OPENING)
def opened(request: Request, person: _Complaining, sent: OpeningSent) -> dict[str, Any]:
    """Open a case; gives ``wideroll/complaint/1``."""
    from wideroll.acts.complaint_desk import case_document  # noqa: PLC0415

    at, typed = place_in(request, sent.form), sent.form.model_dump()
    with as_asked(_FIELDS), as_files(sent) as photos:
        case = open_case(desk_of(request).root, typed, at, photos=photos, who=person.name)
    return case_document(case)


@router.get("/complaints/{case}", responses={404: {"description": "No such case."}})
def one(request: Request, case: str) -> dict[str, Any]:
    """``wideroll/complaint/1``: a case as it stands."""
    from wideroll.acts.complaint_desk import case_document  # noqa: PLC0415

    return case_document(case_at(desk_of(request), case))


@acts.post("/complaints/{case}/{step}", openapi_extra=STEPPING)
def stepped(request: Request, case: str, step: Step, person: _Complaining, sent: StepSent) -> dict[str, Any]:
    """Take a step of a case; gives ``wideroll/complaint/1``, the case after it."""
    from wideroll.acts.complaint_desk import case_document  # noqa: PLC0415

    found = case_at(desk_of(request), case)
    at = place_in(request, sent.form) if "place" in STEPS[step].fields else None
    fields = {**_FIELDS, **({"--sample": "samples"} if step == "ask" else {})}
    with as_asked(fields), as_files(sent) as photos:
        typed, rests = sent.form.model_dump(), sent.looked_at
        taking = Taking(step=step, typed=typed, at=at, looked_at=rests, photos=photos, who=person.name)
        return case_document(take(desk_of(request).root, found.name, taking))
