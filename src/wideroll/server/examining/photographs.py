"""Photographs of sightings: sent up, shown, measured; those of a draft only to whom they are."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.examining.data import address_of, basics_of, examination_of
from wideroll.server.examining.drafts import DraftSheet, draft_of, drafting, photographs_of
from wideroll.server.examining.entry import in_hand, wrong_words
from wideroll.server.examining.measuring import POINTS, measure
from wideroll.server.policies import PICTURE_POLICY
from wideroll.server.rolls.frame import roll_page
from wideroll.server.uploads import read_upload

__all__ = ["keep_photograph", "photograph_sent", "router"]

router: Final = APIRouter()
_Examiner = Annotated[Person, Depends(Allow("examine"))]
_MOST_PIXELS: Final = 40_000_000
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
_KINDS: Final = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg"}
_FIELDS: Final = ("length", "per_pixel", *POINTS["scale"], *POINTS["mark"])
_MEASURED: Final = "measured"
"""Among the answers, what was typed to measure; no column of the table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """Who asks about the photograph of a sighting on which sheet."""

    request: Request
    roll: str
    sheet: str
    person: Person

    @property
    def desk(self) -> Desk:
        """The desk that was asked."""
        return desk_of(self.request)


@router.get("/rolls/{roll}/examination/{sheet}/photograph", response_class=HTMLResponse)
def look(request: Request, roll: str, sheet: str, person: _Examiner) -> Response:
    """The photograph of the sighting that is being entered, to be sent up or measured."""
    desk = desk_of(request)
    found = in_hand(draft_of(desk.root, roll, person), sheet)
    if found is None or found.open is None:
        return RedirectResponse(f"/rolls/{quote(roll)}/examination", 303)
    typed = json.loads(found.open.answers.get(_MEASURED, "{}"))
    asked = _Asked(request=request, roll=roll, sheet=sheet, person=person)
    return _page(asked, found, typed, [])


@router.post("/rolls/{roll}/examination/{sheet}/photograph")
async def change(request: Request, roll: str, sheet: str, person: _Examiner) -> Response:
    """A photograph sent up, measured, or taken off the sighting."""
    asked = _Asked(request=request, roll=roll, sheet=sheet, person=person)
    async with request.form(max_files=1, max_fields=30) as form:
        png = None
        if form.get("go") == "send-up":
            try:
                png = await photograph_sent(request, form)
            except InputError as error:
                return await run_in_threadpool(_again, asked, {}, error)
        return await run_in_threadpool(_changed, asked, form, png)


@router.get("/rolls/{roll}/examination/drafts/{name}")
def draft_photograph(request: Request, roll: str, name: str, person: _Examiner) -> FileResponse:
    """A photograph of somebody's own that wasn't sent yet."""
    return _served(photographs_of(desk_of(request).root, basics_of(desk_of(request), roll).roll, person), roll, name)


@router.get("/rolls/{roll}/examination/photographs/{name}", dependencies=[Depends(Allow("read"))])
def sent_photograph(request: Request, roll: str, name: str) -> FileResponse:
    """A photograph that a sighting among the evidence names."""
    desk = desk_of(request)
    files = examination_of(desk, basics_of(desk, roll))
    if name not in {one.photograph for one in files.log.sightings}:
        raise FileNotFoundError(roll)
    return _served(files.folder, roll, name)


async def photograph_sent(request: Request, form: FormData) -> tuple[str, bytes]:
    """The photograph of a form as it is kept, a PNG without what the camera wrote beside, and its name.

    Args:
        request: it came with.
        form: with the file ``photograph``.

    Raises:
        InputError: when there is none, or it can't be kept.
    """
    from wideroll.acts.sighting_photographs import plain_png  # noqa: PLC0415  (loads what reads pictures)

    file = form.get("photograph")
    if not isinstance(file, UploadFile) or not file.filename:
        raise InputError(where="photograph", rule="a photograph must be chosen", mend="Choose a PNG, JPEG or TIFF.")
    upload = await read_upload(request, file, where="photograph", most_pixels=_MOST_PIXELS)
    return await run_in_threadpool(plain_png, upload.data, upload.ending)


