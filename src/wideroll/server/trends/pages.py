"""The pages of trends: all that is charted, one quantity's charts, causes."""

from collections.abc import Callable
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, Response

from wideroll.errors import WiderollError
from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.figures import drawn
from wideroll.server.pages import page
from wideroll.server.soon import Answer
from wideroll.server.tables import address_with, csv_answer, wrongs_of
from wideroll.server.trends.asked import FIELDS, KINDS, RULES, ChartAsked, RollsAsked
from wideroll.server.trends.data import (
    Causes,
    Chart,
    Choice,
    Overview,
    ask_causes,
    ask_chart,
    ask_overview,
    points_table,
)

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_MOST_POINTS: Final = 200
_LONG_S: Final = 60.0
_MOST_DRAWN: Final = 2000
"""Rolls beyond which a chart can also be zoomed."""


@router.get("/trends", response_class=HTMLResponse)
def overview(request: Request, asked: Annotated[RollsAsked, Query()]) -> Response:
    """Each chart in a line: what broke a rule lately, the worst first."""

    def shown(found: Overview) -> Response:
        if asked.format == "csv":
            return csv_answer(found.broken, "trends")
        column = next((at for at, one in enumerate(found.broken["columns"]) if one["head"] == "measured"), 0)
        for row, what in zip(found.broken["rows"], found.measured, strict=True):
            row[column]["link"] = _chart_address(asked, what)
        return _page(request, "overview", asked, found=found, choice=found.choice)

    return _answered(request, "overview", asked, lambda: ask_overview(desk_of(request), asked), shown)


@router.get("/trends/chart", response_class=HTMLResponse)
def chart(request: Request, asked: Annotated[ChartAsked, Query()]) -> Response:
    """The charts of one quantity, with broken rules, lasting changes and capability."""

    def shown(found: Chart) -> Response:
        if asked.format == "csv":
            points = asked.table in found.points
            table = points_table(found, asked.table) if points else found.tables.get(asked.table)
            if table is None:
                raise HTTPException(404, "the chart has no such table")
            return csv_answer(table, f"{found.view.what} {asked.table}")
        points_of = {key: points_table(found, key, _MOST_POINTS) for key in found.points}
        return _page(request, "chart", asked, found=found, choice=found.choice, points=points_of)

    return _answered(request, "chart", asked, lambda: ask_chart(desk_of(request), asked), shown)


@router.get("/trends/chart.svg")
def picture(request: Request, asked: Annotated[ChartAsked, Query()]) -> Response:
    """The picture of the charts of one quantity."""
    found: Chart = ask_chart(desk_of(request), asked).waited(_LONG_S)
    return drawn(found.svg)


@router.get("/trends/causes", response_class=HTMLResponse)
def causes(request: Request, asked: Annotated[RollsAsked, Query()]) -> Response:
    """What costs most: what was cut out, and what closed action cards were put down to."""

    def shown(answer: tuple[Choice, tuple[Causes, ...]]) -> Response:
        choice, found = answer
        if asked.format == "csv":
            table = next((one.table for one in found if one.key == asked.table), None)
            if table is None:
                raise HTTPException(404, "there is no such table")
            return csv_answer(table, f"causes {asked.table}")
        return _page(request, "causes", asked, found=found, choice=choice)

    return _answered(request, "causes", asked, lambda: ask_causes(desk_of(request), asked), shown)


@router.get("/trends/causes.svg")
def causes_picture(request: Request, asked: Annotated[RollsAsked, Query()]) -> Response:
    """The picture of causes of one kind, named by ``table``."""
    found: tuple[Causes, ...] = ask_causes(desk_of(request), asked).waited(_LONG_S)[1]
    svg = next((one.svg for one in found if one.key == asked.table), "")
    if not svg:
        raise HTTPException(404, "there is no such picture")
    return drawn(svg)


def _answered(
    request: Request, name: str, asked: RollsAsked, ask: Callable[[], Answer], shown: Callable[[Any], Response]
) -> Response:
    """The page of an answer; a page that waits, or one that says what can't be used."""
    try:
        answer = ask()
    except WiderollError as error:
        if error.exit_code != _UNFIT:
            raise
        from wideroll.workflow.charting import TooFewRollsError  # noqa: PLC0415  (which raised it)

        if isinstance(error, TooFewRollsError) and not asked.format:
            return _page(request, name, asked, few=error)
        return _page(request, name, asked, errors=wrongs_of(error, FIELDS), status=422)
    return shown(answer.value) if answer.ready else _page(request, name, asked, waiting=True)


_UNFIT: Final = 3


def _page(request: Request, name: str, asked: RollsAsked, *, status: int = 200, **context: Any) -> HTMLResponse:
    shown = {"found": None, "choice": None, "errors": (), "waiting": False, "points": {}, "few": None} | context
    return page(
        request,
        f"trends/{name}.html.j2",
        status=status,
        asked=asked,
        kinds=KINDS,
        rules=RULES,
        most_drawn=_MOST_DRAWN,
        chart_address=lambda what: _chart_address(asked, what),
        csv_of=lambda key: address_with(request, format="csv", table=key),
        **shown,
    )


def _chart_address(asked: RollsAsked, what: str) -> str:
    rolls = asked.rolls_query
    return f"/trends/chart?{urlencode({'what': what})}{'&' if rolls else ''}{rolls}"
