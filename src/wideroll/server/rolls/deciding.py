"""Deciding a roll from the desk: looked at first, then sealed by whoever puts their name to it."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person, sign_off
from wideroll.server.desk import Desk, desk_of
from wideroll.server.jobs import Job, jobs_of
from wideroll.server.rolls.data import check_roll
from wideroll.server.rolls.frame import roll_page

__all__ = ["router"]

router: Final = APIRouter()
_ACTS: Final = {
    "release": "Release roll {}",
    "cut out": "Release roll {} with parts cut out",
    "hold": "Hold roll {}",
    "reject": "Reject roll {}",
}


class _Signing(BaseModel):
    """The form below the summary."""

    fingerprint: str = Field(default="", max_length=128)
    why: str = Field(default="", max_length=4000)
    password: str = Field(default="", max_length=1024)


@router.post("/rolls/{roll}/assess")
def assess(request: Request, roll: str, person: Annotated[Person, Depends(Allow("decide"))]) -> RedirectResponse:
    """Look at all evidence of a roll as it is now; nothing is sealed."""
    del person
    desk = desk_of(request)
    check_roll(roll)
    jobs_of(desk).drop(f"seal {roll}")
    jobs_of(desk).begin(
        f"assess {roll}", f"looking at the evidence of roll {roll}", lambda job: _assess(desk, roll, job)
    )
    return RedirectResponse(f"/rolls/{roll}/decide", 303)


@router.get("/rolls/{roll}/decide", response_class=HTMLResponse)
def summary(request: Request, roll: str, person: Annotated[Person, Depends(Allow("decide"))]) -> Response:
    """What would be sealed, before it is."""
    return _summary(request, roll, person, [])


@router.post("/rolls/{roll}/decide")
def seal(
    request: Request,
    roll: str,
    person: Annotated[Person, Depends(Allow("decide"))],
    form: Annotated[_Signing, Form()],
) -> Response:
    """Seal the decision that was looked at, with a name to it."""
    desk, job = desk_of(request), jobs_of(desk_of(request)).get(f"assess {roll}")
    if job is None or job.state != "done" or job.result["fingerprint"] != form.fingerprint:
        wrong = [{"field": "", "words": "The evidence changed since this page was made: look at it again."}]
        return _summary(request, roll, person, wrong, status=409)
    try:
        signed = sign_off(request, person, form.password)
    except InputError as error:
        wrong = [{"field": "password", "words": f"Password: {error.rule}. {error.mend}"}]
        return _summary(request, roll, person, wrong, why=form.why, status=422)
    what = f"sealing the decision on roll {roll}"
    jobs_of(desk).begin(f"seal {roll}", what, lambda job: _seal(desk, roll, person, form, signed=signed, job=job))
    return RedirectResponse(f"/rolls/{roll}/decide", 303)


def _summary(
    request: Request, roll: str, person: Person, errors: list[dict[str, str]], *, why: str = "", status: int = 200
) -> Response:
    desk = desk_of(request)
    sealing = jobs_of(desk).get(f"seal {roll}")
    if sealing is not None and sealing.state == "done":
        jobs_of(desk).drop(f"seal {roll}")
        jobs_of(desk).drop(f"assess {roll}")
        return RedirectResponse(f"/rolls/{roll}?sealed={sealing.result}", 303)
    job = sealing if sealing is not None else jobs_of(desk).get(f"assess {roll}")
    if job is None:
        return RedirectResponse(f"/rolls/{roll}", 303)
    if job.state != "done":
        return roll_page(request, roll, "rolls/working.html.j2", here="Decision", job=job)
    return roll_page(
        request,
        roll,
        "rolls/summary.html.j2",
        here="Decision",
        found=job.result,
        act=_ACTS[job.result["verdict"]].format(roll),
        errors=errors,
        why=why,
        asks_password=not person.alone,
        status=status,
    )


def _assess(desk: Desk, roll: str, job: Job) -> dict[str, Any]:
    """What a decision on the evidence as it is now would say."""
    from wideroll.acts.previewing import preview  # noqa: PLC0415  (loads all rooms)
    from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

    with listening(Listener(tell=job.tell, progress=lambda: job)):
        return preview(desk.root, roll)


def _seal(desk: Desk, roll: str, person: Person, form: _Signing, *, signed: str, job: Job) -> str:
    from wideroll.acts.deciding import decide_roll  # noqa: PLC0415
    from wideroll.acts.rolls import take_in_hand  # noqa: PLC0415
    from wideroll.acts.showing import show_roll  # noqa: PLC0415
    from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

    with listening(Listener(tell=job.tell, progress=lambda: job)):
        hand = take_in_hand(desk.root, roll)
        done = decide_roll(hand, who=person.name, why=form.why.strip(), only=form.fingerprint, signed=signed)
        show_roll(hand, done.assessment)
        return str(done.standing.number)
