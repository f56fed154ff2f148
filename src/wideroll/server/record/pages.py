"""The pages of the record: events, one event, its proof, checkpoints, and a bundle to take away."""

from pathlib import Path
from tempfile import mkdtemp
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, BackgroundTasks, Depends, HTTPException, Query, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from wideroll.errors import InputError, RecordError, WiderollError
from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.pages import page
from wideroll.server.record.data import (
    EVERY_S,
    EventsAsked,
    ask_proof,
    events_table,
    files_table,
    proof_job,
    read_events,
)
from wideroll.server.tables import address_with, csv_answer, wrongs_of

__all__ = ["router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_FIELDS: Final = {"from": "from", "to": "to"}
_TOO_MANY: Final = 429


@router.get("/record", response_class=HTMLResponse)
def events(request: Request, asked: Annotated[EventsAsked, Query()]) -> Response:
    """Who did what and when, the newest first."""
    try:
        if asked.format == "csv":
            every = read_events(desk_of(request), asked, most=None).events
            return csv_answer(events_table(every, "Events of the record"), "record")
        found = read_events(desk_of(request), asked)
    except InputError as error:
        return _events_page(request, asked, errors=wrongs_of(error, _FIELDS), status=422)
    except RecordError as error:
        return _events_page(request, asked, trouble=str(error), status=500)
    return _events_page(
        request,
        asked,
        table=events_table(found.events, "Events, the newest first"),
        older=address_with(request, before=found.older) if found.older else "",
    )


@router.get("/record/verify", response_class=HTMLResponse)
def proof(request: Request) -> HTMLResponse:
    """Whether the record holds, by the last proof; or how far the one is that is under way."""
    return _proof_page(request)


@router.post("/record/verify")
def prove(request: Request) -> Response:
    """Prove the record: chain, signatures, and the files that it names."""
    wait_s = ask_proof(desk_of(request))
    if wait_s:
        return _proof_page(request, wait_s=wait_s, status=_TOO_MANY)
    return RedirectResponse("/record/verify", 303)


@router.get("/record/checkpoints", response_class=HTMLResponse)
def checkpoints(request: Request, format: str = "") -> Response:  # noqa: A002
    """Who signed the record, when, and up to which event."""
    from wideroll.acts.record_pages import kept_signatures  # noqa: PLC0415  (loads the store)

    table = _signatures_table(kept_signatures(desk_of(request).root))
    if format == "csv":
        return csv_answer(table, "checkpoints")
    return page(request, "record/checkpoints.html.j2", table=table)


@router.get("/record/bundle.zip", dependencies=[Depends(Allow("decide", "administer"))])
def bundle(request: Request, later: BackgroundTasks) -> FileResponse:
    """The record as a bundle that verifies on another machine with public keys alone."""
    from shutil import rmtree  # noqa: PLC0415

    from wideroll.acts.proving import export_record  # noqa: PLC0415
    from wideroll.acts.sealing import open_record  # noqa: PLC0415

    store = open_record(desk_of(request).root)
    if store is None:
        raise HTTPException(404, "nothing is recorded yet")
    store.close()
    folder = Path(mkdtemp(prefix="wideroll-"))
    later.add_task(rmtree, folder, ignore_errors=True)
    path = folder / "record.zip"
    try:
        export_record(desk_of(request).root, path)
    except BaseException:
        rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(path, media_type="application/zip", filename="record.zip")


@router.get("/record/{number}", response_class=HTMLResponse)
def event(request: Request, number: int) -> HTMLResponse:
    """One event: in words, its canonical JSON, its digest, and the signatures under it."""
    from wideroll.acts.record_pages import event_in_full  # noqa: PLC0415
    from wideroll.report.history_words import act_words  # noqa: PLC0415

    found = event_in_full(desk_of(request).root, number) if number > 0 else None
    if found is None:
        raise HTTPException(404, f"the record has no event {number}")
    one = found.event
    return page(
        request,
        "record/event.html.j2",
        found=found,
        event=one,
        words=act_words(one.act, one.body),
        signatures=_signatures_table(found.signed),
        files=files_table(one),
        roll=one.body.get("roll") if isinstance(one.body.get("roll"), str) else "",
        case=one.body.get("case") if isinstance(one.body.get("case"), str) else "",
    )


def _events_page(request: Request, asked: EventsAsked, *, status: int = 200, **context: Any) -> HTMLResponse:
    from wideroll.report.history_words import ACTS  # noqa: PLC0415

    shown = {"table": None, "older": "", "errors": (), "trouble": ""} | context
    chosen = asked.model_dump(by_alias=True, exclude={"format", "before"})
    query = urlencode({name: value for name, value in chosen.items() if value})
    return page(
        request,
        "record/list.html.j2",
        status=status,
        asked=asked,
        acts=ACTS,
        query=query,
        there=_is_there(request),
        **shown,
    )


def _is_there(request: Request) -> bool:
    """Whether there is a record that a bundle could be made of."""
    from wideroll.acts.record_pages import record_state  # noqa: PLC0415

    try:
        return bool(record_state(desk_of(request).root))
    except WiderollError:
        return False


def _proof_page(request: Request, *, wait_s: int = 0, status: int = 200) -> HTMLResponse:
    job = proof_job(desk_of(request))
    return page(request, "record/verify.html.j2", status=status, job=job, wait_s=wait_s, every_s=EVERY_S)


def _signatures_table(signed: Any) -> dict[str, Any]:
    from wideroll.report.grid import Cell, Column, Grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.report.history_words import time_words  # noqa: PLC0415

    heads = ("event", "signed", "who", "when, UTC", "says", "key", "signature")
    rows = tuple(
        (
            Cell(text=str(one.number) if one.number else "kept beside"),
            Cell(text=f"event {kept.event}" if kept.event is not None else f"events 1 to {kept.events}"),
            Cell(text=kept.who),
            Cell(text=time_words(kept.when_utc).removesuffix(" UTC")),
            Cell(text=kept.says),
            Cell(text=f"{kept.key[:8]}…"),
            Cell(text="● holds" if one.holds else "✖ isn't that key's", tone="release" if one.holds else "reject"),
        )
        for one in signed
        for kept in (one.checkpoint,)
    )
    grid = Grid(
        caption="Signatures under the record",
        columns=tuple(Column(head=head, keep=head in {"when, UTC", "key"}) for head in heads),
        rows=rows,
        empty="Nobody has signed it: wideroll record sign.",
    )
    table = grid_json(grid)
    for row in table["rows"]:
        row[0]["link"] = f"/record/{row[0]['text']}" if row[0]["text"].isdigit() else ""
    return table
