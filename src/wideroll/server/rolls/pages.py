"""The list of rolls; a roll's decision, sheet and figures; who has it."""

import csv
import io
from datetime import UTC, datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, HTMLResponse, PlainTextResponse, RedirectResponse, Response

from wideroll.errors import WiderollError
from wideroll.server.access import ROLES, Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.figures import drawn
from wideroll.server.guard import SHEET_POLICY
from wideroll.server.pages import page
from wideroll.server.rolls.data import sheet_path
from wideroll.server.rolls.frame import roll_page
from wideroll.server.rolls.holders import give_back, take_up
from wideroll.server.rolls.printing import can_print
from wideroll.server.rolls.shown import ask_for_shown, picture_path, shown_page
from wideroll.server.rolls.waiting import STATES, RollStanding, rolls_of, standing_of

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_HANDS: Final = ("examine", "measure", "decide", "act")


@router.get("/", response_class=HTMLResponse)
def index(request: Request, state: str = "", waits: str = "", format: str = "") -> Response:  # noqa: A002
    """The rolls of the plant, those that wait for somebody first."""
    desk = desk_of(request)
    every = rolls_of(desk.root, desk.results, datetime.now(UTC))
    rolls = [one for one in every if state in {"", one.state} and (not waits or waits in one.waits_for)]
    if format == "csv":
        return PlainTextResponse(_list_csv(rolls), media_type="text/csv; charset=utf-8")
    return page(
        request,
        "rolls/list.html.j2",
        rolls=rolls,
        any=bool(every),
        products=sorted(path.stem for path in (desk.root / "products").glob("*.toml")),
        states=STATES,
        roles=tuple(ROLES),
        chosen={"state": state, "waits": waits},
    )


def _list_csv(rolls: list[RollStanding]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["roll", "product", "state", "verdict", "missing", "waits for", "who has it", "age, days"])
    for one in rolls:
        age = "" if one.age_days is None else f"{one.age_days:.1f}"
        missing, roles = "; ".join(one.missing), ", ".join(one.waits_for)
        writer.writerow([one.roll, one.product, one.state, one.verdict, missing, roles, one.holder, age])
    return out.getvalue()


@router.get("/rolls/{roll}", response_class=HTMLResponse)
def decision(request: Request, roll: str) -> HTMLResponse:
    """How a roll stands: verdict, why, criteria, what was not looked at, map; or what it still waits for."""
    desk = desk_of(request)
    standing = standing_of(desk.root, desk.results, roll, datetime.now(UTC))
    shown, job = None, None
    if standing.verdict and not standing.trouble:
        shown = shown_page(desk, roll, "decision")
        job = ask_for_shown(desk, roll) if shown is None and standing.state != "changed" else None
    return roll_page(
        request,
        roll,
        "rolls/decision.html.j2",
        here="Decision",
        shown=shown,
        job=job,
        sealed=_sealed(desk, standing),
        prints=can_print() and standing.state != "changed",
    )


def _sealed(desk: Desk, standing: RollStanding) -> dict[str, Any] | None:
    """Who sealed the last decision and when; None where the record says nothing of it."""
    if not standing.verdict or standing.trouble:
        return None
    from wideroll.acts.record_pages import newest_events  # noqa: PLC0415  (loads the store)
    from wideroll.store import Picked  # noqa: PLC0415

    try:
        found = newest_events(desk.root, Picked(act="decision", name=standing.roll), 1)
    except WiderollError as error:
        return {"trouble": str(error)}
    if not found:
        return {"trouble": "the record holds no decision on this roll."}
    one = found[0]
    said = {"number": one.number, "who": one.who, "when_utc": one.when_utc, "verdict": one.body.get("verdict")}
    return said | {"trouble": ""}


@router.get("/rolls/{roll}/sheet", response_class=HTMLResponse)
def sheet(request: Request, roll: str) -> FileResponse:
    """The decision sheet as it lies in the roll's results."""
    return FileResponse(
        sheet_path(desk_of(request).results, roll),
        media_type="text/html; charset=utf-8",
        headers={"Content-Security-Policy": SHEET_POLICY},
    )


@router.get("/rolls/{roll}/shown/{name}")
def picture(request: Request, roll: str, name: str) -> Response:
    """A figure of one of the roll's pages."""
    return drawn(picture_path(desk_of(request), roll, name).read_bytes())


@router.get("/rolls/{roll}/tables/{page_name}/{key}.csv")
def table(request: Request, roll: str, page_name: str, key: str) -> PlainTextResponse:
    """A table of one of the roll's pages as CSV."""
    from wideroll.report.grid_json import grid_csv  # noqa: PLC0415  (loads what draws)

    shown = shown_page(desk_of(request), roll, page_name)
    found = [one["table"] for one in (shown or {}).get("blocks", ()) if "table" in one and one["key"] == key]
    if not found:
        raise FileNotFoundError(roll)
    return PlainTextResponse(grid_csv(found[0]), media_type="text/csv; charset=utf-8")


@router.post("/rolls/{roll}/take")
def take(request: Request, roll: str, person: Annotated[Person, Depends(Allow(*_HANDS))]) -> RedirectResponse:
    """Have the roll in hand from now on."""
    desk, now = desk_of(request), datetime.now(UTC)
    standing_of(desk.root, desk.results, roll, now)
    take_up(desk.root, roll, person.name, now.isoformat(timespec="seconds"))
    return RedirectResponse(f"/rolls/{roll}", 303)


@router.post("/rolls/{roll}/give-back")
def put_down(request: Request, roll: str, person: Annotated[Person, Depends(Allow(*_HANDS))]) -> RedirectResponse:
    """Have it in hand no longer, whoever had it."""
    del person
    desk = desk_of(request)
    standing_of(desk.root, desk.results, roll, datetime.now(UTC))
    give_back(desk.root, roll)
    return RedirectResponse(f"/rolls/{roll}", 303)
