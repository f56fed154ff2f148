"""Sending: a summary first, then all sheets that are done come among the evidence as one."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from wideroll.errors import InputError, WiderollError
from wideroll.server.access import Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.examining.data import basics_of
from wideroll.server.examining.drafts import (
    Draft,
    DraftSheet,
    draft_json,
    draft_name,
    draft_of,
    drafting,
    photographs_of,
)
from wideroll.server.examining.entry import wrong_words
from wideroll.server.examining.pages import sending_words
from wideroll.server.examining.questions import SETTING_WORDS
from wideroll.server.examining.words import setting_words, sighting_words
from wideroll.server.rolls.frame import roll_page
from wideroll.server.times import day_words, zone_of

__all__ = ["router"]

router: Final = APIRouter()
_Examiner = Annotated[Person, Depends(Allow("examine"))]


class _Sending(BaseModel):
    """The form below the summary: what it showed."""

    mark: str = Field("", max_length=64)


@router.get("/rolls/{roll}/examination/send", response_class=HTMLResponse)
def summary(request: Request, roll: str, person: _Examiner) -> Response:
    """What would be sent, sheet by sheet."""
    desk = desk_of(request)
    basics_of(desk, roll)
    return _summary(request, draft_of(desk.root, roll, person), [])


@router.post("/rolls/{roll}/examination/send")
def send(request: Request, roll: str, person: _Examiner, form: Annotated[_Sending, Form()]) -> Response:
    """Send what the summary showed."""
    desk = desk_of(request)
    basics_of(desk, roll)
    try:
        with drafting(desk.root, roll, person) as held:
            done = _done(held[0])
            if not done or _mark(done) != form.mark:
                changed = "What you have in hand changed since this page was made: look at it again."
                return _summary(request, held[0], [{"field": "", "words": changed}], status=409)
            held[0], sent = _sent(desk, person, held[0], done)
    except WiderollError as error:
        words = wrong_words(error) if isinstance(error, InputError) else str(error)
        wrong = [{"field": "", "words": f"Nothing was sent. {error.where}: {words}"}]
        return _summary(request, draft_of(desk.root, roll, person), wrong, status=409)
    return roll_page(request, roll, "examining/sent.html.j2", here="Examination", sent=sent)


def _sent(desk: Desk, person: Person, draft: Draft, done: Sequence[DraftSheet]) -> tuple[Draft, Any]:
    """The draft without what was sent, and as what it came in; the draft is written together with the tables."""
    from wideroll.acts.examining import send_looks  # noqa: PLC0415  (loads the rooms)
    from wideroll.acts.examining_lines import LookedAt  # noqa: PLC0415
    from wideroll.store.files import read_bytes  # noqa: PLC0415

    left = replace(draft, sheets=tuple(one for one in draft.sheets if one not in done))
    folder = photographs_of(desk.root, draft.roll, person)
    looked = [
        LookedAt(
            **{name: getattr(one, name) for name in ("sheet", "along_from", "along_to", "across_from", "across_to")},
            taken=one.taken,
            blind=_blind(one, draft),
            on=day_words(one.began_utc, zone_of(desk)),
            noted=tuple(noted.cells for noted in one.holds),
        )
        for one in done
    ]
    names = {line["photograph"] for one in looked for line in one.noted if line.get("photograph")}
    sent = send_looks(
        desk.root,
        draft.roll,
        looked,
        who=person.name,
        photographs={name: read_bytes(folder / name) for name in sorted(names)},
        with_it={draft_name(draft.roll, person): draft_json(left)},
    )
    _clear(folder, left)
    return left, sent


def _clear(folder: Path, left: Draft) -> None:
    """Photographs that no sheet in hand names any longer are among the evidence, or were never kept."""
    names = {noted.cells.get("photograph") for sheet in left.sheets for noted in sheet.noted}
    names |= {sheet.open.answers.get("photograph") for sheet in left.sheets if sheet.open is not None}
    for path in folder.glob("*.png"):
        if path.name not in names:
            path.unlink(missing_ok=True)


def _blind(sheet: DraftSheet, draft: Draft) -> bool:
    """As the examiner said; begun after they were shown what others noted it is none, whatever was said."""
    began_after = bool(draft.shown_utc) and draft.shown_utc <= sheet.began_utc
    return sheet.setting.get("blind", "yes") == "yes" and not began_after


def _done(draft: Draft) -> tuple[DraftSheet, ...]:
    return tuple(one for one in draft.sheets if one.finished and not one.dropped)


def _mark(done: Sequence[DraftSheet]) -> str:
    from hashlib import blake2b  # noqa: PLC0415

    return blake2b(repr(done).encode(), digest_size=16).hexdigest()


def _summary(request: Request, draft: Draft, errors: Sequence[Mapping[str, str]], *, status: int = 200) -> HTMLResponse:
    done = _done(draft)
    sheets = [
        {
            "sheet": one,
            "setting": setting_words(one.setting, SETTING_WORDS),
            "lines": [(noted.number, sighting_words(noted.cells)) for noted in one.holds],
        }
        for one in done
    ]
    left = [one for one in draft.sheets if not one.finished and not one.dropped]
    return roll_page(
        request,
        draft.roll,
        "examining/send.html.j2",
        here="Examination",
        status=status,
        sheets=sheets,
        left=left,
        words=sending_words(draft),
        mark=_mark(done),
        errors=errors,
        back=f"/rolls/{quote(draft.roll)}/examination",
    )
