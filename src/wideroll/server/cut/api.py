"""The cut of a roll for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, Field

from wideroll.server.access import Allow
from wideroll.server.cut.asking import MOST_WISHES, Wished
from wideroll.server.cut.data import cut_of
from wideroll.server.cut.wishing import answer_to
from wideroll.server.desk import desk_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])

_Text = Annotated[str, Field(max_length=60)]


class WishBody(BaseModel):
    """Wishes: lengths with their unit, or numbers in the shop's; names of widths."""

    model_config = ConfigDict(extra="forbid")

    knives: list[_Text] = Field(default=[], max_length=MOST_WISHES, examples=[["612.5 mm"]])
    cross_cuts: list[_Text] = Field(default=[], max_length=MOST_WISHES, examples=[["21 m"]])
    without_widths: list[_Text] = Field(default=[], max_length=MOST_WISHES, examples=[["16 mm"]])


@router.get("/rolls/{roll}/cut", response_description="`wideroll/cut/2`, as `wideroll cut --json` gives it")
def cut(request: Request, roll: str) -> dict[str, Any]:
    """The cut that stands on a roll."""
    return cut_of(desk_of(request), roll).document


@router.post(
    "/rolls/{roll}/cut/wish",
    response_description="`wideroll/cut-wish/1`: what the wishes cost, the cut that stands and the one with them",
    responses={422: {"description": "A wish can't be read or met; `rule` says which and why"}},
)
def wish(request: Request, roll: str, body: WishBody) -> dict[str, Any]:
    """What wishes would cost; nothing that stands is changed, and nothing recorded."""
    desk = desk_of(request)
    wished = Wished.of(body.knives, body.cross_cuts, body.without_widths)
    answer = answer_to(desk, roll, wished)
    return {
        "schema": "wideroll/cut-wish/1",
        "roll": roll,
        "words": answer.sentence,
        "prices": answer.document["prices"],
        "standing": cut_of(desk, roll).document,
        "wished": answer.document,
    }
