"""Action cards for machines."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Query, Request

from wideroll.server.access import Allow
from wideroll.server.card_book import cards_of
from wideroll.server.cards.data import CardChoice, chosen, evidence_of, find_card
from wideroll.server.desk import desk_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get("/cards", response_description="`wideroll/card-states/1`: the cards, those raised last first")
def cards(request: Request, choice: Annotated[CardChoice, Query()]) -> dict[str, Any]:
    """Action cards, all or by state, roll and roller."""
    every = cards_of(desk_of(request))
    found = chosen(every, choice)
    if not every.states and not every.wrong:
        return {"schema": "wideroll/card-states/1", "cards": [], "not_read": []}
    from wideroll.acts.card_states import cards_document  # noqa: PLC0415  (loads the store)

    return cards_document(found, every.wrong)


@router.get(
    "/cards/{roll}/{number}",
    response_description="`wideroll/card-state/1`: the card, how it stands, and the figure of what was seen",
)
def card(request: Request, roll: str, number: Annotated[int, Path(ge=0, le=10**9)]) -> dict[str, Any]:
    """One action card, with the data of what the watch saw (`seen`, null where nothing was kept)."""
    from wideroll.acts.card_states import card_document  # noqa: PLC0415  (loads the store)

    desk = desk_of(request)
    return {**card_document(find_card(desk, roll, number)), "seen": evidence_of(desk, roll, number)}
