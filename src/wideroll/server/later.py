"""The addresses that the first page does without, loaded after it: analysing them takes most of the start."""

from typing import Final

from wideroll.server.cards import api as cards_api
from wideroll.server.cards import pages as cards_pages
from wideroll.server.complaints import api as complaints_api
from wideroll.server.complaints import pages as complaints_pages
from wideroll.server.cut import api as cut_api
from wideroll.server.cut import pages as cut_pages
from wideroll.server.examining import api as examining_api
from wideroll.server.examining import entry as examining_entry
from wideroll.server.examining import pages as examining_pages
from wideroll.server.examining import photographs as examining_photographs
from wideroll.server.examining import sending as examining_sending
from wideroll.server.examining import taking_back as examining_taking_back
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
from wideroll.server.rolls import printing as rolls_printing
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

__all__ = ["LATER"]

LATER: Final = (
    rolls_deciding.router,
    rolls_printing.router,
    rolls_api.router,
    cut_pages.router,
    cut_api.router,
    strips_pages.router,
    strips_api.router,
    complaints_pages.router,
    complaints_api.router,
    complaints_api.acts,
    trace_pages.router,
    trace_api.router,
    trace_api.acts,
    trends_pages.router,
    trends_gauges.router,
    trends_bases.router,
    trends_api.router,
    trends_api.acts,
    record_pages.router,
    record_api.router,
    cards_pages.router,
    cards_api.router,
    repeats_pages.router,
    repeats_api.router,
    viewer_pages.router,
    viewer_api.router,
    examining_pages.router,
    examining_entry.router,
    examining_photographs.router,
    examining_sending.router,
    examining_taking_back.router,
    examining_api.router,
    provider_pages.router,
    people_pages.router,
    people_api.router,
    plant_pages.router,
    plant_products.router,
    plant_api.router,
    plant_helping.router,
    programs_pages.router,
)
"""Those of all areas, but for what ``app`` holds."""
