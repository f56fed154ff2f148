"""Complaints for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request

from wideroll.server.access import Allow
from wideroll.server.complaints.data import CasesAsked, case_at, picked
from wideroll.server.desk import desk_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get("/complaints")
def cases(request: Request, asked: Annotated[CasesAsked, Query()]) -> dict[str, Any]:
    """``wideroll/complaints/1``: the cases, those that aren't closed first."""
    from wideroll.acts.complaint_desk import case_fields  # noqa: PLC0415  (loads the store)

    found = picked(desk_of(request), asked)
    return {"schema": "wideroll/complaints/1", "complaints": [case_fields(one) for one in found]}


@router.get("/complaints/{case}", responses={404: {"description": "No such case."}})
def one(request: Request, case: str) -> dict[str, Any]:
    """``wideroll/complaint/1``: a case as it stands."""
    from wideroll.acts.complaint_desk import case_document  # noqa: PLC0415

    return case_document(case_at(desk_of(request), case))
