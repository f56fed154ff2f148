"""The desk in a browser, put together: pages, the API below /api, guards and errors."""

from typing import Any, Final

from fastapi import FastAPI

from wideroll import __version__
from wideroll.server.cards import api as cards_api
from wideroll.server.cards import pages as cards_pages
from wideroll.server.complaints import api as complaints_api
from wideroll.server.complaints import pages as complaints_pages
from wideroll.server.cut import api as cut_api
from wideroll.server.cut import pages as cut_pages
from wideroll.server.desk import Desk, DeskSettings
from wideroll.server.errors import add_errors
from wideroll.server.examining import api as examining_api
from wideroll.server.examining import entry as examining_entry
from wideroll.server.examining import pages as examining_pages
from wideroll.server.examining import photographs as examining_photographs
from wideroll.server.examining import sending as examining_sending
from wideroll.server.guard import Guard
from wideroll.server.live import pages as live_pages
from wideroll.server.live.looking import at_work
from wideroll.server.login import pages as login_pages
from wideroll.server.login import provider_pages
from wideroll.server.people import api as people_api
from wideroll.server.people import pages as people_pages
from wideroll.server.plant import api as plant_api
from wideroll.server.plant import helping as plant_helping
from wideroll.server.plant import pages as plant_pages
from wideroll.server.plant import products as plant_products
from wideroll.server.programs import pages as programs_pages
from wideroll.server.record import api as record_api
from wideroll.server.record import pages as record_pages
from wideroll.server.repeats import api as repeats_api
from wideroll.server.repeats import pages as repeats_pages
from wideroll.server.rolls import api as rolls_api
from wideroll.server.rolls import deciding as rolls_deciding
from wideroll.server.rolls import pages as rolls_pages
from wideroll.server.static_files import STATIC, KeptFiles
from wideroll.server.strips import api as strips_api
from wideroll.server.strips import pages as strips_pages
from wideroll.server.trace import api as trace_api
from wideroll.server.trace import pages as trace_pages
from wideroll.server.trends import api as trends_api
from wideroll.server.trends import base_periods as trends_bases
from wideroll.server.trends import gauges as trends_gauges
from wideroll.server.trends import pages as trends_pages
from wideroll.server.viewer import api as viewer_api
from wideroll.server.viewer import pages as viewer_pages

__all__ = ["ROUTERS", "create_app"]

ROUTERS: Final = (
    rolls_pages.router,
    rolls_deciding.router,
    rolls_api.router,
    cut_pages.router,
    cut_api.router,
    strips_pages.router,
    strips_api.router,
    complaints_pages.router,
    complaints_api.router,
    trace_pages.router,
    trace_api.router,
    trends_pages.router,
    trends_gauges.router,
    trends_bases.router,
    trends_api.router,
    record_pages.router,
    record_api.router,
    cards_pages.router,
    cards_api.router,
    repeats_pages.router,
    repeats_api.router,
    live_pages.router,
    viewer_pages.router,
    viewer_api.router,
    examining_pages.router,
    examining_entry.router,
    examining_photographs.router,
    examining_sending.router,
    examining_api.router,
    login_pages.router,
    provider_pages.router,
    people_pages.router,
    people_api.router,
    plant_pages.router,
    plant_products.router,
    plant_api.router,
    plant_helping.router,
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
    desk = Desk(settings=settings)
    app = _DeskApp(
        title="wideroll desk",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=at_work(desk),
    )
    app.state.desk = desk
    app.add_middleware(Guard)
    add_errors(app)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", KeptFiles(directory=STATIC), name="static")
    return app
