"""An action card as JSON: the same wherever it is delivered or kept."""

import json
from dataclasses import fields
from typing import Any, Final
from urllib.parse import quote

from wideroll.workflow.action_card import ActionCard

__all__ = ["CARD_SCHEMA", "TEST_ACTION", "card_bytes", "card_id", "card_json", "trial_card"]

CARD_SCHEMA: Final = "wideroll/action-card/1"
TEST_ACTION: Final = "This is a test: do nothing."


def card_id(card: ActionCard) -> str:
    """What a card is known by, ``plant/roll/number``: a card delivered twice has the same.

    Signs that don't belong in an address are written as such (a space as ``%20``), in names a slash too.

    Example:
        >>> card_id(trial_card("Little Mere, line 1", "W-1"))
        'Little%20Mere%2C%20line%201/W-1/0'
    """
    return "/".join(quote(part, safe="") for part in (card.plant, card.roll, str(card.number)))


def card_json(card: ActionCard) -> dict[str, Any]:
    """``wideroll/action-card/1``: the card's fields, its id and whether it is a test.

    Example:
        >>> card_json(trial_card("Little Mere, line 1", "W-1"))["test"]
        True
    """
    values = {field.name: getattr(card, field.name) for field in fields(card)}
    others = [{"roller": roller, "probability": probability} for roller, probability in card.others]
    return {"schema": CARD_SCHEMA, "id": card_id(card), "test": card.number == 0, **values, "others": others}


def card_bytes(card: ActionCard) -> bytes:
    """The same as one line of UTF-8, without its end; the same card gives the same bytes.

    Raises:
        ValueError: when a number of the card isn't finite.
    """
    return json.dumps(card_json(card), ensure_ascii=False, allow_nan=False).encode()


def trial_card(plant: str, roll: str) -> ActionCard:
    """A card that tells no one to do anything, to see whether notices arrive; its number is 0.

    Example:
        >>> trial_card("Little Mere, line 1", "W-1").action
        'This is a test: do nothing.'
    """
    return ActionCard(
        plant=plant,
        roll=roll,
        number=0,
        at_m=0.0,
        first_m=0.0,
        last_m=0.0,
        across_mm=0.0,
        spacing_m=0.0,
        spacing_low_m=0.0,
        spacing_high_m=0.0,
        marks=0,
        print_probability=0.0,
        roller="none: test",
        probability=0.0,
        others=(),
        log10_evidence=0.0,
        false_alarm=0.0,
        action=TEST_ACTION,
    )
