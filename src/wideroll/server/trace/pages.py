"""The page of a trace, its pictures, and recall lists."""

from typing import Annotated, Any, Final
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, PlainTextResponse, RedirectResponse, Response
from pydantic import Field

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.complaints.data import cases_of_plant
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.figures import drawn
from wideroll.server.pages import page
from wideroll.server.tables import address_with, csv_answer, linked, wrongs_of
from wideroll.server.trace.data import (
    CoatedQuestion,
    Found,
    Question,
    coated_place,
    recall_file,
    traced,
)
from wideroll.server.trace.recalls import RecallAsked, recall_rolls
from wideroll.server.units import form_units

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_LONG_S: Final = 60.0
_FIELDS: Final = {
    "--at": "place",
    "place on": "place",
    "--within": "within",
    "finished roll": "finished",
    "along": "along",
    "across": "across",
    "roll": "roll",
}


class _Asked(Question, CoatedQuestion):
    """Either question, and how the answer is wanted."""

    format: str = Field(default="", max_length=10)
    table: str = Field(default="", max_length=40)
    recalled: str = Field(default="", max_length=200)


@router.get("/trace", response_class=HTMLResponse)
def trace(request: Request, asked: Annotated[_Asked, Query()]) -> Response:
    """Where a place on a finished roll was coated and what is known of it; or which finished rolls hold a place."""
    try:
        if asked.finished.strip():
            return _of_finished(request, asked)
        if asked.roll.strip() or asked.along.strip():
            return _of_coated(request, asked)
    except InputError as error:
        return _page(request, asked, status=422, errors=wrongs_of(error, _FIELDS))
    return _page(request, asked)


@router.get("/trace/picture.svg")
def picture(request: Request, question: Annotated[Question, Query()], key: str) -> Response:
    """A picture of a trace."""
    found = _ready(request, question)
    if key not in found.pictures:
        raise HTTPException(404, "the trace has no such picture")
    return drawn(found.pictures[key].svg)


@router.get("/trace/recall.csv")
def recall_preview(request: Request, question: Annotated[Question, Query()]) -> PlainTextResponse:
    """The rolls at risk as a table; nothing is recorded by looking at it."""
    from wideroll.report.sister_words import recall_csv  # noqa: PLC0415

    found = _ready(request, question)
    return PlainTextResponse(recall_csv(found.trace, found.sisters), media_type="text/csv; charset=utf-8")


@router.post("/trace/recall")
def recall(
    request: Request, form: Annotated[RecallAsked, Form()], person: Annotated[Person, Depends(Allow("complain"))]
) -> RedirectResponse:
    """Write the recall list, and the record's word that it was."""
    path, _ = recall_rolls(desk_of(request), form, _ready(request, form), who=person.name)
    asked = {name: value for name, value in form.model_dump().items() if value and name != "case"}
    return RedirectResponse(f"/trace?{urlencode({**asked, 'recalled': path.name})}#recall", 303)


@router.get("/trace/recalls/{name}")
def recalled(request: Request, name: str) -> FileResponse:
    """A recall list that was written here."""
    path = recall_file(desk_of(request), name)
    return FileResponse(path, media_type="text/csv; charset=utf-8", filename=path.name)


def _of_finished(request: Request, asked: _Asked) -> Response:
    answer = traced(desk_of(request), asked)
    if not answer.ready:
        return _page(request, asked, waiting=True)
    found: Found = answer.value
    if asked.format == "csv":
        if asked.table not in found.tables:
            raise HTTPException(404, "the trace has no such table")
        return csv_answer(found.tables[asked.table], f"{found.trace.finished} {asked.table}")
    linked(found.tables["sisters"], lambda number: f"/trace?{urlencode({'finished': number})}")
    cases = [one for one in cases_of_plant(desk_of(request)) if one.finished == found.trace.finished]
    return _page(request, asked, found=found, cases=cases)


def _of_coated(request: Request, asked: _Asked) -> Response:
    there = coated_place(desk_of(request), asked)
    if asked.format == "csv":
        return csv_answer(there.table, there.words)
    metres = {one.finished: one.from_outer_m for one in there.places}

    def address(number: str) -> str:
        place = {"finished": number, "place": f"{metres[number]:.3f} m", "end": "outer end"}
        return f"/trace?{urlencode(place)}"

    linked(there.table, address)
    return _page(request, asked, there=there)


def _ready(request: Request, question: Question) -> Found:
    with as_asked():
        found: Found = traced(desk_of(request), question).waited(_LONG_S)
        return found


def _page(request: Request, asked: _Asked, *, status: int = 200, **context: Any) -> HTMLResponse:
    question = urlencode(
        {name: value for name, value in asked.model_dump(include=set(Question.model_fields)).items() if value}
    )
    shown = {"found": None, "there": None, "cases": (), "errors": (), "waiting": False} | context
    return page(
        request,
        "trace/trace.html.j2",
        status=status,
        asked=asked,
        question=question,
        units=form_units(desk_of(request)),
        csv_of=lambda key: address_with(request, format="csv", table=key),
        quoted=quote,
        **shown,
    )
