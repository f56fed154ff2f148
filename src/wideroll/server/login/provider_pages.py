"""The way to the provider of names and back."""

from typing import Annotated, Final

from fastapi import APIRouter, HTTPException, Query, Request
from fastapi.responses import RedirectResponse, Response

from wideroll.errors import InputError
from wideroll.people import Provider
from wideroll.server.cookies import drop_cookie, read_cookie, set_cookie
from wideroll.server.entrance import entrance_of
from wideroll.server.login.coming_in import begin_session
from wideroll.server.login.provided import person_for
from wideroll.server.login.provider import Errand, Errands, begin_errand, finish_errand
from wideroll.server.pages import page
from wideroll.server.refusals import error_answer, is_inside

__all__ = ["router"]

router: Final = APIRouter(prefix="/login/provider")
_SEE_OTHER: Final = 303
_Text = Annotated[str, Query(max_length=4000)]


@router.get("")
def go(request: Request, next: _Text = "/") -> Response:  # noqa: A002  (as the address has it)
    """Send the browser to the provider."""
    entrance, provider = entrance_of(request), _provider(request)
    after = next if is_inside(next) else "/"
    try:
        address, state = begin_errand(
            provider, _errands(request), back=_back(request), after=after, now_s=entrance.clock()
        )
    except InputError as error:
        return _refused(request, error)
    answer = RedirectResponse(address, status_code=_SEE_OTHER)
    set_cookie(request, answer, "provider", state)
    return answer


@router.get("/back")
def come_back(request: Request, state: _Text = "", code: _Text = "", error: _Text = "") -> Response:
    """Take what the browser brings back, and let in whom it proves."""
    entrance, provider = entrance_of(request), _provider(request)
    errand = _errand(request, state)
    try:
        if errand is None or error or not code:
            raise _lost(error)
        facts = finish_errand(provider, entrance.root, errand, code, now_s=entrance.clock())
        person = person_for(request, provider, facts)
    except InputError as trouble:
        return _refused(request, trouble)
    # From the provider's page the session's new cookie wouldn't come along: a page of our own leads on.
    answer = page(request, "login/go_on.html.j2", address=errand.after)
    begin_session(request, answer, person, how="provider")
    drop_cookie(request, answer, "provider")
    return answer


def _errand(request: Request, state: str) -> Errand | None:
    """The browser's own errand: another's, one that was taken, or an old one doesn't count."""
    mine = read_cookie(request, "provider")
    taken = _errands(request).take(state, entrance_of(request).clock())
    return taken if mine and mine == state else None


def _errands(request: Request) -> Errands:
    errands: Errands = entrance_of(request).parts.setdefault("errands", Errands())
    return errands


def _provider(request: Request) -> Provider:
    provider = entrance_of(request).rules.provider
    if provider is None:
        raise HTTPException(404, "this desk has no provider of names")
    return provider


def _back(request: Request) -> str:
    scheme = "https" if entrance_of(request).rules.https else "http"
    return f"{scheme}://{request.headers['host']}/login/provider/back"


def _lost(error: str) -> InputError:
    return InputError(
        where="coming in by the provider of names",
        rule="what comes back must be what this browser went for, once and within ten minutes",
        value=error or None,
        mend="Begin again at the login page.",
    )


def _refused(request: Request, error: InputError) -> Response:
    what = f"login by provider: {error.where}: {error.rule}" + (f" ({error.value})" if error.value else "")
    entrance_of(request).log("refused", request, who="", what=what, about=request.url.path)
    answer = error_answer(request, status=403, where=error.where, rule=error.rule, mend=error.mend)
    drop_cookie(request, answer, "provider")
    return answer
