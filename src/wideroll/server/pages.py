"""How pages are made: one way to read templates, one frame with the places to go."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request

from wideroll import __version__
from wideroll.server.access import person_of
from wideroll.server.card_book import cards_now
from wideroll.server.csrf import csrf_field
from wideroll.server.desk import desk_of
from wideroll.server.live.hub import hub_of
from wideroll.server.static_files import static_address
from wideroll.server.times import FILTERS, in_zone, zone_of

__all__ = ["PLACES", "SIGNS", "Place", "page", "templates"]

SIGNS: Final[Mapping[str, str]] = {"release": "●", "hold": "▲", "cut out": "◧", "reject": "✖"}
"""The shape beside each verdict's word, as on the sheets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place to go, at the head of each page; ``may`` is what somebody must be allowed to see it."""

    name: str
    address: str
    may: str = "read"

    def holds(self, path: str) -> bool:
        """Whether a page lies there; that of a roll lies with the rolls."""
        if self.address == "/":
            return path == "/" or path.startswith("/rolls/")
        return path == self.address or path.startswith(f"{self.address}/")


PLACES: Final = (
    Place(name="Rolls", address="/"),
    Place(name="Action cards", address="/cards"),
    Place(name="Trends", address="/trends"),
    Place(name="Trace", address="/trace"),
    Place(name="Complaints", address="/complaints"),
    Place(name="Record", address="/record"),
    Place(name="Plant", address="/plant"),
    Place(name="People", address="/people", may="administer"),
    Place(name="Help", address="/help"),
)

_TEMPLATES: Final = Environment(
    loader=PackageLoader("wideroll.server", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_TEMPLATES.globals |= {"csrf_field": csrf_field, "signs": SIGNS, "static": static_address, "version": __version__}
_TEMPLATES.filters |= FILTERS


def templates() -> Environment:
    """Where pages come from."""
    return _TEMPLATES


def page(request: Request, name: str, /, *, status: int = 200, **context: Any) -> HTMLResponse:
    """A page of the desk.

    Args:
        request: what was asked.
        name: of the template, such as ``rolls/list.html.j2``.
        status: of the answer.
        context: what the template names besides.
    """
    person, desk = person_of(request), desk_of(request)
    with in_zone(zone_of(desk)):
        text = _TEMPLATES.get_template(name).render(
            request=request,
            desk=desk,
            made_utc=datetime.now(UTC).isoformat(timespec="seconds"),
            live_at=hub_of(desk).position,
            news=cards_now(desk).open if person is not None and person.may("act") else (),
            person=person,
            places=[place for place in PLACES if person is not None and person.may(place.may)],
            status=status,
            **context,
        )
    return HTMLResponse(text, status_code=status)
