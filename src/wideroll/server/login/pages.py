"""The pages to come in by, to go out, and to change one's own password."""

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from wideroll.errors import InputError
from wideroll.people import find_person, set_password
from wideroll.server.access import Allow, Person, person_of
from wideroll.server.entrance import entrance_of
from wideroll.server.login.coming_in import begin_session, end_session, prove
from wideroll.server.pages import page
from wideroll.server.refusals import is_inside

__all__ = ["router"]

router: Final = APIRouter()
_MINUTE_S: Final = 60
_SEE_OTHER: Final = 303
_AnyText = Annotated[str, Form(max_length=2000)]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wrong:
    """What is wrong in a form, and at which field."""

    words: str
    field: str = ""


@router.get("/login", response_class=HTMLResponse)
def login(request: Request, next: str = "/") -> Response:  # noqa: A002  (as the address has it)
    """The form to log in by."""
    person = person_of(request)
    if person is not None:
        return RedirectResponse(_inside(next), status_code=_SEE_OTHER)
    return _form(request, name="", after=next)


@router.post("/login", response_class=HTMLResponse)
def log_in(
    request: Request,
    name: _AnyText = "",
    password: _AnyText = "",
    next: _AnyText = "/",  # noqa: A002
) -> Response:
    """Log in, and go on to the page that was asked for."""
    if not name.strip() or not password:
        empty = _Wrong(words="Enter your name and your password.", field="name" if not name.strip() else "password")
        return _form(request, name=name, after=next, wrong=empty, status=422)
    proof = prove(request, name, password)
    if proof.wait_s:
        minutes = -(-proof.wait_s // _MINUTE_S)
        late = _Wrong(words=f"Too many tries. Wait {minutes} min, then try again.")
        answer = _form(request, name=name, after=next, wrong=late, status=429)
        answer.headers["Retry-After"] = str(proof.wait_s)
        return answer
    if proof.person is None:
        wrong = _Wrong(words="Name or password isn't right.", field="password")
        return _form(request, name=name, after=next, wrong=wrong, status=401)
    passed = RedirectResponse(_inside(next), status_code=_SEE_OTHER)
    begin_session(request, passed, proof.person, how="password")
    return passed


@router.post("/logout")
def log_out(request: Request) -> RedirectResponse:
    """End the session."""
    answer = RedirectResponse("/login", status_code=_SEE_OTHER)
    end_session(request, answer)
    return answer


@router.get("/password", response_class=HTMLResponse)
def password_form(request: Request, person: Annotated[Person, Depends(Allow("read"))]) -> HTMLResponse:
    """The form for another password of one's own."""
    return _password_form(request, person)


@router.post("/password", response_class=HTMLResponse)
def change_password(
    request: Request,
    person: Annotated[Person, Depends(Allow("read"))],
    old: _AnyText = "",
    new: _AnyText = "",
    again: _AnyText = "",
) -> Response:
    """Change one's own password; all sessions end, and this browser gets a new one."""
    if person.alone or person.scopes is not None:
        return _password_form(request, person)
    wrong = _wrong_passwords(request, person, old=old, new=new, again=again)
    if wrong is not None:
        return _password_form(request, person, wrong=wrong, status=422)
    database = entrance_of(request).made_database()
    answer = RedirectResponse("/password?done=1", status_code=_SEE_OTHER)
    one = find_person(database, person.login)
    if one is not None:
        begin_session(request, answer, one, how="password")
    return answer


def _wrong_passwords(request: Request, person: Person, *, old: str, new: str, again: str) -> _Wrong | None:
    """What is wrong; or nothing, and the password is changed."""
    entrance = entrance_of(request)
    if new != again:
        return _Wrong(words="The two new passwords differ: type the same twice.", field="again")
    proof = prove(request, person.login, old)
    if proof.person is None:
        late = f" Wait {-(-proof.wait_s // _MINUTE_S)} min, then try again." if proof.wait_s else ""
        return _Wrong(words=f"The password you have now isn't right.{late}", field="old")
    try:
        hand = entrance.hand(person.name, request)
        set_password(entrance.made_database(), hand, person.login, new, cost=entrance.rules.cost)
    except InputError as error:
        return _Wrong(words=f"New password: {error.rule}. {error.mend}", field="new")
    return None


def _form(request: Request, *, name: str, after: str, wrong: _Wrong | None = None, status: int = 200) -> HTMLResponse:
    return page(
        request,
        "login/login.html.j2",
        status=status,
        typed=name,
        after=_inside(after),
        errors=[wrong] if wrong else [],
        provider=entrance_of(request).rules.provider,
    )


def _password_form(request: Request, person: Person, *, wrong: _Wrong | None = None, status: int = 200) -> HTMLResponse:
    return page(
        request,
        "login/password.html.j2",
        status=status,
        errors=[wrong] if wrong else [],
        done=request.query_params.get("done") == "1",
        whose=person,
    )


def _inside(address: str) -> str:
    return address if is_inside(address) and not address.startswith(("/login", "/logout")) else "/"