def _changed(asked: _Asked, form: FormData, png: tuple[str, bytes] | None) -> Response:
    typed = {name: str(form.get(name, "")) for name in _FIELDS}
    root = asked.desk.root
    try:
        with drafting(root, asked.roll, asked.person) as held:
            found = in_hand(held[0], asked.sheet)
            if found is None or found.open is None:
                return RedirectResponse(f"/rolls/{quote(asked.roll)}/examination", 303)
            answers = _answers(found.open.answers, str(form.get("go", "")), typed, png)
            if png is not None:
                keep_photograph(photographs_of(root, asked.roll, asked.person), png)
            held[0] = held[0].with_sheet(replace(found, open=replace(found.open, answers=answers)))
    except InputError as error:
        return _again(asked, typed, error)
    return RedirectResponse(address_of(asked.roll, found.sheet, "photograph"), 303)


def _answers(
    before: Mapping[str, str], go: str, typed: Mapping[str, str], png: tuple[str, bytes] | None
) -> dict[str, str]:
    own = {"photograph", "photograph_scale", _MEASURED}
    others = {name: cell for name, cell in before.items() if name not in own}
    if png is not None:
        return {**others, "photograph": png[0]}
    if go == "measure" and before.get("photograph"):
        found = measure(typed)
        size = {"size": found.size} if found.size else {}
        kept = {"photograph": before["photograph"], "photograph_scale": found.scale, _MEASURED: json.dumps(dict(typed))}
        return {**others, **size, **kept}
    return others if go == "take-off" else dict(before)


def keep_photograph(folder: Path, png: tuple[str, bytes]) -> None:
    """Keep a photograph until it is sent with its sighting.

    Args:
        folder: of the examiner's own, ``drafts.photographs_of``.
        png: its name and its bytes.
    """
    from wideroll.store.files import write_whole  # noqa: PLC0415

    folder.mkdir(parents=True, exist_ok=True)
    folder.parent.chmod(0o700)
    write_whole(folder / png[0], png[1])


def _again(asked: _Asked, typed: Mapping[str, str], error: InputError) -> Response:
    found = in_hand(draft_of(asked.desk.root, asked.roll, asked.person), asked.sheet)
    if found is None or found.open is None:
        return RedirectResponse(f"/rolls/{quote(asked.roll)}/examination", 303)
    field = error.where if error.where in {*_FIELDS, "photograph"} else ""
    return _page(asked, found, typed, [{"field": field, "words": wrong_words(error)}])


def _page(
    asked: _Asked, sheet: DraftSheet, typed: Mapping[str, str], errors: Sequence[Mapping[str, str]]
) -> HTMLResponse:
    roll = asked.roll
    answers: Mapping[str, str] = {} if sheet.open is None else sheet.open.answers
    name = answers.get("photograph", "")
    size = _size(photographs_of(asked.desk.root, roll, asked.person) / name) if name else None
    return roll_page(
        asked.request,
        roll,
        "examining/photograph.html.j2",
        here="Examination",
        status=422 if errors else 200,
        sheet=sheet,
        photograph=name if size else "",
        columns=size[0] if size else 0,
        rows=size[1] if size else 0,
        answers=answers,
        typed={field: typed.get(field, "") for field in _FIELDS},
        picture=f"/rolls/{quote(roll)}/examination/drafts/{name}",
        here_address=address_of(roll, sheet.sheet, "photograph"),
        enter_address=address_of(roll, sheet.sheet),
        errors=errors,
    )


def _size(path: Path) -> tuple[int, int] | None:
    """Columns and rows, from the head of a PNG."""
    try:
        with path.open("rb") as file:
            head = file.read(24)
    except OSError:
        return None
    return int.from_bytes(head[16:20]), int.from_bytes(head[20:24])


def _served(folder: Path, roll: str, name: str) -> FileResponse:
    path = folder / name
    if _NAME.fullmatch(name) is None or path.suffix.lower() not in _KINDS or not path.is_file():
        raise FileNotFoundError(roll)
    return FileResponse(
        path,
        media_type=_KINDS[path.suffix.lower()],
        headers={"Content-Security-Policy": PICTURE_POLICY, "Cache-Control": "no-cache"},
    )
