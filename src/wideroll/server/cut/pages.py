"""The page of a roll's cut, and the answers to wishes."""

from datetime import UTC, datetime
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, PlainTextResponse, Response

from wideroll.errors import ArgumentError, WiderollError
from wideroll.server.access import Allow
from wideroll.server.cut.asking import MOST_WISHES, Wished, fields_of, wrong_of, wrong_wish, wrongs_of
from wideroll.server.cut.data import StandingCut, cut_file, cut_of, shown_cut
from wideroll.server.cut.wishing import SOON_S, answer_to, ask_wishes, await_answer
from wideroll.server.desk import Desk, desk_of
from wideroll.server.figures import drawn
from wideroll.server.policies import SHEET_POLICY
from wideroll.server.rolls.frame import roll_page
from wideroll.server.rolls.printing import can_print
from wideroll.server.rolls.shown import ask_for_shown
from wideroll.server.rolls.waiting import standing_of

__all__ = ["router", "wished_of"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_LOOKS: Final = {"released": "release", "rejected": "reject"}

_Texts = Annotated[list[str], Query(max_length=2 * MOST_WISHES)]


def wished_of(knife: _Texts = [], cross: _Texts = [], without: _Texts = []) -> Wished:  # noqa: B006  (read only)
    """What the address wishes."""
    return Wished.of(knife, cross, without)


_Wished = Annotated[Wished, Depends(wished_of)]


@router.get("/rolls/{roll}/cut", response_class=HTMLResponse)
def cut_page(request: Request, roll: str, wished: _Wished) -> HTMLResponse:
    """The cut that stands; with wishes in the address, what they would cost."""
    desk = desk_of(request)
    try:
        cut = cut_of(desk, roll)
    except FileNotFoundError:
        return _page(request, roll, cut=None)
    shown = shown_cut(desk, cut)
    if shown is None:
        changed = standing_of(desk.root, desk.results, roll, datetime.now(UTC)).state == "changed"
        return _page(request, roll, cut=cut, job=None if changed else ask_for_shown(desk, roll))
    told: dict[str, Any] = {"shown": shown, "wished": wished}
    if wished and "cut" in shown:
        told |= _answered(desk, cut, wished, shown["cut"]["setting"])
    if "planning" in told:
        query = wished.query
        return roll_page(request, roll, "cut/planning.html.j2", here="Cut", job=told["planning"], query=query)
    return _page(request, roll, cut=cut, **told)


def _answered(desk: Desk, cut: StandingCut, wished: Wished, setting: dict[str, Any]) -> dict[str, Any]:
    """The answer to wishes, what is wrong with them, or the planning that goes on."""
    if wrong := wrongs_of(wished, setting):
        return {"errors": wrong, "status": 422}
    job = ask_wishes(desk, cut, wished, setting)
    try:
        answer = await_answer(job, SOON_S)
    except ArgumentError as error:
        return {"errors": [wrong_wish(error, wished, setting)], "status": 422}
    except WiderollError as error:
        return {"errors": [{"field": "", "words": wrong_of(error)}], "status": 409}
    return {"planning": job} if answer is None else {"answer": answer}


def _page(request: Request, roll: str, *, cut: StandingCut | None, status: int = 200, **told: Any) -> HTMLResponse:
    wished = told.pop("wished", Wished())
    return roll_page(
        request,
        roll,
        "cut/cut.html.j2",
        here="Cut",
        status=status,
        cut=cut,
        look="none" if cut is None else _LOOKS.get(str(cut.document.get("status")), "hold"),
        wished=wished,
        fields=fields_of(wished),
        prints=can_print(),
        address=f"/rolls/{quote(roll)}/cut",
        **{"shown": None, "job": None, "errors": [], "answer": None, **told},
    )


@router.get("/rolls/{roll}/cut/sheet", response_class=HTMLResponse)
def cut_sheet(request: Request, roll: str) -> FileResponse:
    """The cut list as a sheet to print, as it lies in the roll's results."""
    return FileResponse(
        cut_file(desk_of(request), roll, "cut.html"),
        media_type="text/html; charset=utf-8",
        headers={"Content-Security-Policy": SHEET_POLICY},
    )


@router.get("/rolls/{roll}/cut/list.csv")
def cut_list(request: Request, roll: str) -> FileResponse:
    """The cut list for a spreadsheet or a slitter, as it lies in the roll's results."""
    return FileResponse(cut_file(desk_of(request), roll, "cut.csv"), media_type="text/csv; charset=utf-8")


@router.get("/rolls/{roll}/cut/wish.svg")
def wish_picture(request: Request, roll: str, wished: _Wished) -> Response:
    """The picture of the cut with wishes."""
    return drawn(answer_to(desk_of(request), roll, wished).svg)


@router.get("/rolls/{roll}/cut/wish.csv")
def wish_list(request: Request, roll: str, wished: _Wished) -> PlainTextResponse:
    """The cut list with wishes; each line says that it isn't the recorded one."""
    from wideroll.acts.wishing import wish_csv  # noqa: PLC0415

    return PlainTextResponse(wish_csv(answer_to(desk_of(request), roll, wished)), media_type="text/csv; charset=utf-8")


@router.get("/rolls/{roll}/cut/wish", response_class=HTMLResponse)
def wish_sheet_page(request: Request, roll: str, wished: _Wished) -> HTMLResponse:
    """The sheet of the cut with wishes, marked as not to be slit by."""
    from wideroll.acts.wishing import wish_sheet  # noqa: PLC0415

    return HTMLResponse(
        wish_sheet(answer_to(desk_of(request), roll, wished)), headers={"Content-Security-Policy": SHEET_POLICY}
    )
