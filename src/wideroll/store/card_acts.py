"""What the record says of a roll's action cards: which were raised, who sees to them, and which are closed."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from wideroll.errors import InputError, RecordError
from wideroll.record import Json, Written
from wideroll.store.acts import CARD, CARD_CLOSED, CARD_GIVEN_BACK, CARD_TAKEN
from wideroll.store.cards import card_file
from wideroll.store.evidence import Lookup
from wideroll.workflow.action_card import ActionCard, CardClosing, CardTaking

__all__ = [
    "RecordedCard",
    "closed_cards",
    "closing_acts",
    "giving_back_acts",
    "raising_acts",
    "recorded_cards",
    "taking_acts",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedCard:
    """What the record says of one card.

    Args:
        content: digest of its file, empty where the record doesn't name it.
        when_utc: it was raised, as far as the record knows.
        event: in which it was raised; 0 where the record doesn't name it.
        taken: who sees to it; None where nobody does.
        closing: None while it is open.
    """

    content: str = ""
    when_utc: str = ""
    event: int = 0
    taken: CardTaking | None = None
    closing: CardClosing | None = None


def recorded_cards(look: Lookup, rolls: Iterable[str]) -> dict[tuple[str, int], RecordedCard]:
    """The cards of some rolls that the record names, by roll and number.

    Args:
        look: finds events.
        rolls: their names; all of the plant where none is given.

    Example:
        >>> recorded_cards(lambda acts, names: (), ["W-1"])
        {}
    """
    names = list(rolls)
    known: dict[tuple[str, int], RecordedCard] = {}
    for row in look((CARD, CARD_TAKEN, CARD_GIVEN_BACK, CARD_CLOSED), names):
        body = json.loads(row.body)
        key = str(body.get("roll")), int(body["card"])
        if not names or key[0] in names:
            known[key] = _after(known.get(key, RecordedCard()), row, body)
    return known


def closed_cards(look: Lookup, roll: str) -> dict[int, CardClosing]:
    """The closing of each card of a roll that was closed, by the card's number.

    Args:
        look: finds events.
        roll: its name.

    Example:
        >>> closed_cards(lambda acts, names: (), "W-1")
        {}
    """
    known = recorded_cards(look, [roll])
    return {number: one.closing for (_, number), one in known.items() if one.closing is not None}


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
    raised = {number: one.content for (_, number), one in recorded_cards(look, [roll]).items() if one.event}
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
    known = _open_card(look, roll, number)
    if known.event and known.content != content:
        raise RecordError(
            where=f"action card {number} of roll {roll}",
            rule="its file must be the one that the record names",
            value="another file",
            mend="Put the card's file back as it was raised; `wideroll record verify` names it.",
        )
    return ((CARD_CLOSED, {"roll": roll, "card": number, "cause": cause, "done": done}),)


def taking_acts(look: Lookup, roll: str, number: int, who: str) -> tuple[tuple[str, dict[str, Json]], ...]:
    """The act by which somebody sees to a card from now on, whoever did before.

    Args:
        look: finds events.
        roll: its name.
        number: of the card.
        who: takes it.

    Raises:
        InputError: when they have it already, or it is closed.

    Example:
        >>> taking_acts(lambda acts, names: (), "W-1", 1, "C. Operator")
        (('card taken', {'roll': 'W-1', 'card': 1}),)
    """
    taken = _open_card(look, roll, number).taken
    if taken is not None and taken.who == who:
        raise InputError(
            where=f"action card {number} of roll {roll}",
            rule=f"{who} has had it since {taken.when_utc[:10]} (event {taken.event})",
            mend="Nothing was recorded: see to the card, then close it.",
        )
    return ((CARD_TAKEN, {"roll": roll, "card": number}),)


def giving_back_acts(look: Lookup, roll: str, number: int) -> tuple[tuple[str, dict[str, Json]], ...]:
    """The act by which nobody sees to a card any more.

    Args:
        look: finds events.
        roll: its name.
        number: of the card.

    Raises:
        InputError: when nobody has it, or it is closed.
    """
    if _open_card(look, roll, number).taken is None:
        raise InputError(
            where=f"action card {number} of roll {roll}",
            rule="only a card that somebody has can be given back",
            mend="Nothing was recorded: nobody has it.",
        )
    return ((CARD_GIVEN_BACK, {"roll": roll, "card": number}),)


def _open_card(look: Lookup, roll: str, number: int) -> RecordedCard:
    known = recorded_cards(look, [roll]).get((roll, number), RecordedCard())
    if known.closing is None:
        return known
    before = known.closing
    raise InputError(
        where=f"action card {number} of roll {roll}",
        rule=f"a card is closed once; {before.who} closed it on {before.when_utc[:10]} (event {before.event})",
        mend="Nothing was recorded. What was found since belongs to the next card, or into the next closing.",
    )


def _after(known: RecordedCard, row: Written, body: Mapping[str, str]) -> RecordedCard:
    """What is known of a card after one more event on it."""
    number = int(body["card"])
    if row.act == CARD:
        # Raised anew under the same number, as after a roll was begun again, it is another card, and open.
        outputs: Mapping[str, str] = json.loads(row.body)["outputs"]
        return RecordedCard(content=str(outputs.get(card_file(number))), when_utc=row.when_utc, event=row.number)
    if row.act == CARD_TAKEN:
        return replace(known, taken=CardTaking(card=number, who=row.who, when_utc=row.when_utc, event=row.number))
    if row.act == CARD_GIVEN_BACK:
        return replace(known, taken=None)
    return replace(known, closing=_closing(row, body))


def _closing(row: Written, body: Mapping[str, str]) -> CardClosing:
    return CardClosing(
        card=int(body["card"]),
        cause=body["cause"],
        done=body["done"],
        who=row.who,
        when_utc=row.when_utc,
        event=row.number,
    )
