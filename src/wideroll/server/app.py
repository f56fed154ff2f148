"""The desk in a browser, put together: pages, the API below /api, guards and errors."""

import re
from threading import Lock
from typing import Any, Final

from fastapi import APIRouter, FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.types import Receive, Scope, Send

from wideroll import __version__
from wideroll.server.desk import Desk, DeskSettings
from wideroll.server.errors import add_errors
from wideroll.server.guard import Guard
from wideroll.server.live import pages as live_pages
from wideroll.server.live.looking import at_work
from wideroll.server.login import pages as login_pages
from wideroll.server.rolls import pages as rolls_pages
from wideroll.server.static_files import STATIC, KeptFiles

__all__ = ["DeskApp", "create_app", "routers"]

_FIRST: Final = (rolls_pages.router, login_pages.router, live_pages.router)
_FIRST_PATHS: Final = re.compile(r"/|/(static|live)(/.*)?|/login|/rolls/[^/]+")


def routers() -> tuple[APIRouter, ...]:
    """All addresses of the desk but its files."""
    from wideroll.server.later import LATER  # noqa: PLC0415  (after the first page)

    return (*_FIRST, *LATER)


class DeskApp(FastAPI):
    """Has the addresses of the first page at once, and all others as soon as one of them is asked for."""

    def __init__(self, desk: Desk) -> None:
        """Over a desk."""
        super().__init__(
            title="wideroll desk",
            version=__version__,
            docs_url=None,
            redoc_url=None,
            openapi_url=None,
            lifespan=at_work(desk),
        )
        self.state.desk = desk
        self._whole = False
        self._lock = Lock()
        for router in _FIRST:
            self.include_router(router)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if not self._whole and scope["type"] == "http" and _FIRST_PATHS.fullmatch(scope["path"]) is None:
            await run_in_threadpool(self.complete)
        await super().__call__(scope, receive, send)

    def complete(self) -> None:
        """Add the addresses that are still missing."""
        with self._lock:
            if not self._whole:
                for router in routers()[len(_FIRST) :]:
                    self.include_router(router)
                self._whole = True

    def openapi(self) -> dict[str, Any]:
        """The description of what lies below /api, without the ways to say who asks."""
        if self.openapi_schema is None:
            from wideroll.server.programs.document import describe  # noqa: PLC0415  (only some ask)

            self.openapi_schema = describe(routers(), version=__version__)
        return self.openapi_schema


def create_app(settings: DeskSettings) -> DeskApp:
    """The desk over one plant.

    It answers only to the names that it is told and sends nothing outward.

    Args:
        settings: of the desk.
    """
    app = DeskApp(Desk(settings=settings))
    app.add_middleware(Guard)
    add_errors(app)
    app.mount("/static", KeptFiles(directory=STATIC), name="static")
    return app
