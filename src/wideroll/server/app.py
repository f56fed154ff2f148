"""The desk in a browser, put together: pages, the API below /api, guards and errors."""

from typing import Final

from fastapi import FastAPI

from wideroll import __version__
from wideroll.server.desk import Desk, DeskSettings
from wideroll.server.errors import add_errors
from wideroll.server.guard import Guard
from wideroll.server.login import pages as login_pages
from wideroll.server.login import provider_pages
from wideroll.server.people import api as people_api
from wideroll.server.people import pages as people_pages
from wideroll.server.plant import api as plant_api
from wideroll.server.plant import helping as plant_helping
from wideroll.server.plant import pages as plant_pages
from wideroll.server.plant import products as plant_products
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
    plant_pages.router,
    plant_products.router,
    plant_api.router,
    plant_helping.router,
)
"""All addresses of the desk but its files."""


def create_app(settings: DeskSettings) -> FastAPI:
    """The desk over one plant.

    It answers only to the names that it is told and sends nothing outward.

    Args:
        settings: of the desk.
    """
    app = FastAPI(title="wideroll desk", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    app.state.desk = Desk(settings=settings)
    app.add_middleware(Guard)
    add_errors(app)
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", KeptFiles(directory=STATIC), name="static")
    return app
