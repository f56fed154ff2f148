"""Base periods: which are frozen, and freezing one."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person
from wideroll.server.desk import Desk, desk_of
from wideroll.server.pages import page
from wideroll.server.tables import csv_answer, wrongs_of
from wideroll.server.trends.asked import FIELDS, day
from wideroll.server.trends.data import bases_of

if TYPE_CHECKING:
    from wideroll.record import Event

__all__ = ["Freezing", "freeze_base", "router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])


class Freezing(BaseModel):
    """The form that freezes a base period."""

    name: str = Field(default="", max_length=200)
    first_day: str = Field(default="", alias="from", max_length=40)
    last_day: str = Field(default="", alias="to", max_length=40)
    product: str = Field(default="", max_length=200)
    line: str = Field(default="", max_length=200)
    because: str = Field(default="", max_length=4000)


@router.get("/trends/base-periods", response_class=HTMLResponse)
def bases(request: Request, format: str = "") -> Response:  # noqa: A002
    """The base periods that are frozen, the newest first."""
    if format == "csv":
        return csv_answer(_table(bases_of(desk_of(request))), "base-periods")
    return _page(request, Freezing())


@router.post("/trends/base-periods")
def freeze(
    request: Request, form: Annotated[Freezing, Form()], person: Annotated[Person, Depends(Allow("decide"))]
) -> Response:
    """Freeze the limits of the rolls of some days, for good."""
    try:
        event = freeze_base(desk_of(request), form, person.name).number
    except InputError as error:
        return _page(request, form, errors=wrongs_of(error, FIELDS), status=422)
    return RedirectResponse(f"/trends/base-periods?frozen={event}", 303)


def freeze_base(desk: Desk, form: Freezing, who: str) -> "Event":
    """Freeze the limits of the rolls of some days.

    Args:
        desk: with the plant.
        form: its name, days and rolls, and why they set the limits.
        who: freezes it.

    Returns:
        The event of the record.

    Raises:
        InputError: when anything can't be used, or a base period has that name.
    """
    from wideroll.acts.controlling import freeze_rolls  # noqa: PLC0415  (loads the rooms)
    from wideroll.acts.rolls_history import open_history  # noqa: PLC0415
    from wideroll.acts.sealing import now_utc  # noqa: PLC0415
    from wideroll.store.base_periods import check_base_name  # noqa: PLC0415
    from wideroll.workflow.base_period import BasePeriodSaid  # noqa: PLC0415

    check_base_name(form.name.strip())
    first, last = _needed_day(form.first_day, "from"), _needed_day(form.last_day, "to")
    if not form.because.strip():
        raise InputError(where="because", rule="must hold words", mend="Say why these rolls set the limits.")
    hand = open_history(desk.root)
    rolls = hand.rolls(form.product.strip() or None, form.line.strip() or None, first, last)
    said = BasePeriodSaid(
        name=form.name.strip(),
        first_day=first,
        last_day=last,
        who=who,
        when_utc=now_utc(),
        because=form.because.strip(),
    )
    return freeze_rolls(hand, rolls, said).event


def _needed_day(text: str, where: str) -> str:
    found = day(text, where)
    if not found:
        raise InputError(where=where, rule="a day is needed", mend="Write it like 2026-11-20.")
    return found


def _page(
    request: Request, form: Freezing, *, errors: Sequence[dict[str, str]] = (), status: int = 200
) -> HTMLResponse:
    table = _table(bases_of(desk_of(request)))
    return page(request, "trends/base_periods.html.j2", status=status, table=table, typed=form, errors=errors)


def _table(events: Sequence[Any]) -> dict[str, Any]:
    from wideroll.report.grid import Cell, Column, Grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    heads = ("base period", "product", "line", "from", "to", "rolls", "frozen by", "when, UTC", "because", "event")
    names = ("base", "product", "line", "first_day", "last_day", "rolls")
    rows = tuple(
        (
            *(Cell(text=str(event.body.get(name, ""))) for name in names),
            Cell(text=event.who),
            Cell(text=event.when_utc[:16].replace("T", " ")),
            Cell(text=str(event.body.get("because", ""))),
            Cell(text=str(event.number)),
        )
        for event in events
    )
    keep = {"base period", "from", "to", "when, UTC"}
    columns = tuple(Column(head=head, keep=head in keep, number=head in {"rolls", "event"}) for head in heads)
    table = grid_json(
        Grid(
            caption="Base periods, the newest first",
            columns=columns,
            rows=rows,
            empty="None is frozen: the first rolls set the limits of each chart.",
        )
    )
    for row, event in zip(table["rows"], events, strict=True):
        row[-1]["link"] = f"/record/{event.number}"
    return table
