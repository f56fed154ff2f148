"""What every request is held to before a page sees it, and what every answer carries."""

import re
from typing import Final

from fastapi import HTTPException
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from wideroll.server.bodies import most_bytes, said_bytes, token_in_body, with_limit
from wideroll.server.cookies import cookie_line
from wideroll.server.csrf import is_right_token, new_visitor
from wideroll.server.entrance import entrance_of
from wideroll.server.identity import bearer_of, who_asks
from wideroll.server.loading import loading_of
from wideroll.server.origins import comes_from_elsewhere, is_for_another_host, leads_astray
from wideroll.server.policies import HEADERS, PAGE_POLICY, PICTURE_POLICY, SHEET_POLICY
from wideroll.server.refusals import refusal

__all__ = ["OPEN", "PAGE_POLICY", "PICTURE_POLICY", "SHEET_POLICY", "Guard"]

OPEN: Final = ("/login", "/static")
"""Where nobody needs to say who they are; all below is open, too."""
_LIGHT: Final = re.compile(r"/|/(static|login|live)(/.*)?|/rolls/[^/]+|/api/rolls(/[^/]+)?")
"""What can be shown before the parts that compute are loaded."""
_SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_NO_POLICY: Final = 1008
_STARTED: Final = "wideroll.started"


class Guard:
    """Around all of the desk: nothing reaches a page that isn't for it, too long, from elsewhere, or from nobody."""

    def __init__(self, app: ASGIApp) -> None:
        """Around an application."""
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": _NO_POLICY})
        else:
            await self._http(Request(scope, receive), receive, _with_headers(Request(scope), send))

    async def _http(self, request: Request, receive: Receive, send: Send) -> None:
        app = self._app
        try:
            receive = await _let_through(request, receive)
        except HTTPException as error:
            app = await run_in_threadpool(
                refusal, request, status=error.status_code, rule=str(error.detail), logged=True
            )
        loading = loading_of(request.app.state.desk)
        if not loading.is_over() and not _is_light(str(request.scope["path"])):
            await run_in_threadpool(loading.wait)
        try:
            await app(request.scope, receive, send)
        except Exception:
            # Whoever waits gets an answer with all headers; the error goes on to the server, which tells it.
            if not request.scope.get(_STARTED):
                await _trouble(request)(request.scope, receive, send)
            raise


async def _let_through(request: Request, receive: Receive) -> Receive:
    """The body as the page may read it.

    Raises:
        HTTPException: when the request isn't let through.
    """
    if is_for_another_host(request):
        raise HTTPException(421, "the desk doesn't answer to that name")
    if leads_astray(request):
        raise HTTPException(404, "no address of the desk has steps upward or hidden signs")
    if str(request.scope["path"]).startswith("/static/"):
        return receive
    rules = entrance_of(request).rules
    most = most_bytes(request, form=rules.form_bytes, upload=rules.upload_bytes)
    if (said_bytes(request) or 0) > most:
        raise HTTPException(413, f"what is sent must have at most {most} bytes")
    asking = who_asks(request)
    if asking.person is None and not _is_open(str(request.scope["path"])):
        raise HTTPException(401, asking.trouble or "say who you are first")
    return await _from_our_page(request, with_limit(receive, most))


async def _from_our_page(request: Request, receive: Receive) -> Receive:
    if request.method in _SAFE or bearer_of(request) is not None:
        return receive
    if comes_from_elsewhere(request):
        raise HTTPException(403, "what changes something must come from a page of the desk itself")
    sent, receive = await token_in_body(request, receive)
    if not is_right_token(request, sent):
        raise HTTPException(403, "the form is too old, or was shown to somebody else: load its page again")
    return receive


def _trouble(request: Request) -> Response:
    rule, mend = "the desk has an error of its own", "Try again; if it goes on, tell who runs the desk."
    path = str(request.scope["path"])
    if not path.startswith("/api/"):
        return PlainTextResponse(f"{rule}. {mend}", status_code=500)
    error = {"status": 500, "where": path, "rule": rule, "mend": mend}
    return JSONResponse({"error": error}, status_code=500)


def _is_light(path: str) -> bool:
    return _LIGHT.fullmatch(path) is not None


def _is_open(path: str) -> bool:
    return any(path == place or path.startswith(f"{place}/") for place in OPEN)


def _with_headers(request: Request, send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            request.scope[_STARTED] = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Content-Security-Policy", PAGE_POLICY)
            visitor = new_visitor(request)
            if visitor:
                headers.append("set-cookie", cookie_line(request, "visitor", visitor))
        await send(message)

    return sent
