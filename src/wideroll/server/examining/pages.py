"""A roll's examination: which sheets to look at, what an examiner has in hand, and what was noted."""

from dataclasses import replace
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.examining.data import address_of, basics_of, examination_of, extent_of, planned_of
from wideroll.server.examining.drafts import Draft, DraftSheet, draft_of, drafting, now_utc
from wideroll.server.examining.entry import wrong_words
from wideroll.server.examining.noted import agreement_grids, gone_table, listed_table, noted_table
from wideroll.server.examining.overview import sheet_lines
from wideroll.server.examining.questions import read_length
from wideroll.server.examining.sheets import BegunSheet, cells_of, check_place, cut_of, is_listed
from wideroll.server.rolls.frame import roll_page
from wideroll.server.rolls.shown import shown_page

__all__ = ["examination_page", "router", "sees_noted", "sending_words"]

router: Final = APIRouter()
_Examiner = Annotated[Person, Depends(Allow("examine"))]
_Reader = Annotated[Person, Depends(Allow("read"))]
_USUAL = "300 mm"
_MOST_SHEETS: Final = 500


def sees_noted(person: Person, draft: Draft) -> bool:
    """Whether somebody may be shown what was noted without their next look ceasing to be blind unawares."""
    return bool(draft.shown_utc) or not person.may("examine")


@router.get("/rolls/{roll}/examination", response_class=HTMLResponse)
def examination(request: Request, roll: str, person: _Reader, length: str = "", count: str = "") -> Response:
    """The sheets to look at, those in hand, and what was noted."""
    return examination_page(request, roll, person, length=length, count=count)


@router.post("/rolls/{roll}/examination/begin")
def begin(request: Request, roll: str, person: _Examiner, form: Annotated[BegunSheet, Form()]) -> Response:
    """Take a sheet in hand: one that is listed, of the plan, or another one."""
    desk = desk_of(request)
    basics = basics_of(desk, roll)
    try:
        cells = cells_of(form)
        files = examination_of(desk, basics)
        sheet = replace(cut_of(cells), listed=is_listed(files, cells), began_utc=now_utc())
        check_place(basics, files, sheet)
        with drafting(desk.root, roll, person) as held:
            held[0] = _begun(basics, held[0], sheet)
    except InputError as error:
        field = error.where if error.where in BegunSheet.model_fields else ""
        wrong = [{"field": field, "words": wrong_words(error)}]
        return examination_page(request, roll, person, typed=form.model_dump(), errors=wrong)
    return RedirectResponse(address_of(roll, sheet.sheet), 303)


@router.post("/rolls/{roll}/examination/show")
def show(request: Request, roll: str, person: _Examiner) -> RedirectResponse:
    """Show an examiner what was noted; their looks from now on aren't blind."""
    desk = desk_of(request)
    basics_of(desk, roll)
    with drafting(desk.root, roll, person) as held:
        held[0] = replace(held[0], shown_utc=held[0].shown_utc or now_utc())
    return RedirectResponse(f"/rolls/{quote(roll)}/examination#noted", 303)


@router.get("/rolls/{roll}/examination/{table}.csv")
def as_csv(request: Request, roll: str, table: str, person: _Reader) -> PlainTextResponse:
    """The table ``sheets`` or ``sightings`` of the page."""
    from wideroll.report.grid_json import grid_csv  # noqa: PLC0415  (loads what draws)

    desk = desk_of(request)
    files = examination_of(desk, basics_of(desk, roll))
    if table == "sheets":
        return PlainTextResponse(grid_csv(listed_table(files)), media_type="text/csv; charset=utf-8")
    if table != "sightings" or not sees_noted(person, draft_of(desk.root, roll, person)):
        raise FileNotFoundError(roll)
    return PlainTextResponse(grid_csv(noted_table(files)), media_type="text/csv; charset=utf-8")


