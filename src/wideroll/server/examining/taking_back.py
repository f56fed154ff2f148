"""A line of the sightings that no longer holds, taken back by whoever may examine, with the reason."""

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, ConfigDict, Field

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.errors import as_asked
from wideroll.server.examining.data import basics_of
from wideroll.server.examining.drafts import drafting, now_utc
from wideroll.server.examining.entry import wrong_words
from wideroll.server.examining.pages import examination_page

if TYPE_CHECKING:
    from wideroll.acts.examining import Sent

__all__ = ["router"]

router: Final = APIRouter()
_Examiner = Annotated[Person, Depends(Allow("examine"))]


class TakenBack(BaseModel):
    """Which line, and why it no longer holds."""

    line: str = Field("", max_length=120, description="Its name, as the table of sightings has it.")
    why: str = Field("", max_length=400)


class TakenBackBody(TakenBack):
    """The same from a program, which has no token of a form beside it."""

    model_config = ConfigDict(extra="forbid")


@router.post("/rolls/{roll}/examination/take-back")
def take_back(request: Request, roll: str, person: _Examiner, form: Annotated[TakenBack, Form()]) -> Response:
    """Take a line back that was sent; it stays readable, with who took it back and why."""
    try:
        _taken_back(desk_of(request), roll, person, form)
    except InputError as error:
        wrong = {"field": error.where if error.where in TakenBack.model_fields else "", "words": wrong_words(error)}
        return examination_page(request, roll, person, back=form.model_dump(), errors=[wrong])
    return RedirectResponse(f"/rolls/{quote(roll)}/examination#noted", 303)


@router.post("/api/rolls/{roll}/examination/take-back", responses={404: {"description": "No such roll."}})
def take_back_by_program(request: Request, roll: str, body: TakenBackBody, person: _Examiner) -> dict[str, Any]:
    """Take a line back that was sent; gives ``wideroll/taken-back/1``. Later looks of the examiner aren't blind."""
    with as_asked():
        sent = _taken_back(desk_of(request), roll, person, body)
    return {
        "schema": "wideroll/taken-back/1",
        "roll": roll,
        "line": body.line.strip(),
        "events": [event.number for event in sent.events],
        "trouble": sent.trouble or None,
    }


def _taken_back(desk: Desk, roll: str, person: Person, asked: TakenBack) -> "Sent":
    """Whoever names a line knows what was noted: what they look at from then on isn't blind."""
    from wideroll.acts.examining import take_line_back  # noqa: PLC0415  (loads the rooms)

    basics_of(desk, roll)
    line, why = (" ".join(text.split()) for text in (asked.line, asked.why))
    sent = take_line_back(desk.root, roll, line, who=person.name, why=why)
    with drafting(desk.root, roll, person) as held:
        held[0] = replace(held[0], shown_utc=held[0].shown_utc or now_utc())
    return sent
