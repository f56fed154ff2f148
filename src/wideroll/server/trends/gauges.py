"""Gauge studies of the plant: how much of what is read comes from the gauge and from who reads."""

import re
from pathlib import Path
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel, Field

from wideroll.errors import InputError
from wideroll.server.access import Allow
from wideroll.server.desk import Desk, desk_of
from wideroll.server.pages import page
from wideroll.server.tables import address_with, csv_answer, wrongs_of

__all__ = ["GaugeAsked", "router", "studies_of", "study"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])
_FOLDER: Final = "gauge-studies"
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")


class GaugeAsked(BaseModel):
    """Which study, and the width between the product's limits in the readings' unit."""

    study: str = Field(default="", max_length=100)
    tolerance: str = Field(default="", max_length=40)
    format: str = Field(default="", max_length=10)
    table: str = Field(default="", max_length=20)


@router.get("/trends/gauges", response_class=HTMLResponse)
def gauges(request: Request, asked: Annotated[GaugeAsked, Query()]) -> Response:
    """The studies there are, and one of them by both usual methods."""
    from wideroll.report.gauge_grids import gauge_grid, gauge_words  # noqa: PLC0415  (loads what draws)
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    names = studies_of(desk_of(request))
    tables: dict[str, Any] = {}
    said: tuple[str, ...] = ()
    errors: list[dict[str, str]] = []
    try:
        if asked.study:
            both = study(desk_of(request), asked)
            tables = {f"method-{rank}": grid_json(gauge_grid(one)) for rank, one in enumerate(both, start=1)}
            said = tuple(dict.fromkeys(sentence for one in both for sentence in gauge_words(one)))
    except InputError as error:
        errors = wrongs_of(error, {"tolerance": "tolerance"})
    if asked.format == "csv" and asked.table in tables:
        return csv_answer(tables[asked.table], f"{asked.study} {asked.table}")
    return page(
        request,
        "trends/gauges.html.j2",
        status=422 if errors else 200,
        names=names,
        asked=asked,
        tables=tables,
        said=said,
        errors=errors,
        csv_of=lambda key: address_with(request, format="csv", table=key),
    )


def studies_of(desk: Desk) -> tuple[str, ...]:
    """The names of the plant's gauge studies."""
    found = (path.stem for path in (desk.root / _FOLDER).glob("*.csv"))
    return tuple(sorted(name for name in found if _NAME.fullmatch(name)))


def study(desk: Desk, asked: GaugeAsked) -> tuple[Any, ...]:
    """A study by both methods.

    Raises:
        HTTPException: 404 when there is none of that name.
        InputError: when its file has a fault, or the tolerance isn't a number above 0.
    """
    from wideroll.control import gauge_by_anova, gauge_by_ranges  # noqa: PLC0415
    from wideroll.readers.gauge_study_file import read_gauge_study  # noqa: PLC0415

    if asked.study not in studies_of(desk):
        raise HTTPException(404, f"there is no gauge study {asked.study}")
    readings = read_gauge_study(Path(desk.root, _FOLDER, f"{asked.study}.csv"))
    tolerance = _tolerance(asked.tolerance)
    return gauge_by_anova(readings, tolerance=tolerance), gauge_by_ranges(readings, tolerance=tolerance)


def _tolerance(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = 0.0
    if not 0.0 < value < float("inf"):
        raise InputError(
            where="tolerance",
            rule="must be a number above 0",
            value=text,
            mend="Write it like 0.12, or leave it empty.",
        )
    return value
