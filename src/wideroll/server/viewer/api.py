"""The viewer for machines: segments, and the marks that are asked for."""

from dataclasses import replace
from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from wideroll.errors import InputError
from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.errors import error_answer
from wideroll.server.viewer.answers import keepable, missing
from wideroll.server.viewer.asked import Asked, read_asked
from wideroll.server.viewer.data import RollView, view_of
from wideroll.server.viewer.marks import all_marks, found_marks, mark_row, next_mark, segment_of
from wideroll.server.viewer.segments import Segment
from wideroll.server.viewer.tables import csv_of, mark_words
from wideroll.server.viewer.told import tell_segment, tell_segments

__all__ = ["find_segment", "router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get("/rolls/{roll}/segments")
def segments(request: Request, roll: str) -> dict[str, Any]:
    """The segments of a scanned roll."""
    return tell_segments(view_of(desk_of(request), roll))


@router.get("/rolls/{roll}/segments/{number}")
def segment(request: Request, roll: str, number: str) -> Any:
    """A segment: its levels of zoom and where its tiles are."""
    view = view_of(desk_of(request), roll)
    found = find_segment(view, number)
    return missing(request, "the roll has no such segment") if found is None else tell_segment(view, found)


@router.get("/rolls/{roll}/marks")
def marks(request: Request, roll: str) -> Response:
    """The marks that are asked for, binned where there are more than 2,000; ``rows=all`` never bins."""
    view = view_of(desk_of(request), roll)
    try:
        return _marks(request, view, _query(request))
    except InputError as error:
        return _misput(request, error)


@router.get("/rolls/{roll}/marks/next")
def step(request: Request, roll: str) -> Any:
    """The mark after another among those asked for; ``back=yes`` the one before, and null at the end."""
    view = view_of(desk_of(request), roll)
    query = request.query_params
    try:
        found = next_mark(view, _query(request), query.get("after", ""), back=query.get("back") == "yes")
    except InputError as error:
        return _misput(request, error)
    if found is None:
        return {"roll": roll, "mark": None}
    return {"roll": roll, "number": found.number, "of": found.of, "mark": _told(view, found.row)}


@router.get("/rolls/{roll}/marks/{mark}")
def one(request: Request, roll: str, mark: str) -> Any:
    """A mark with its facts, in words too, and the address of its chip, where one was kept."""
    view = view_of(desk_of(request), roll)
    row = mark_row(view, mark)
    return missing(request, "the roll has no such mark") if row is None else {"roll": roll, "mark": _told(view, row)}


def find_segment(view: RollView, number: str) -> Segment | None:
    """The segment of a number as it stands in an address; None when there is none."""
    known = {str(one.number): one for one in view.segments}
    return known.get(number)


def _told(view: RollView, row: dict[str, Any]) -> dict[str, Any]:
    chip = (view.folder / "chips" / f"{row['id']}.png").is_file()
    number = segment_of(view, row["along_m"])
    return {
        **row,
        "words": mark_words(row),
        "chip": f"/rolls/{view.roll}/marks/{row['id']}/chip.png" if chip else None,
        "segment": number,
        "page": f"/rolls/{view.roll}/map/{number}?mark={row['id']}",
    }


def _query(request: Request) -> Asked:
    return replace(read_asked(request.query_params).check(), mark="", layer="worst", page=1)


def _marks(request: Request, view: RollView, asked: Asked) -> Response:
    if request.query_params.get("format") == "csv":
        name = {"Content-Disposition": f'attachment; filename="{view.roll}-marks.csv"'}
        return keepable(request, view.mark, "text/csv; charset=utf-8", lambda: csv_of(view, asked), headers=name)
    if request.query_params.get("rows") == "all":
        return keepable(request, view.mark, "application/json", lambda: all_marks(view, asked))
    return keepable(request, view.mark, "application/json", lambda: found_marks(desk_of(request), view, asked))


def _misput(request: Request, error: InputError) -> Response:
    return error_answer(request, status=422, where=error.where, rule=error.rule, mend=error.mend)
