"""The strips of a roll for machines."""

from typing import Any, Final

from fastapi import APIRouter, Depends, HTTPException, Request

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.strips.data import strips_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])
_SOON_S: Final = 20.0


@router.get(
    "/rolls/{roll}/strips",
    response_description="`wideroll/strips/1`, with `curves`: points, fits and aims of each strip; and `decided`",
    responses={503: {"description": "The strips are still being fitted; ask again"}},
)
def strips(request: Request, roll: str) -> dict[str, Any]:
    """The strips of a roll: runs, measures, deviations, profiles, curves."""
    return _document(request, roll)


@router.get(
    "/rolls/{roll}/strips/{strip}",
    response_description="One strip of `wideroll/strips/1`, with `curves`",
    responses={503: {"description": "The strips are still being fitted; ask again"}},
)
def strip(request: Request, roll: str, strip: str) -> dict[str, Any]:
    """One strip: measures, deviations, points and fits."""
    document = _document(request, roll)
    found = [one for one in document["strips"] if one["strip"] == strip]
    if not found:
        raise HTTPException(404, "the roll has no such strip")
    curves = next((one for one in document["curves"] if one["strip"] == strip), None)
    return {"schema": document["schema"], "roll": roll, **found[0], "curves": curves, "decided": document["decided"]}


def _document(request: Request, roll: str) -> dict[str, Any]:
    desk = desk_of(request)
    shown, job = strips_of(desk, roll)
    if job is not None:
        job.over.wait(_SOON_S)
        if job.error is not None:
            raise job.error
        shown, _ = strips_of(desk, roll)
    if shown is None:
        raise HTTPException(503, "the strips are still being fitted; ask again in a few seconds")
    return {"roll": roll, "decided": shown.decided, **shown.document}
