"""Traces for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from wideroll.server.access import Allow, Person
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.trace.data import CoatedQuestion, Found, Question, coated_place, traced
from wideroll.server.trace.recalls import RecallAsked, recall_rolls

__all__ = ["acts", "router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])
acts: Final = APIRouter(prefix="/api")
"""What changes something: for it the act's own scope is enough."""
_LONG_S: Final = 120.0
_FIELDS: Final = {"--at": "place", "place on": "place", "--within": "within", "finished roll": "finished"}


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


class RecallBody(RecallAsked):
    """A finished roll, the place on it as on the page, and the case that its recall is for."""

    model_config = ConfigDict(extra="forbid")


@acts.post("/trace/recall", responses={404: {"description": "No such case."}})
def recall(request: Request, body: RecallBody, person: Annotated[Person, Depends(Allow("complain"))]) -> dict[str, Any]:
    """Write the recall list of a trace, and the record's word that it was; gives ``wideroll/recall/1``."""
    desk = desk_of(request)
    with as_asked(_FIELDS):
        found: Found = traced(desk, body).waited(_LONG_S)
        path, event = recall_rolls(desk, body, found, who=person.name)
    return {
        "schema": "wideroll/recall/1",
        "finished": found.trace.finished,
        "case": body.case or None,
        "rolls": [found.trace.finished, *(sister.finished for sister in found.sisters.at_risk)],
        "list": f"/trace/recalls/{path.name}",
        "event": event,
    }
