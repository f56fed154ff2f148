"""Where the API tells what a page shows; and the pages that need no such place, each with why."""

from collections.abc import Mapping
from typing import Final

__all__ = ["ALONE", "TWINS"]

_DRAWN: Final = "a picture or sheet drawn from what the API gives as numbers"
_TABLE: Final = "a table as a file; the API gives its rows"
_FORM: Final = "a form to fill in; it shows nothing that isn't shown elsewhere"
_COMING_IN: Final = "for whoever comes in by a browser; programs come by token"

TWINS: Final[Mapping[str, tuple[str, ...]]] = {
    "/": ("/api/rolls",),
    "/api": ("/api/openapi.json",),
    "/cards": ("/api/cards",),
    "/cards/news": ("/api/cards",),
    "/cards/{roll}/{number}": ("/api/cards/{roll}/{number}",),
    "/complaints": ("/api/complaints",),
    "/complaints/{case}": ("/api/complaints/{case}",),
    "/people": ("/api/people", "/api/people/tokens", "/api/people/log"),
    "/people/log": ("/api/people/log",),
    "/people/{name}": ("/api/people/{name}",),
    "/plant": ("/api/plant",),
    "/plant/products": ("/api/products",),
    "/plant/products/{product}": ("/api/products/{product}",),
    "/record": ("/api/record",),
    "/record/checkpoints": ("/api/record/checkpoints",),
    "/record/verify": ("/api/record/verify",),
    "/record/{number}": ("/api/record/{number}",),
    "/rolls/{roll}": ("/api/rolls/{roll}", "/api/rolls/{roll}/standing", "/api/rolls/{roll}/shown/{page_name}"),
    "/rolls/{roll}/cut": ("/api/rolls/{roll}/cut",),
    "/rolls/{roll}/cut/wish": ("/api/rolls/{roll}/cut/wish",),
    "/rolls/{roll}/decide": ("/api/rolls/{roll}/decide",),
    "/rolls/{roll}/examination": ("/api/rolls/{roll}/examination", "/api/rolls/{roll}/examination/sightings"),
    "/rolls/{roll}/examination/send": ("/api/rolls/{roll}/examination/draft",),
    "/rolls/{roll}/examination/{sheet}/enter": ("/api/rolls/{roll}/examination/draft",),
    "/rolls/{roll}/map": ("/api/rolls/{roll}/segments", "/api/rolls/{roll}/shown/{page_name}"),
    "/rolls/{roll}/map/{number}": ("/api/rolls/{roll}/segments/{number}", "/api/rolls/{roll}/marks"),
    "/rolls/{roll}/repeats": ("/api/rolls/{roll}/repeats",),
    "/rolls/{roll}/repeats/next": ("/api/rolls/{roll}/repeats/next",),
    "/rolls/{roll}/strips": ("/api/rolls/{roll}/strips", "/api/rolls/{roll}/strips/{strip}"),
    "/trace": ("/api/trace", "/api/trace/coated"),
    "/trends": ("/api/trends",),
    "/trends/base-periods": ("/api/trends/base-periods",),
    "/trends/causes": ("/api/trends/causes",),
    "/trends/chart": ("/api/trends/chart",),
    "/trends/gauges": ("/api/trends/gauges",),
}
"""By the page's path."""

ALONE: Final[Mapping[str, str]] = {
    "/cards/{roll}/{number}/seen.svg": _DRAWN,
    "/cards/{roll}/{number}/sheet": _DRAWN,
    "/complaints/new": _FORM,
    "/complaints/{case}/photographs/{number}": "a file as it was sent in; the case names it with its digest",
    "/complaints/{case}/{step}": _FORM,
    "/help": "the same words for every plant",
    "/live": "news as they come, for pages; a program asks for the cards and the record",
    "/login": _COMING_IN,
    "/login/provider": _COMING_IN,
    "/login/provider/back": _COMING_IN,
    "/password": _COMING_IN,
    "/people/tokens": _TABLE,
    "/plant/new-product": _FORM,
    "/plant/products/{product}/change": _FORM,
    "/plant/products/{product}/tables/{key}.csv": _TABLE,
    "/plant/tables/{key}.csv": _TABLE,
    "/record/bundle.zip": "files for somebody who checks the record elsewhere; the API gives its events",
    "/rolls/{roll}/cut/list.csv": _TABLE,
    "/rolls/{roll}/cut/sheet": _DRAWN,
    "/rolls/{roll}/print/{kind}.pdf": _DRAWN,
    "/rolls/{roll}/cut/wish.csv": _TABLE,
    "/rolls/{roll}/cut/wish.svg": _DRAWN,
    "/rolls/{roll}/examination/drafts/{name}": "a photograph in hand of one examiner; nobody else is to see it",
    "/rolls/{roll}/examination/photographs/{name}": "a photograph as it was sent in; the sightings name it",
    "/rolls/{roll}/examination/{sheet}/photograph": _FORM,
    "/rolls/{roll}/examination/{table}.csv": _TABLE,
    "/rolls/{roll}/marks/{mark}/chip.png": "a piece of the scan; the mark's measures stand in the API",
    "/rolls/{roll}/overview.svg": _DRAWN,
    "/rolls/{roll}/repeats/cases.csv": _TABLE,
    "/rolls/{roll}/repeats/next.svg": _DRAWN,
    "/rolls/{roll}/repeats/next/sheet": _DRAWN,
    "/rolls/{roll}/segments/{number}/still.svg": _DRAWN,
    "/rolls/{roll}/segments/{number}/{layer}/{level}/{x_y}.png": "a piece of the scan; the API tells where each lies",
    "/rolls/{roll}/sheet": _DRAWN,
    "/rolls/{roll}/shown/{name}": _DRAWN,
    "/rolls/{roll}/strips/now/{name}": _DRAWN,
    "/rolls/{roll}/tables/{page_name}/{key}.csv": _TABLE,
    "/scale-of-greys.svg": _DRAWN,
    "/trace/picture.svg": _DRAWN,
    "/trace/recall.csv": _TABLE,
    "/trace/recalls/{name}": "a file written by an act; the record names it with its digest",
    "/trends/causes.svg": _DRAWN,
    "/trends/chart.svg": _DRAWN,
}
"""By the page's path: why it has none."""
