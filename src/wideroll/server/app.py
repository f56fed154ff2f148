"""The desk in a browser, put together: pages, the API below /api, guards and errors."""

from typing import Any, Final

from fastapi import FastAPI

from wideroll import __version__
from wideroll.server.desk import Desk, DeskSettings
from wideroll.server.errors import add_errors
from wideroll.server.guard import Guard
from wideroll.server.login import pages as login_pages
from wideroll.server.login import provider_pages
from wideroll.server.people import api as people_api
from wideroll.server.people import pages as people_pages
from wideroll.server.programs import pages as programs_pages
from wideroll.server.rolls import api as rolls_api
from wideroll.server.rolls import deciding as rolls_deciding
from wideroll.server.rolls import pages as rolls_pages
from wideroll.server.static_files import STATIC, KeptFiles
from wideroll.server.viewer import api as viewer_api
from wideroll.server.viewer import pages as viewer_pages

__all__ = ["ROUTERS", "create_app"]

ROUTERS: Final = (
    rolls_pages.router,
    rolls_deciding.router,
    rolls_api.router,
    viewer_pages.router,
    viewer_api.router,
    login_pages.router,
    provider_pages.router,
    people_pages.router,
    people_api.router,
    programs_pages.router,
)
"""All addresses of the desk but its files."""


class _DeskApp(FastAPI):
    """With a description of what lies below /api, made when it is first asked for."""

    def openapi(self) -> dict[str, Any]:
        """The description, without the ways to say who asks."""
        if self.openapi_schema is None:
            from wideroll.server.programs.document import describe  # noqa: PLC0415  (only some ask)

            self.openapi_schema = describe(ROUTERS, version=__version__)
        return self.openapi_schema


def create_app(settings: DeskSettings) -> FastAPI:
    """The desk over one plant.

    It answers only to the names that it is told and sends nothing outward.

    Args:
        settings: of the desk.
    """
    app = _DeskApp(title="wideroll desk", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    app.state.desk = Desk(settings=settings)
    app.add_middleware(Guard)
    add_errors(app)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", KeptFiles(directory=STATIC), name="static")
    return app
