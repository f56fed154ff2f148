"""Traces for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, Field

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.trace.data import CoatedQuestion, Found, Question, coated_place, traced

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])
_LONG_S: Final = 120.0


class _TraceAsked(BaseModel):
    """As the command has it."""

    finished: str = Field(max_length=200, description="Number of the finished roll.")
    at: str = Field(default="", max_length=200, description="Such as '4.3 m from core'; else the whole roll.")
    place: str = Field(default="", max_length=200, description="As on the page: a place without its end.")
    end: str = Field(default="", max_length=20, description="outer end or core.")
    within: str = Field(default="", max_length=200, description="Half the interval along, such as 0.3 m.")


@router.get("/trace", responses={422: {"description": "No such finished roll or place."}})
def trace(request: Request, asked: Annotated[_TraceAsked, Query()]) -> dict[str, Any]:
    """``wideroll/trace/1``: where a place on a finished roll was coated, what is known of it, and rolls at risk."""
    from wideroll.acts.tracing import trace_document  # noqa: PLC0415

    question = Question(finished=asked.finished, place=asked.at or asked.place, end=asked.end, within=asked.within)
    with as_asked():
        found: Found = traced(desk_of(request), question).waited(_LONG_S)
    return trace_document(found.trace, found.sisters)


@router.get("/trace/coated", responses={422: {"description": "No such coated roll or place."}})
def coated(request: Request, asked: Annotated[CoatedQuestion, Query()]) -> dict[str, Any]:
    """``wideroll/finished-at/1``: the finished rolls that hold a coated place."""
    from wideroll.report.finished_at_words import finished_at_json  # noqa: PLC0415

    with as_asked():
        found = coated_place(desk_of(request), asked)
    return finished_at_json(found.places, found.roll, found.along_m, found.across_mm)
