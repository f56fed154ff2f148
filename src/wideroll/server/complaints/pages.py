"""The pages of complaints: the list, a case, its photographs, a new one, and each step."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.complaints.data import STATES, CasesAsked, case_at, cases_table, photograph, picked
from wideroll.server.complaints.sent import SentForm, WasSent, as_files, place_in
from wideroll.server.complaints.steps import (
    FIELDS,
    FINDINGS,
    LOOKED_AT,
    STEPS,
    Taking,
    may_follow,
    open_case,
    take,
)
from wideroll.server.desk import desk_of
from wideroll.server.guard import PICTURE_POLICY
from wideroll.server.pages import page
from wideroll.server.tables import csv_answer, wrongs_of
from wideroll.server.times import plant_days
from wideroll.server.units import form_units

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_Complaining = Annotated[Person, Depends(Allow("complain"))]


@router.get("/complaints", response_class=HTMLResponse)
def cases(request: Request, asked: Annotated[CasesAsked, Query()]) -> Response:
    """The cases, those that aren't closed first."""
    desk = desk_of(request)
    found = cases_table(picked(desk, asked))
    if asked.format == "csv":
        return csv_answer(found, "complaints")
    query = urlencode({name: value for name, value in asked.model_dump().items() if value and name != "format"})
    return page(request, "complaints/list.html.j2", found=found, asked=asked, states=STATES, query=query)


@router.get("/complaints/new", response_class=HTMLResponse)
def new(request: Request, person: _Complaining, finished: str = "", place: str = "", end: str = "") -> HTMLResponse:
    """The form that opens a case."""
    del person
    return _new_page(request, SentForm(finished=finished[:400], place=place[:400], end=end[:20]))


@router.post("/complaints/new")
def new_sent(request: Request, person: _Complaining, sent: WasSent) -> Response:
    """Open a case."""
    desk, form = desk_of(request), sent.form
    try:
        with as_files(sent) as photos:
            case = open_case(desk.root, form.model_dump(), place_in(request, form), photos=photos, who=person.name)
    except InputError as error:
        return _new_page(request, form, errors=wrongs_of(error, FIELDS), status=422)
    return RedirectResponse(f"/complaints/{case.name}", 303)


@router.get("/complaints/{case}", response_class=HTMLResponse)
def one(request: Request, case: str) -> HTMLResponse:
    """A case: what was seen, where it comes from, what was looked at, found and done."""
    return _case_page(request, case, "complaints/case.html.j2")


@router.get("/complaints/{case}/photographs/{number}")
def photo(request: Request, case: str, number: int, size: str = "small") -> Response:
    """A photograph of a case: reduced, or as it was sent."""
    found = case_at(desk_of(request), case)
    if not 1 <= number <= len(found.photos):
        raise HTTPException(404, f"{found.name} has {len(found.photos)} photographs")
    kept, small = found.photos[number - 1], size != "sent"
    data, kind = photograph(desk_of(request).root, kept, small=small)
    headers = {"Content-Security-Policy": PICTURE_POLICY, "Cache-Control": "private, max-age=3600"}
    if not small:
        headers["Content-Disposition"] = f'attachment; filename="{found.name}-{number}{Path(kept.file).suffix}"'
    return Response(data, media_type=kind, headers=headers)


@router.get("/complaints/{case}/{step}", response_class=HTMLResponse)
def step(request: Request, case: str, step: str, person: _Complaining) -> HTMLResponse:
    """The form of a step."""
    del person
    return _step_page(request, case, step, SentForm())


@router.post("/complaints/{case}/{step}")
def step_sent(request: Request, case: str, step: str, person: _Complaining, sent: WasSent) -> Response:
    """Take a step of a case."""
    desk, found = desk_of(request), case_at(desk_of(request), case)
    if step not in STEPS:
        raise HTTPException(404, "a case has no such step")
    try:
        with as_files(sent) as photos:
            at = place_in(request, sent.form) if "place" in STEPS[step].fields else None
            typed, rests = sent.form.model_dump(), sent.looked_at
            taking = Taking(step=step, typed=typed, at=at, looked_at=rests, photos=photos, who=person.name)
            take(desk.root, found.name, taking)
    except InputError as error:
        wrongs = _step_wrongs(error, step)
        return _step_page(request, case, step, sent.form, errors=wrongs, status=422, looked_at=sent.looked_at)
    return RedirectResponse(f"/complaints/{found.name}", 303)


def _step_wrongs(error: InputError, step: str) -> list[dict[str, str]]:
    wrongs = wrongs_of(error, FIELDS)
    if step == "ask" and wrongs[0]["field"] == "sample":
        wrongs[0]["field"] = "samples"
    return wrongs


def _new_page(
    request: Request, form: SentForm, *, errors: Sequence[Mapping[str, str]] = (), status: int = 200
) -> HTMLResponse:
    return page(
        request,
        "complaints/new.html.j2",
        status=status,
        typed=form,
        errors=errors,
        units=form_units(desk_of(request)),
        step=None,
        findings=FINDINGS,
    )


def _step_page(request: Request, case: str, step: str, form: SentForm, **more: Any) -> HTMLResponse:
    found = case_at(desk_of(request), case)
    if step not in STEPS:
        raise HTTPException(404, "a case has no such step")
    from wideroll.workflow.complaints import looked_at  # noqa: PLC0415

    shown = {"errors": (), "looked_at": ()} | more
    return _case_page(
        request,
        case,
        "complaints/step.html.j2",
        step=STEPS[step],
        typed=form,
        units=form_units(desk_of(request)),
        findings=FINDINGS,
        rests={name: LOOKED_AT[name] for name in (one.value for one in looked_at(found))},
        **shown,
    )


def _case_page(request: Request, name: str, template: str, **more: Any) -> HTMLResponse:
    from wideroll.report.complaint_grids import samples_grid, steps_grid  # noqa: PLC0415  (loads what draws)
    from wideroll.report.complaint_text import case_facts, finding_facts, origin_facts  # noqa: PLC0415
    from wideroll.report.complaint_trace import known_grid  # noqa: PLC0415
    from wideroll.report.complaint_words import next_words  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.server.tables import linked  # noqa: PLC0415

    case, days = case_at(desk_of(request), name), plant_days(desk_of(request))
    steps = linked(grid_json(steps_grid(case)), lambda number: f"/record/{number}")
    return page(
        request,
        template,
        case=case,
        facts=case_facts(case, day=days),
        origin=origin_facts(case, day=days),
        found=finding_facts(case, day=days),
        next=next_words(case),
        known=grid_json(known_grid(case.trace)) if case.trace else None,
        samples=grid_json(samples_grid(case)),
        steps=steps,
        may_follow=may_follow(case),
        trace=f"/trace?{urlencode({'finished': case.finished, **({'place': case.at} if case.at else {})})}",
        **more,
    )
