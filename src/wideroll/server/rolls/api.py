"""The rolls for machines."""

from typing import Any, Final

from fastapi import APIRouter, Depends, Request

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.rolls.data import RollResult, list_rolls, read_roll

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get("/rolls")
def rolls(request: Request) -> dict[str, Any]:
    """All decided rolls in short."""
    return {"rolls": [_brief(roll) for roll in list_rolls(desk_of(request).results)]}


@router.get("/rolls/{roll}")
def one(request: Request, roll: str) -> dict[str, Any]:
    """The decision of a roll, as ``decision.json`` has it."""
    return dict(read_roll(desk_of(request).results, roll).decision)


def _brief(roll: RollResult) -> dict[str, Any]:
    return {
        "roll": roll.roll,
        "verdict": roll.verdict,
        "why": roll.why,
        "sheet": f"/rolls/{roll.roll}/sheet" if roll.has_sheet else None,
        "trouble": roll.trouble or None,
    }
