"""Entry at the light box: each question is a page of its own, saved before the next one is shown."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.desk import desk_of
from wideroll.server.examining.data import Basics, address_of, basics_of, setting_before, sheet_key, sheeted
from wideroll.server.examining.drafts import Draft, DraftSheet, draft_of, drafting, now_utc
from wideroll.server.examining.entering import act_on, answer, question_of, step_back, steps_of
from wideroll.server.examining.questions import SETTING_WORDS, Question
from wideroll.server.examining.words import setting_words, sighting_words
from wideroll.server.rolls.frame import roll_page

__all__ = ["in_hand", "router", "wrong_words"]

router: Final = APIRouter()
_Examiner = Annotated[Person, Depends(Allow("examine"))]


class _Answer(BaseModel):
    """The form of a question, or of the page between two sightings."""

    question: str = Field("", max_length=40)
    sighting: int = 0
    answer: str = Field("", max_length=2000)
    go: str = Field("", max_length=40)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hand:
    """A sheet in hand, and the questions that are asked of it now."""

    draft: Draft
    sheet: DraftSheet
    basics: Basics
    steps: tuple[Question, ...]

    @property
    def question(self) -> Question | None:
        """The one that is asked now."""
        return question_of(self.sheet, self.steps)


@router.get("/rolls/{roll}/examination/{sheet}/enter", response_class=HTMLResponse)
def ask(request: Request, roll: str, sheet: str, person: _Examiner) -> Response:
    """The question that is next, or what was entered of the sheet so far."""
    desk = desk_of(request)
    basics = basics_of(desk, roll)
    draft = draft_of(desk.root, roll, person)
    found = in_hand(draft, sheet)
    if found is None:
        return RedirectResponse(f"/rolls/{quote(roll)}/examination", 303)
    return _page(request, _hand(draft, found, basics), [], "")


@router.post("/rolls/{roll}/examination/{sheet}/enter")
def take(request: Request, roll: str, sheet: str, person: _Examiner, form: Annotated[_Answer, Form()]) -> Response:
    """An answer, or something done with the sheet: kept, and on to the next question."""
    desk = desk_of(request)
    basics = basics_of(desk, roll)
    with drafting(desk.root, roll, person) as held:
        found = in_hand(held[0], sheet)
        if found is None:
            return RedirectResponse(f"/rolls/{quote(roll)}/examination", 303)
        hand = _hand(held[0], found, basics)
        try:
            after = _after(hand, form)
        except InputError as error:
            return _page(request, hand, [{"field": "answer", "words": wrong_words(error)}], form.answer)
        held[0] = held[0].with_sheet(after)
    return RedirectResponse(_next(roll, found, after, form.go), 303)


def in_hand(draft: Draft, key: str) -> DraftSheet | None:
    """The sheet in hand that an address names."""
    return next((one for one in draft.sheets if sheet_key(one.sheet) == key and not one.dropped), None)


def _hand(draft: Draft, sheet: DraftSheet, basics: Basics) -> _Hand:
    return _Hand(draft=draft, sheet=sheet, basics=basics, steps=_steps(draft, sheet, basics))


def _steps(draft: Draft, sheet: DraftSheet, basics: Basics) -> tuple[Question, ...]:
    shown, before = bool(draft.shown_utc), setting_before(draft, sheet.sheet)
    return steps_of(sheet, sheeted(basics, sheet), shown=shown, before=before)


def _after(hand: _Hand, form: _Answer) -> DraftSheet:
    """The sheet after the form; one that was sent twice, or from a page long gone, changes nothing."""
    sheet = hand.sheet
    act, _, number = form.go.partition(":")
    if act == "back":
        return step_back(sheet, hand.steps)
    if act == "save":
        return _saved_now(hand, form)
    if act:
        return act_on(sheet, act, int(number) if number.isdecimal() else 0)
    if sheet.open is not None and form.sighting != sheet.open.number:
        return sheet
    return _answered(hand, sheet, form.question, form.answer)


def _answered(hand: _Hand, sheet: DraftSheet, name: str, text: str) -> DraftSheet:
    again = partial(_steps, hand.draft, basics=hand.basics)
    return answer(sheet, hand.steps, name=name, text=text, now_utc=now_utc(), again=again)


def _saved_now(hand: _Hand, form: _Answer) -> DraftSheet:
    """A sighting that was taken up again, saved from amid its questions; what was typed to the one asked counts."""
    sheet, asked = hand.sheet, hand.question
    if asked is None or not sheet.taken_up or sheet.open is None or sheet.open.number != form.sighting:
        return sheet
    if form.question == asked.name and not (asked.choices or asked.photograph):
        sheet = _answered(hand, sheet, asked.name, form.answer)
    kept = sheet.open.answers.get("photograph", "") if sheet.open is not None else ""
    return _answered(hand, sheet, "photograph", kept)


def _next(roll: str, before: DraftSheet, after: DraftSheet, go: str) -> str:
    """Where an answer leads: on with the sheet, and what was just saved or undone is said there."""
    if after.dropped:
        return f"/rolls/{quote(roll)}/examination"
    here = address_of(roll, after.sheet)
    if before.open is not None and after.open is None and go in {"", "save"}:
        return f"{here}?saved={before.open.number}"
    act, _, number = go.partition(":")
    return f"{here}?{act}={number}" if act in {"undo", "put-back"} and number.isdecimal() else here


def _page(request: Request, hand: _Hand, errors: Sequence[Mapping[str, str]], typed: str) -> HTMLResponse:
    question = hand.question
    sheet, roll = hand.sheet, hand.basics.roll
    shared: dict[str, Any] = {
        "sheet": sheet,
        "here_address": address_of(roll, sheet.sheet),
        "settings": setting_words(sheet.setting, SETTING_WORDS),
        "errors": errors,
    }
    if question is None:
        lines = [(one, sighting_words(one.cells)) for one in reversed(sheet.noted)]
        return roll_page(request, roll, "examining/sheet.html.j2", here="Examination", lines=lines, **shared)
    given = sheet.open.answers if sheet.open is not None and hand.steps[0].name == "kind" else sheet.setting
    kept = given.get(question.name, question.usual)
    return roll_page(
        request,
        roll,
        "examining/question.html.j2",
        here="Examination",
        status=422 if errors else 200,
        question=question,
        typed=typed or kept or "",
        kept=kept,
        place=1 + [one.name for one in hand.steps].index(question.name),
        steps=len(hand.steps),
        so_far=sighting_words(sheet.open.answers) if sheet.open is not None else "",
        **shared,
    )


def wrong_words(error: InputError) -> str:
    """An error for the summary of a form."""
    value = "" if error.value in {None, ""} else f" ({error.value})"
    return f"{error.rule[:1].upper()}{error.rule[1:]}{value}. {error.mend}"
