"""The map of a roll, a segment with its picture and table, and their tiles."""

from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from wideroll.errors import InputError
from wideroll.server.access import Allow
from wideroll.server.desk import Desk, desk_of
from wideroll.server.rolls.frame import roll_page
from wideroll.server.rolls.shown import shown_page
from wideroll.server.viewer.answers import keepable, missing, picture
from wideroll.server.viewer.api import find_segment
from wideroll.server.viewer.asked import Wrong, read_asked
from wideroll.server.viewer.data import is_scanned, view_of
from wideroll.server.viewer.greys import SCALE_VERSION
from wideroll.server.viewer.marks import mark_row
from wideroll.server.viewer.pictures import chip_png, draw_scale, draw_still, still_told
from wideroll.server.viewer.segment_page import segment_context, within
from wideroll.server.viewer.tables import csv_of
from wideroll.server.viewer.tiles import draw_tile, find_place, tile_mark
from wideroll.server.viewer.told import tell_segments

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_TAB: Final = "Map"
_SCALE_MARK: Final = f"scale-{SCALE_VERSION}"


@router.get("/rolls/{roll}/map", response_class=HTMLResponse)
def roll_map(request: Request, roll: str) -> Response:
    """The whole roll, and its segments."""
    desk = desk_of(request)
    context: dict[str, Any] = {"map_figure": _map_figure(desk, roll)}
    if not is_scanned(desk, roll):
        return roll_page(request, roll, "viewer/map.html.j2", here=_TAB, told=None, **context)
    view = view_of(desk, roll)
    still = still_told(desk, view, None)
    context |= {"told": tell_segments(view), "words": still.words, "data": still.data, "mark": view.mark}
    return roll_page(request, roll, "viewer/map.html.j2", here=_TAB, **context)


def _map_figure(desk: Desk, roll: str) -> dict[str, Any] | None:
    """The map as the decision shows it; None where it isn't drawn."""
    try:
        shown = shown_page(desk, roll, "decision")
    except (FileNotFoundError, InputError):
        return None
    blocks = (shown or {}).get("blocks", ())
    return next((block["figure"] for block in blocks if "figure" in block and block["key"] == "map"), None)


@router.get("/rolls/{roll}/map/{number}", response_class=HTMLResponse)
def segment_page(request: Request, roll: str, number: str) -> Response:
    """A segment: picture, filters and table."""
    desk = desk_of(request)
    view = view_of(desk, roll)
    segment = find_segment(view, number)
    if segment is None:
        return missing(request, "the roll has no such segment")
    asked = read_asked(request.query_params)
    if request.query_params.get("format") == "csv" and not asked.wrong:
        name = {"Content-Disposition": f'attachment; filename="{roll}-segment-{segment.number}.csv"'}
        mine = within(view, segment, asked)
        return keepable(request, view.mark, "text/csv; charset=utf-8", lambda: csv_of(view, mine), headers=name)
    try:
        context = segment_context(desk, view, segment, asked)
    except InputError as error:
        wrong = (*asked.wrong, Wrong(field=error.where, words=error.rule))
        context = segment_context(desk, view, segment, read_asked(_without(request, "lane")), wrong=wrong)
    status = 422 if context["errors"] else 200
    return roll_page(request, roll, "viewer/segment.html.j2", here=_TAB, status=status, **context)


def _without(request: Request, name: str) -> Any:
    from starlette.datastructures import QueryParams  # noqa: PLC0415

    return QueryParams([pair for pair in request.query_params.multi_items() if pair[0] != name])


@router.get("/rolls/{roll}/segments/{number}/{layer}/{level}/{x_y}.png")
def tile(request: Request, roll: str, number: str, layer: str, level: str, x_y: str) -> Response:  # noqa: PLR0917
    """A tile of the picture."""
    desk = desk_of(request)
    view = view_of(desk, roll)
    place = find_place(view, (number, layer, level), x_y)
    if place is None:
        return missing(request, "the roll has no such tile")
    return keepable(request, tile_mark(view), "image/png", lambda: draw_tile(desk, view, place))


@router.get("/rolls/{roll}/segments/{number}/still.svg")
def still(request: Request, roll: str, number: str) -> Response:
    """A segment as a still picture."""
    desk = desk_of(request)
    view = view_of(desk, roll)
    segment = find_segment(view, number)
    if segment is None:
        return missing(request, "the roll has no such segment")
    return picture(request, view.mark, lambda: draw_still(desk, view, segment))


@router.get("/rolls/{roll}/overview.svg")
def overview(request: Request, roll: str) -> Response:
    """The whole roll as the scanner saw it, as a still picture."""
    desk = desk_of(request)
    view = view_of(desk, roll)
    return picture(request, view.mark, lambda: draw_still(desk, view, None))


@router.get("/rolls/{roll}/marks/{mark}/chip.png")
def chip(request: Request, roll: str, mark: str) -> Response:
    """The chip of a mark."""
    view = view_of(desk_of(request), roll)
    row = mark_row(view, mark)
    path = view.folder / "chips" / f"{row['id']}.png" if row else None
    if path is None or not path.is_file():
        return missing(request, "no chip of such a mark was kept")
    return keepable(request, tile_mark(view), "image/png", lambda: chip_png(path))


@router.get("/scale-of-greys.svg")
def scale(request: Request) -> Response:
    """The scale of greys of all tiles."""
    return picture(request, _SCALE_MARK, draw_scale)
