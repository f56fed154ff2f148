"""What all pages of one roll have at their head."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from fastapi.responses import HTMLResponse
from starlette.requests import Request

from wideroll.server.desk import desk_of
from wideroll.server.pages import page
from wideroll.server.rolls.shown import size_of
from wideroll.server.rolls.waiting import standing_of

__all__ = ["Tab", "roll_page", "tabs_of"]

_TABS = (
    ("Decision", ""),
    ("Map", "/map"),
    ("Strips", "/strips"),
    ("Examination", "/examination"),
    ("Repeats", "/repeats"),
    ("Cut", "/cut"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tab:
    """One of a roll's pages."""

    name: str
    address: str


def tabs_of(roll: str) -> tuple[Tab, ...]:
    """The pages of a roll."""
    return tuple(Tab(name=name, address=f"/rolls/{quote(roll)}{end}") for name, end in _TABS)


def roll_page(
    request: Request, roll: str, template: str, *, here: str, status: int = 200, **context: Any
) -> HTMLResponse:
    """A page of a roll, whose template extends ``rolls/roll.html.j2``.

    Args:
        request: what was asked.
        roll: its name.
        template: of the page.
        here: the tab that it is, such as ``Map``.
        status: of the answer.
        context: what the template names besides.

    Raises:
        FileNotFoundError: when there is no such roll.
    """
    desk = desk_of(request)
    standing = standing_of(desk.root, desk.results, roll, datetime.now(UTC))
    size = size_of(desk, roll) if standing.verdict and not standing.trouble else ""
    return page(
        request, template, status=status, standing=standing, size=size, tabs=tabs_of(roll), here=here, **context
    )
