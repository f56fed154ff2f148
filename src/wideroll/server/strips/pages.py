"""The page of a roll's strips."""

from typing import Any, Final

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, Response

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.figures import at_night, drawn
from wideroll.server.rolls.frame import roll_page
from wideroll.server.strips.data import StripsShown, instruments_of, strips_made_now, strips_of
from wideroll.server.times import today_of

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])


@router.get("/rolls/{roll}/strips", response_class=HTMLResponse)
def strips_page(request: Request, roll: str, strip: str = "") -> HTMLResponse:
    """All strips of a roll, and the curves of one of them to read from."""
    desk = desk_of(request)
    shown, job = strips_of(desk, roll)
    if shown is None:
        return roll_page(request, roll, "strips/strips.html.j2", here="Strips", shown=None, job=job)
    chosen = _chosen(shown, strip)
    today = today_of(desk).isoformat()
    return roll_page(
        request,
        roll,
        "strips/strips.html.j2",
        here="Strips",
        shown=shown,
        job=None,
        chosen=chosen,
        read_out=_read_out(shown, chosen),
        strips_table=_linked(shown),
        instruments=instruments_of(desk, today),
        today=today,
    )


@router.get("/rolls/{roll}/strips/now/{name}")
def now(request: Request, roll: str, name: str) -> Response:
    """A figure (``.svg``) or a table (``.csv``) of strips that no decision rests on yet."""
    made = strips_made_now(desk_of(request), roll)
    key, _, kind = name.rpartition(".")
    if made is not None and kind == "svg" and name in made.pictures:
        return drawn(made.pictures[name])
    tables = [] if made is None else [one["table"] for one in made.blocks if "table" in one and one["key"] == key]
    if kind != "csv" or not tables:
        raise HTTPException(404, "there is no such part of the strips' page; open the page first")
    from wideroll.report.grid_json import grid_csv  # noqa: PLC0415  (loads what draws)

    return PlainTextResponse(grid_csv(tables[0]), media_type="text/csv; charset=utf-8")


def _chosen(shown: StripsShown, strip: str) -> dict[str, Any] | None:
    """The strip whose curves are shown, with its neighbours."""
    try:
        number = shown.number_of(strip)
    except KeyError as error:
        raise HTTPException(404, f"roll has no strip “{strip[:60]}”") from error
    return shown.strips[number - 1] if number else None


def _read_out(shown: StripsShown, chosen: dict[str, Any] | None) -> dict[str, Any] | None:
    """What curves are read by in the picture; each record with its colour of the dark theme, too."""
    if chosen is None or not chosen["drawn"]:
        return None
    known = shown.read_outs[chosen["number"]]
    return {**known, "records": [{**one, "night": at_night(one["colour"])} for one in known.get("records", ())]}


def _linked(shown: StripsShown) -> dict[str, Any]:
    """The table of strips, each leading to its curves."""
    from urllib.parse import quote  # noqa: PLC0415

    names = {one["strip"] for one in shown.strips}
    table = shown.parts["strips"]["table"]
    rows = [
        [{**row[0], "link": f"?strip={quote(row[0]['text'])}#curves"}, *row[1:]] if row[0]["text"] in names else row
        for row in table["rows"]
    ]
    return {**table, "rows": rows}
