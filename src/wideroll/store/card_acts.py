"""What the record says of a roll's action cards: which were raised, and which are closed."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wideroll.errors import InputError, RecordError
from wideroll.record import Json, Written
from wideroll.store.acts import CARD, CARD_CLOSED
from wideroll.store.cards import card_file
from wideroll.store.evidence import Lookup
from wideroll.workflow.action_card import ActionCard, CardClosing

__all__ = ["closed_cards", "closing_acts", "raising_acts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cards:
    raised: Mapping[int, str]
    """Digest of each card's file."""
    closed: Mapping[int, CardClosing]


def closed_cards(look: Lookup, roll: str) -> dict[int, CardClosing]:
    """The closing of each card of a roll that was closed, by the card's number.

    Args:
        look: finds events.
        roll: its name.

    Example:
        >>> closed_cards(lambda acts, names: (), "W-1")
        {}
    """
    return dict(_cards(look, roll).closed)


def raising_acts(
    look: Lookup, roll: str, cards: Iterable[tuple[ActionCard, str]], *, now: bool
) -> tuple[tuple[str, dict[str, Json]], ...]:
    """The acts for those cards that the record doesn't name yet.

    Args:
        look: finds events.
        roll: its name.
        cards: each with the digest of its file.
        now: they are raised now, so that one whose number was used before, as for a roll that began anew, is another
            card; of cards kept from before a file that differs is no new card, but one that was changed.

    Example:
        >>> from wideroll.workflow.card_json import trial_card
        >>> card = trial_card("Little Mere, line 1", "W-1")
        >>> ((act, body),) = raising_acts(lambda acts, names: (), "W-1", [(card, "ab")], now=True)
        >>> act, body["outputs"]
        ('action card', {'cards/000.json': 'ab'})
    """
    raised = _cards(look, roll).raised
    return tuple(
        (CARD, {"roll": roll, "card": card.number, "roller": card.roller, "outputs": {card_file(card.number): content}})
        for card, content in cards
        if card.number not in raised or (now and raised[card.number] != content)
    )


def closing_acts(
    look: Lookup, roll: str, card: tuple[int, str], *, cause: str, done: str
) -> tuple[tuple[str, dict[str, Json]], ...]:
    """The act that closes a card.

    Args:
        look: finds events.
        roll: its name.
        card: its number, and the digest of its file.
        cause: what was found.
        done: what was done.

    Raises:
        InputError: when it is closed already.
        RecordError: when its file isn't the one that was recorded.

    Example:
        >>> closing_acts(lambda acts, names: (), "W-1", (1, "ab"), cause="dirt", done="wiped")
        (('card closed', {'roll': 'W-1', 'card': 1, 'cause': 'dirt', 'done': 'wiped'}),)
    """
    number, content = card
    known = _cards(look, roll)
    if known.raised.get(number, content) != content:
        raise RecordError(
            where=f"action card {number} of roll {roll}",
            rule="its file must be the one that the record names",
            value="another file",
            mend="Put the card's file back as it was raised; `wideroll record verify` names it.",
        )
    before = known.closed.get(number)
    if before is not None:
        raise InputError(
            where=f"action card {number} of roll {roll}",
            rule=f"a card is closed once; {before.who} closed it on {before.when_utc[:10]} (event {before.event})",
            mend="Nothing was recorded. What was found since belongs to the next card, or into the next closing.",
        )
    return ((CARD_CLOSED, {"roll": roll, "card": number, "cause": cause, "done": done}),)


def _cards(look: Lookup, roll: str) -> _Cards:
    raised: dict[int, str] = {}
    closed: dict[int, CardClosing] = {}
    for row in look((CARD, CARD_CLOSED), [roll]):
        body = json.loads(row.body)
        if body.get("roll") != roll:
            continue
        number = int(body["card"])
        if row.act == CARD:
            # Raised anew under the same number, as after a roll was begun again, it is another card, and open.
            raised[number] = str(body["outputs"].get(card_file(number)))
            closed.pop(number, None)
        else:
            closed[number] = _closing(row, body)
    return _Cards(raised=raised, closed=closed)


def _closing(row: Written, body: Mapping[str, str]) -> CardClosing:
    return CardClosing(
        card=int(body["card"]),
        cause=body["cause"],
        done=body["done"],
        who=row.who,
        when_utc=row.when_utc,
        event=row.number,
    )
