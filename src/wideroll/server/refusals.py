"""Refusing a request: the log's line, the way to the login, and the one shape of an error."""

from typing import Final
from urllib.parse import quote, urlencode

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response

from wideroll.server.cookies import read_cookie
from wideroll.server.entrance import entrance_of
from wideroll.server.identity import bearer_of, who_asks
from wideroll.server.pages import page

__all__ = ["error_answer", "is_inside", "list_near", "refusal"]

_NOT_SAID: Final = 401
_NOT_FOUND: Final = 404
_FORM_ONLY: Final = 405
_OTHER_HOST: Final = 421
_LOGGED: Final = frozenset({400, _NOT_SAID, 403, 413, _OTHER_HOST, 429})
_MENDS: Final = {
    400: "Take the address from a page of the desk.",
    _NOT_SAID: "Log in, or send a good token.",
    403: "Ask an administrator of the desk if you should be able to.",
    _FORM_ONLY: "A form of its page sends it; it can't be opened by itself.",
    413: "Send less, or a smaller photograph.",
    _OTHER_HOST: "Ask for it by the name that its start printed; desk.toml can name others.",
    429: "Wait, then try again.",
}
_LISTS: Final = (
    ("/plant/products", "the list of products", "/plant/products"),
    ("/products", "the list of products", "/plant/products"),
    ("/plant", "the page of the plant", "/plant"),
    ("/cards", "the list of action cards", "/cards"),
    ("/complaints", "the list of complaints", "/complaints"),
    ("/record", "the events of the record", "/record"),
    ("/people", "the list of people", "/people"),
    ("/trends", "all charts", "/trends"),
    ("/trace", "the page that traces", "/trace"),
)
"""By the beginning of an address: what is listed near it, and where; else the rolls."""
_ROLLS: Final = ("the list of rolls", "/")
_LONGEST_ADDRESS: Final = 2000


def error_answer(request: Request, *, status: int, where: str, rule: str, mend: str) -> Response:
    """An error in the one shape: JSON below /api, the same words as a page elsewhere."""
    if str(request.scope["path"]).startswith("/api/"):
        error = {"status": status, "where": where, "rule": rule, "mend": mend}
        return JSONResponse({"error": error}, status_code=status)
    near = list_near(request) if status in {_NOT_FOUND, _FORM_ONLY} else _ROLLS
    return page(request, "error.html.j2", status=status, where=where, rule=rule, mend=mend, near=near)


def list_near(request: Request) -> tuple[str, str]:
    """What is listed near an address that leads nowhere, in words, and where that list is."""
    path = str(request.scope["path"]).removeprefix("/api")
    found = (one[1:] for one in _LISTS if path == one[0] or path.startswith(f"{one[0]}/"))
    return next(found, _ROLLS)


def refusal(request: Request, *, status: int, rule: str, logged: bool = False) -> Response:
    """The answer to what isn't let through, and its line in the log.

    Whoever looks at a page without having logged in is led to the login instead.

    Args:
        request: that is refused.
        status: of the answer.
        rule: that it breaks.
        logged: whether it stands in the log whatever the status.
    """
    if status == _OTHER_HOST:
        # Asked for by a name of theirs, another site could read the answer: it tells nothing.
        entrance_of(request).log("refused", request, who="", what=f"{status}: {rule}", about=_host(request))
        if str(request.scope["path"]).startswith("/api/"):
            return error_answer(request, status=status, where="host", rule=rule, mend=_MENDS[status])
        return PlainTextResponse(f"{rule}. {_MENDS[status]}", status_code=status)
    asking = who_asks(request)
    looks = request.method in {"GET", "HEAD"} and not str(request.scope["path"]).startswith("/api/")
    if (logged or status in _LOGGED) and not (status == _NOT_SAID and looks and not asking.trouble):
        what = f"{request.method} {status}: {rule}"
        who = asking.person.name if asking.person else ""
        entrance_of(request).log("refused", request, who=who, what=what, about=str(request.scope["path"]))
    if status == _NOT_SAID and looks:
        return _to_login(request)
    mend = _MENDS.get(status, f"See {list_near(request)[0]}.")
    answer = error_answer(request, status=status, where=str(request.scope["path"]), rule=rule, mend=mend)
    if status == _NOT_SAID and bearer_of(request) is not None:
        answer.headers["WWW-Authenticate"] = "Bearer"
    return answer


def is_inside(address: str) -> bool:
    r"""Whether an address leads to a page of the desk and nowhere else.

    Example:
        >>> is_inside("/rolls/4711?n=2"), is_inside("//elsewhere.example"), is_inside("/\\elsewhere.example")
        (True, False, False)
    """
    return (
        address.startswith("/")
        and not address.startswith("//")
        and len(address) <= _LONGEST_ADDRESS
        and address.isprintable()
        and "\\" not in address
    )


def _host(request: Request) -> str:
    return ", ".join(request.headers.getlist("host")) or "no name"


def _to_login(request: Request) -> Response:
    here = quote(str(request.scope["path"]), safe="/") + (f"?{request.url.query}" if request.url.query else "")
    if (
        request.headers.get("sec-fetch-site") == "cross-site"
        and not read_cookie(request, "session")
        and is_inside(here)
    ):
        # A browser that follows a link from elsewhere keeps the session's cookie back; from our own page it sends it.
        return page(request, "login/go_on.html.j2", address=here)
    login = "/login?" + urlencode({"next": here}) if here != "/" and is_inside(here) else "/login"
    if request.headers.get("hx-request"):
        return Response(status_code=_NOT_SAID, headers={"HX-Redirect": login})
    return RedirectResponse(login, status_code=303)
