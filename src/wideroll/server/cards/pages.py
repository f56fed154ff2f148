"""The list of action cards, one card, and what people do about it."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Form, Path, Query, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.card_book import cards_now, cards_of
from wideroll.server.cards.data import (
    CardChoice,
    causes_before,
    chosen,
    evidence_of,
    find_card,
    machine_words,
    picture_of,
)
from wideroll.server.cards.table import cards_csv
from wideroll.server.desk import desk_of
from wideroll.server.figures import drawn
from wideroll.server.guard import SHEET_POLICY
from wideroll.server.pages import page, templates
from wideroll.server.rolls.printing import can_print

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_STATES: Final = ("open", "taken", "closed")
_Number = Annotated[int, Path(ge=0, le=10**9)]
_Actor = Annotated[Person, Depends(Allow("act"))]


class _Closing(BaseModel):
    """What somebody says who closes a card."""

    cause: str = Field("", max_length=500)
    done: str = Field("", max_length=4000)


@router.get("/cards", response_class=HTMLResponse)
def cards(request: Request, choice: Annotated[CardChoice, Query()]) -> Response:
    """All action cards, those raised last first."""
    every = cards_of(desk_of(request))
    found = chosen(every, choice)
    if choice.format == "csv":
        return PlainTextResponse(cards_csv(found), media_type="text/csv; charset=utf-8")
    return page(
        request,
        "cards/list.html.j2",
        cards=found,
        every=every,
        choice=choice,
        states=_STATES,
        rolls=sorted({one.roll for one in every.states}),
        rollers=sorted({one.card.roller for one in every.states}),
    )


@router.get("/cards/news", response_class=HTMLResponse)
def news(request: Request, person: Annotated[Person, Depends(Allow("read"))], but: str = "") -> HTMLResponse:
    """The cards that nobody sees to yet, as they stand at the top of each page: a part of one, for scripts."""
    found = cards_now(desk_of(request)).open if person.may("act") else ()
    return HTMLResponse(templates().get_template("cards/news.html.j2").render(news=found, news_but=but))


@router.get("/cards/{roll}/{number}", response_class=HTMLResponse)
def card(request: Request, roll: str, number: _Number) -> HTMLResponse:
    """One card as the control room needs it."""
    return _card_page(request, roll, number)


@router.get("/cards/{roll}/{number}/seen.svg")
def seen(request: Request, roll: str, number: _Number) -> Response:
    """The picture of what the watch saw when it raised the card."""
    return drawn(picture_of(desk_of(request), roll, number))


@router.get("/cards/{roll}/{number}/sheet", response_class=HTMLResponse)
def sheet(request: Request, roll: str, number: _Number) -> HTMLResponse:
    """The card on a page to print and carry to the machine."""
    from wideroll.report.card_page import card_page  # noqa: PLC0415  (loads what draws)

    text = card_page([find_card(desk_of(request), roll, number).card])
    return HTMLResponse(text, headers={"Content-Security-Policy": SHEET_POLICY})


@router.post("/cards/{roll}/{number}/take")
def take(request: Request, roll: str, number: _Number, person: _Actor) -> Response:
    """See to the card from now on, whoever did before."""
    from wideroll.acts.card_acts import take_card  # noqa: PLC0415

    one, desk = find_card(desk_of(request), roll, number), desk_of(request)
    try:
        take_card(desk.root, roll, one.card, who=person.name)
    except InputError as error:
        return _refused(request, roll, number, error)
    return RedirectResponse(f"/cards/{roll}/{number}", 303)


@router.post("/cards/{roll}/{number}/give-back")
def give_back(request: Request, roll: str, number: _Number, person: _Actor) -> Response:
    """See to the card no longer, so that somebody else may."""
    from wideroll.acts.card_acts import give_back_card  # noqa: PLC0415

    one, desk = find_card(desk_of(request), roll, number), desk_of(request)
    try:
        give_back_card(desk.root, roll, one.card, who=person.name)
    except InputError as error:
        return _refused(request, roll, number, error)
    return RedirectResponse(f"/cards/{roll}/{number}", 303)


@router.post("/cards/{roll}/{number}/close")
def close(request: Request, roll: str, number: _Number, person: _Actor, form: Annotated[_Closing, Form()]) -> Response:
    """Close the card: what was found behind it, and what was done."""
    from wideroll.acts.card_acts import close_card  # noqa: PLC0415

    one, desk = find_card(desk_of(request), roll, number), desk_of(request)
    said = {"cause": form.cause.strip(), "done": form.done.strip()}
    lacks = {"cause": "Say what made the marks.", "done": "Say what was done about it."}
    errors = [{"field": name, "words": words} for name, words in lacks.items() if not said[name]]
    if errors:
        return _card_page(request, roll, number, errors=errors, said=said, status=422)
    try:
        close_card(desk.root, roll, one.card, cause=said["cause"], done=said["done"], who=person.name)
    except InputError as error:
        return _refused(request, roll, number, error, said=said)
    return RedirectResponse(f"/cards/{roll}/{number}", 303)


def _refused(
    request: Request, roll: str, number: int, error: InputError, *, said: dict[str, str] | None = None
) -> HTMLResponse:
    words = f"{error.rule}. {error.mend}"
    return _card_page(
        request, roll, number, errors=[{"field": "", "words": words[:1].upper() + words[1:]}], said=said, status=409
    )


def _card_page(
    request: Request,
    roll: str,
    number: int,
    *,
    errors: list[dict[str, str]] | None = None,
    said: dict[str, str] | None = None,
    status: int = 200,
) -> HTMLResponse:
    from wideroll.report.card_words import card_words  # noqa: PLC0415  (loads the rooms)

    desk = desk_of(request)
    one = find_card(desk, roll, number)
    context: dict[str, Any] = {
        "one": one,
        "words": card_words(one.card),
        "machine": machine_words(desk, one.card.roller),
        "figure": evidence_of(desk, roll, number),
        "causes": causes_before(cards_of(desk)),
        "errors": errors or [],
        "said": said or {"cause": "", "done": ""},
        "prints": can_print(),
    }
    return page(request, "cards/card.html.j2", status=status, news_but=one.address, **context)
