"""Trends for machines."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request
from pydantic import ConfigDict

from wideroll.server.access import Allow, Person
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.soon import Answer
from wideroll.server.trends.asked import FIELDS, ChartAsked, RollsAsked
from wideroll.server.trends.base_periods import Freezing, freeze_base
from wideroll.server.trends.data import ask_causes, ask_chart, ask_overview, bases_of
from wideroll.server.trends.gauges import GaugeAsked, studies_of, study

if TYPE_CHECKING:
    from wideroll.record import Event

__all__ = ["acts", "router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])
acts: Final = APIRouter(prefix="/api")
"""What changes something: for it the act's own scope is enough."""
_LONG_S: Final = 120.0


@router.get("/trends")
def overview(request: Request, asked: Annotated[RollsAsked, Query()]) -> dict[str, Any]:
    """``wideroll/control/1``: each chart in a line, the worst first."""
    return dict(_waited(lambda: ask_overview(desk_of(request), asked)).document)


@router.get("/trends/chart")
def chart(request: Request, asked: Annotated[ChartAsked, Query()]) -> dict[str, Any]:
    """``wideroll/control-chart/1``: points, limits, broken rules, changes and capability of one quantity."""
    return dict(_waited(lambda: ask_chart(desk_of(request), asked)).document)


@router.get("/trends/causes")
def causes(request: Request, asked: Annotated[RollsAsked, Query()]) -> dict[str, Any]:
    """``wideroll/pareto/1``: causes by what they are counted in."""
    from wideroll.report.gauge_grids import causes_json  # noqa: PLC0415  (loads what draws)

    _, (cut, closed) = _waited(lambda: ask_causes(desk_of(request), asked))
    return causes_json({"cut_out_m2": cut.lines, "closed_cards": closed.lines})


@router.get("/trends/gauges")
def gauges(request: Request, asked: Annotated[GaugeAsked, Query()]) -> dict[str, Any]:
    """``wideroll/gauge/1`` of one study; without its name ``wideroll/gauge-studies/1``, those that there are."""
    from wideroll.report.gauge_grids import gauge_json  # noqa: PLC0415

    if not asked.study:
        return {"schema": "wideroll/gauge-studies/1", "studies": list(studies_of(desk_of(request)))}
    with as_asked():
        return gauge_json(study(desk_of(request), asked))


@router.get("/trends/base-periods")
def bases(request: Request) -> dict[str, Any]:
    """``wideroll/base-periods/1``: those on record, the newest first."""
    return {
        "schema": "wideroll/base-periods/1",
        "base_periods": [_base(event) for event in bases_of(desk_of(request))],
    }


class FreezingBody(Freezing):
    """The rolls of some days, and why they set the limits."""

    model_config = ConfigDict(extra="forbid")


@acts.post("/trends/base-periods")
def freeze(request: Request, body: FreezingBody, person: Annotated[Person, Depends(Allow("decide"))]) -> dict[str, Any]:
    """Freeze a base period for good; gives ``wideroll/base-period/1``, what the record says of it."""
    with as_asked(FIELDS):
        event = freeze_base(desk_of(request), body, person.name)
    return {"schema": "wideroll/base-period/1", **_base(event)}


def _base(event: "Event") -> dict[str, Any]:
    return {**event.body, "event": event.number, "who": event.who, "when_utc": event.when_utc}


def _waited(ask: Callable[[], Answer]) -> Any:
    with as_asked():
        return ask().waited(_LONG_S)
