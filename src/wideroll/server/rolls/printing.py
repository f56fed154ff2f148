"""A roll's sheets as PDF, as they can be printed years later: of what the record holds."""

from datetime import UTC, datetime
from importlib.util import find_spec
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.errors import as_asked
from wideroll.server.rolls.waiting import standing_of

__all__ = ["can_print", "router"]

router: Final = APIRouter(dependencies=[Depends(Allow("read"))])


def can_print() -> bool:
    """Whether what sets PDF is installed: else no page offers one."""
    return find_spec("typst") is not None


@router.get("/rolls/{roll}/print/{kind}.pdf")
def print_sheet(
    request: Request,
    roll: str,
    kind: Literal["certificate", "decision", "cut", "card"],
    card: Annotated[int | None, Query(ge=0)] = None,
) -> Response:
    """A sheet as PDF, as ``wideroll print`` makes it; nothing is recorded."""
    from wideroll.acts.printing import Kind, printed_sheet  # noqa: PLC0415  (loads all rooms)

    desk = desk_of(request)
    standing_of(desk.root, desk.results, roll, datetime.now(UTC))
    with as_asked():
        content = printed_sheet(desk.root, roll, Kind(kind), card)
    named = {"Content-Disposition": f'inline; filename="{roll}-{kind}.pdf"'}
    return Response(content, media_type="application/pdf", headers=named)
