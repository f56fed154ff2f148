"""A roll's repeats: folded marks, the rollers that may have made them, where to look next, cases and cards."""

from datetime import UTC, datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Form, Query, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from wideroll.server.access import Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.figures import drawn
from wideroll.server.guard import SHEET_POLICY
from wideroll.server.jobs import Job, jobs_of
from wideroll.server.repeats.asking import Asked, job_key
from wideroll.server.repeats.data import cards_of_roll, cases_now, mark_of
from wideroll.server.rolls.data import check_roll
from wideroll.server.rolls.frame import roll_page
from wideroll.server.rolls.shown import ask_for_shown, shown_page
from wideroll.server.rolls.waiting import standing_of

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_ASKS: Final = ("act", "decide", "examine", "measure")


@router.get("/rolls/{roll}/repeats", response_class=HTMLResponse)
def repeats(request: Request, roll: str) -> HTMLResponse:
    """What returns every turn on the roll, and what is known of the rollers behind it."""
    return _repeats(request, roll, Asked())


@router.get("/rolls/{roll}/repeats/cases.csv")
def cases_csv(request: Request, roll: str) -> PlainTextResponse:
    """The roll's cases as CSV."""
    from wideroll.report.grid_json import grid_csv  # noqa: PLC0415  (loads what draws)

    found = cases_now(desk_of(request), check_roll(roll))
    if found.grid is None:
        raise FileNotFoundError(roll)
    return PlainTextResponse(grid_csv(found.grid), media_type="text/csv; charset=utf-8")


@router.post("/rolls/{roll}/repeats/next")
def ask(
    request: Request,
    roll: str,
    person: Annotated[Person, Depends(Allow(*_ASKS))],
    form: Annotated[Asked, Form()],
) -> Response:
    """Work out where to look next."""
    del person
    check_roll(roll)
    errors = form.errors()
    if errors:
        return _repeats(request, roll, form, errors=errors, status=422)
    desk = desk_of(request)
    jobs_of(desk).drop(job_key(roll, form))
    jobs_of(desk).begin(
        job_key(roll, form), "working out where to look next", lambda job: _work_out(desk, roll, form, job)
    )
    return RedirectResponse(f"/rolls/{roll}/repeats/next?{form.query}", 303)


@router.get("/rolls/{roll}/repeats/next", response_class=HTMLResponse)
def answer(request: Request, roll: str, asked: Annotated[Asked, Query()]) -> Response:
    """Where to look next, as it was worked out; the question where it wasn't yet."""
    desk = desk_of(request)
    check_roll(roll)
    job = jobs_of(desk).get(job_key(roll, asked))
    stale = job is not None and job.state == "done" and job.result["mark"] != mark_of(desk, roll)
    shown = job.result if job is not None and job.state == "done" and not stale else None
    errors = asked.errors() if request.url.query else []
    return roll_page(
        request,
        roll,
        "repeats/next.html.j2",
        here="Repeats",
        asked=asked,
        job=None if stale else job,
        stale=stale,
        shown=shown,
        errors=errors,
        status=422 if errors else 200,
    )


@router.get("/rolls/{roll}/repeats/next.svg")
def picture(request: Request, roll: str, asked: Annotated[Asked, Query()]) -> Response:
    """The stretch advised, drawn."""
    return drawn(_made(desk_of(request), roll, asked)["picture"])


@router.get("/rolls/{roll}/repeats/next/sheet", response_class=HTMLResponse)
def sheet(request: Request, roll: str, asked: Annotated[Asked, Query()]) -> HTMLResponse:
    """The stretch advised, on a page to print and carry to the machine."""
    text = _made(desk_of(request), roll, asked)["sheet"]
    return HTMLResponse(text, headers={"Content-Security-Policy": SHEET_POLICY})


def _repeats(
    request: Request, roll: str, asked: Asked, *, errors: list[dict[str, str]] | None = None, status: int = 200
) -> HTMLResponse:
    desk = desk_of(request)
    standing = standing_of(desk.root, desk.results, roll, datetime.now(UTC))
    shown, job = None, None
    if standing.verdict and not standing.trouble:
        shown = shown_page(desk, roll, "repeats")
        job = ask_for_shown(desk, roll) if shown is None and standing.state != "changed" else None
    return roll_page(
        request,
        roll,
        "repeats/page.html.j2",
        here="Repeats",
        status=status,
        shown=shown,
        job=job,
        count=sum(str(one.get("key", "")).startswith("candidates-") for one in (shown or {}).get("blocks", ())),
        cases=cases_now(desk, roll),
        cards=cards_of_roll(desk, roll),
        asked=asked,
        errors=errors or [],
    )


def _work_out(desk: Desk, roll: str, asked: Asked, job: Job) -> dict[str, Any]:
    from wideroll.acts.rolls import take_in_hand  # noqa: PLC0415  (loads all rooms)
    from wideroll.acts.showing_samples import shown_samples  # noqa: PLC0415
    from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

    with listening(Listener(tell=job.tell, progress=lambda: job)):
        shown = shown_samples(take_in_hand(desk.root, roll), asked.samples(roll))
    return {**shown, "mark": mark_of(desk, roll)}


def _made(desk: Desk, roll: str, asked: Asked) -> dict[str, Any]:
    """What was worked out and has a stretch to show.

    Raises:
        FileNotFoundError: when nothing has.
    """
    job = jobs_of(desk).get(job_key(check_roll(roll), asked))
    if job is None or job.state != "done" or not job.result["picture"]:
        raise FileNotFoundError(roll)
    made: dict[str, Any] = job.result
    return made