def _begun(basics: Any, draft: Draft, sheet: DraftSheet) -> Draft:
    """The draft with the sheet; one that is in hand already, or was put away, goes on as it was."""
    known = next((one for one in draft.sheets if one.sheet == sheet.sheet), None)
    if known is not None and (not known.dropped or known.noted):
        return draft.with_sheet(replace(known, dropped=False))
    extent = extent_of(basics, sheet)
    for other in draft.sheets:
        common = None if other.dropped or other.sheet == sheet.sheet else extent_of(basics, other).meet(extent)
        if common is not None and common.area_m2 > 0.0:
            rule = f"no two sheets hold the same film; {other.sheet} in your hand does"
            raise InputError(where="along_from", rule=rule, mend="Correct the ends.")
    return draft.with_sheet(sheet)


def examination_page(
    request: Request,
    roll: str,
    person: Person,
    *,
    length: str = "",
    count: str = "",
    typed: dict[str, str] | None = None,
    back: dict[str, str] | None = None,
    errors: list[dict[str, str]] | None = None,
) -> HTMLResponse:
    """The page, with what is wrong with what was typed.

    Args:
        request: what was asked.
        roll: its name.
        person: who asks.
        length: of a planned sheet, as it was typed.
        count: of sheets to draw, as it was typed.
        typed: the fields of a sheet to be taken in hand.
        back: the fields of a line to be taken back.
        errors: what is wrong, by field.
    """
    desk = desk_of(request)
    basics = basics_of(desk, roll)
    wrong = list(errors or [])
    draft = draft_of(desk.root, roll, person)
    plan, why = _plan(desk, basics, length, count, wrong)
    said = _said(desk, basics, person, draft, plan)
    return roll_page(
        request,
        roll,
        "examining/examination.html.j2",
        here="Examination",
        status=422 if wrong else 200,
        sending=sending_words(draft),
        why=why,
        asked={"length": length or _USUAL, "count": count},
        back=back or {"line": "", "why": ""},
        typed=typed or dict.fromkeys(BegunSheet.model_fields, "") | {"taken": "chosen"},
        errors=wrong,
        address_of=address_of,
        narrow=any(line.cells.get("across_from") for line in said["lines"]),
        **said,
    )


def _said(desk: Desk, basics: Any, person: Person, draft: Draft, plan: Any) -> dict[str, Any]:
    """What the roll's files say, as far as whoever asks may be shown it; their trouble where they can't be read."""
    said: dict[str, Any] = dict.fromkeys(("noted", "gone", "shown", "listed"))
    said |= {"lines": (), "agreement": (), "trouble": ""}
    try:
        files = examination_of(desk, basics)
        said |= {"lines": sheet_lines(basics, files, draft, plan), "listed": listed_table(files)}
        if sees_noted(person, draft):
            said |= {"noted": noted_table(files), "gone": gone_table(files), "shown": _shown(desk, basics.roll)}
            said |= {"agreement": agreement_grids(desk, basics.roll)}
    except InputError as error:
        said["trouble"] = str(error)
    return said


def _plan(desk: Desk, basics: Any, length: str, count: str, wrong: list[dict[str, str]]) -> tuple[Any, str]:
    """The plan, and why so many sheets or why there is none."""
    many = count.strip()
    if many and not (many.isascii() and many.isdecimal() and 0 < int(many[:9]) <= _MOST_SHEETS):
        wrong.append({"field": "count", "words": f"Sheets to draw: a number from 1 to {_MOST_SHEETS}, or nothing."})
        return None, ""
    try:
        cell = read_length(length or _USUAL, "mm", where="length")
    except InputError as error:
        wrong.append({"field": error.where, "words": wrong_words(error)})
        return None, ""
    from wideroll.roll.lengths import parse_length  # noqa: PLC0415  (the room loads tables)

    found = planned_of(desk, basics, float(parse_length(cell).mm), int(many) if many else None)
    return (None, found) if isinstance(found, str) else (found.plan, found.head.why)


def _shown(desk: Desk, roll: str) -> dict[str, Any] | None:
    try:
        return shown_page(desk, roll, "examination")
    except (FileNotFoundError, InputError):
        return None


def sending_words(draft: Draft) -> str:
    """What could be sent: ``7 sightings of 3 sheets``; empty where no sheet is done."""
    done = [one for one in draft.sheets if one.finished and not one.dropped]
    if not done:
        return ""
    sightings = sum(len(one.holds) for one in done)
    many = f"{sightings} sighting{'' if sightings == 1 else 's'}"
    return f"{many} of {len(done)} sheet{'' if len(done) == 1 else 's'}"
