"""The pages of people: the list with a form for one more, a page for each, and the log."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from wideroll.errors import InputError
from wideroll.people import (
    ACT_WORDS,
    ACTS,
    ROLES,
    Kind,
    PersonCard,
    add_person,
    change_person,
    find_person,
    make_token,
    revoke_token,
    set_password,
)
from wideroll.server.access import Allow, Person
from wideroll.server.entrance import entrance_of
from wideroll.server.pages import page
from wideroll.server.people.data import KINDS, comma_lines, log_rows, people_rows, person_row, token_rows
from wideroll.server.refusals import error_answer

__all__ = ["router"]

_SEE_OTHER: Final = 303
_WRONG: Final = 422
_LINES: Final = 100
_AnyText = Annotated[str, Form(max_length=2000)]
_Choices = Annotated[list[str], Form(max_length=20)]
_Administrator = Annotated[Person, Depends(Allow("administer"))]
_PEOPLE: Final = ("name", "shown", "roles", "disabled", "password", "provider", "added")
_TOKENS: Final = ("name", "person", "scopes", "state", "made", "made_by", "ends", "revoked")
_ROLES_IN_WORDS: Final = {
    role: ", ".join(words for act, words in ACT_WORDS.items() if act in acts) for role, acts in ROLES.items()
}
_LOG: Final = ("number", "when", "kind", "who", "what", "about", "address")

router: Final = APIRouter(prefix="/people", dependencies=[Depends(Allow("administer"))])


@router.get("", response_class=HTMLResponse)
def people(request: Request, format: str = "") -> Response:  # noqa: A002  (as the address has it)
    """Who there is, their tokens, and the form to add somebody."""
    if format == "csv":
        return _csv(comma_lines(people_rows(entrance_of(request).database()), _PEOPLE))
    return _list(request)


@router.post("", response_class=HTMLResponse)
def add(
    request: Request,
    person: _Administrator,
    *,
    name: _AnyText = "",
    shown: _AnyText = "",
    password: _AnyText = "",
    roles: _Choices = [],  # noqa: B006  (FastAPI copies it)
) -> Response:
    """Add somebody."""
    entrance = entrance_of(request)
    try:
        added = add_person(
            entrance.made_database(),
            entrance.hand(person.name, request),
            name=name,
            shown=shown,
            roles=roles,
            password=password or None,
            cost=entrance.rules.cost,
        )
    except InputError as error:
        return _list(request, error=error, typed={"name": name, "shown": shown, "roles": roles})
    return RedirectResponse("/login" if person.alone else f"/people/{added.name}?done=added", status_code=_SEE_OTHER)


@router.get("/log", response_class=HTMLResponse)
def log(
    request: Request,
    kind: Kind | None = None,
    before: Annotated[int | None, Query(ge=1, le=2**62)] = None,
    format: str = "",  # noqa: A002
) -> Response:
    """Who came in, what was changed about people, and what was refused."""
    rows = log_rows(entrance_of(request).database(), kind=kind, before=before, most=_LINES)
    if format == "csv":
        return _csv(comma_lines(rows, _LOG))
    return page(request, "people/log.html.j2", rows=rows, kind=kind, kinds=KINDS, more=len(rows) == _LINES)


@router.get("/tokens")
def tokens(request: Request) -> Response:
    """The tokens as CSV."""
    entrance = entrance_of(request)
    return _csv(comma_lines(token_rows(entrance.database(), now_s=entrance.now_s), _TOKENS))


@router.post("/tokens/{token}/revoke", response_class=HTMLResponse)
def revoke(request: Request, person: _Administrator, token: str) -> Response:
    """Let a token be used no longer."""
    entrance = entrance_of(request)
    try:
        revoke_token(entrance.made_database(), entrance.hand(person.name, request), token)
    except InputError as error:
        return _unknown(request, error)
    return RedirectResponse("/people?done=revoked", status_code=_SEE_OTHER)


@router.get("/{name}", response_class=HTMLResponse)
def one(request: Request, name: str) -> Response:
    """A person: roles, coming in, password, tokens."""
    return _one(request, name)


@router.post("/{name}/roles", response_class=HTMLResponse)
def give_roles(request: Request, person: _Administrator, name: str, roles: _Choices = []) -> Response:  # noqa: B006
    """Give a person other roles."""
    entrance = entrance_of(request)
    try:
        change_person(entrance.made_database(), entrance.hand(person.name, request), name, roles=roles)
    except InputError as error:
        return _one(request, name, error=error, typed={"roles": roles})
    return RedirectResponse(f"/people/{name}?done=roles", status_code=_SEE_OTHER)


@router.post("/{name}/coming-in", response_class=HTMLResponse)
def let_in(request: Request, person: _Administrator, name: str, disabled: _AnyText = "") -> Response:
    """Let a person in no longer, or again."""
    entrance = entrance_of(request)
    try:
        change_person(entrance.made_database(), entrance.hand(person.name, request), name, disabled=disabled == "yes")
    except InputError as error:
        return _one(request, name, error=error)
    return RedirectResponse(f"/people/{name}?done=coming-in", status_code=_SEE_OTHER)


@router.post("/{name}/password", response_class=HTMLResponse)
def give_password(request: Request, person: _Administrator, name: str, password: _AnyText = "") -> Response:
    """Give a person another password; all their sessions end."""
    entrance = entrance_of(request)
    try:
        hand = entrance.hand(person.name, request)
        set_password(entrance.made_database(), hand, name, password, cost=entrance.rules.cost)
    except InputError as error:
        return _one(request, name, error=error)
    return RedirectResponse(f"/people/{name}?done=password", status_code=_SEE_OTHER)


@router.post("/{name}/tokens", response_class=HTMLResponse)
def give_token(
    request: Request,
    person: _Administrator,
    name: str,
    *,
    token: _AnyText = "",
    scopes: _Choices = [],  # noqa: B006
    days: _AnyText = "",
) -> Response:
    """Make a token that acts for a person; it is shown this once."""
    entrance = entrance_of(request)
    try:
        secret = make_token(
            entrance.made_database(),
            entrance.hand(person.name, request),
            name=token,
            person=name,
            scopes=scopes,
            days=_whole(days),
        )
    except InputError as error:
        return _one(request, name, error=error, typed={"token": token, "scopes": scopes, "days": days})
    return _one(request, name, secret=secret)


def _list(request: Request, *, error: InputError | None = None, typed: dict[str, Any] | None = None) -> HTMLResponse:
    entrance = entrance_of(request)
    database = entrance.database()
    return page(
        request,
        "people/list.html.j2",
        status=_WRONG if error else 200,
        people=people_rows(database),
        tokens=token_rows(database, now_s=entrance.now_s),
        refused=log_rows(database, kind="refused", before=None, most=5),
        roles=_ROLES_IN_WORDS,
        typed={"name": "", "shown": "", "roles": [], **(typed or {})},
        errors=_words(error),
        done=request.query_params.get("done", ""),
    )


def _one(
    request: Request,
    name: str,
    *,
    error: InputError | None = None,
    typed: dict[str, Any] | None = None,
    secret: str = "",
) -> Response:
    entrance = entrance_of(request)
    database = entrance.database()
    card: PersonCard | None = None if database is None else find_person(database, name)
    if card is None:
        unknown = InputError(where=name, rule="nobody here has that name", mend="Take a name from the list of people.")
        return _unknown(request, unknown)
    return page(
        request,
        "people/one.html.j2",
        status=_WRONG if error else 200,
        one=person_row(card),
        tokens=token_rows(database, now_s=entrance.now_s, person=card.name),
        roles=_ROLES_IN_WORDS,
        words=ACT_WORDS,
        scopes=[act for act in ACTS if act != "administer" and any(act in ROLES[role] for role in card.roles)],
        typed={"roles": list(card.roles), "token": "", "scopes": ["read"], "days": "90", **(typed or {})},
        errors=_words(error),
        done=request.query_params.get("done", ""),
        secret=secret,
    )


def _words(error: InputError | None) -> list[dict[str, str]]:
    if error is None:
        return []
    got = "" if error.value is None else f" (got {error.value})"
    return [{"field": error.where, "words": f"{error.where.capitalize()}: {error.rule}{got}. {error.mend}"}]


def _unknown(request: Request, error: InputError) -> Response:
    return error_answer(request, status=404, where=error.where, rule=error.rule, mend=error.mend)


def _csv(text: str) -> Response:
    return PlainTextResponse(text, media_type="text/csv; charset=utf-8")


def _whole(text: str) -> int:
    if not (text.strip().isascii() and text.strip().isdigit()) or len(text) > 9:  # noqa: PLR2004
        raise InputError(where="days", rule="must be a whole number", value=text, mend="Write it like 90.")
    return int(text)
