"""How the action cards of a plant stand: open, taken by somebody, or closed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote

from wideroll.acts.sealing import open_record
from wideroll.errors import InputError
from wideroll.report.machine import plain
from wideroll.store import RecordedCard, card_file, load_cards, recorded_cards
from wideroll.workflow import ActionCard
from wideroll.workflow.card_json import card_json

__all__ = ["CARD_STATES", "CardState", "card_document", "cards_document", "states_of"]

CARD_STATES: Final = ("open", "taken", "closed")


@dataclass(frozen=True, slots=True, kw_only=True)
class CardState:
    """A card, and what people did about it.

    Args:
        roll: in whose results it lies.
        card: as it was raised.
        recorded: what the record says of it.
        kept_utc: its file was written, which stands for the time it was raised where the record doesn't name it.
    """

    roll: str
    card: ActionCard
    recorded: RecordedCard
    kept_utc: str

    @property
    def state(self) -> str:
        """One of ``CARD_STATES``."""
        if self.recorded.closing is not None:
            return "closed"
        return "open" if self.recorded.taken is None else "taken"

    @property
    def address(self) -> str:
        """Where the desk shows it."""
        return f"/cards/{quote(self.roll)}/{self.card.number}"

    @property
    def raised_utc(self) -> str:
        """When it was raised."""
        return self.recorded.when_utc or self.kept_utc


def states_of(plant: Path, rolls: Iterable[str]) -> tuple[tuple[CardState, ...], tuple[str, ...]]:
    """The cards of some rolls, those raised last first, and what is wrong with rolls whose cards can't be read.

    Args:
        plant: its folder.
        rolls: their names.

    Raises:
        RecordError: when the record can't be read.
    """
    kept: list[tuple[str, ActionCard, str]] = []
    wrong: list[str] = []
    for roll in rolls:
        try:
            kept += [(roll, card, _written(plant, roll, card)) for card in load_cards(plant / "results" / roll)]
        except (InputError, OSError) as error:
            wrong.append(str(error))
    known = _known(plant, sorted({roll for roll, _, _ in kept}))
    states = [
        CardState(roll=roll, card=card, recorded=known.get((roll, card.number), RecordedCard()), kept_utc=when)
        for roll, card, when in kept
    ]
    states.sort(key=lambda one: (one.raised_utc, one.roll, one.card.number), reverse=True)
    return tuple(states), tuple(wrong)


def card_document(one: CardState) -> dict[str, Any]:
    """A card for machines: as it was delivered, and how it stands.

    Args:
        one: the card.
    """
    taken, closing = one.recorded.taken, one.recorded.closing
    return {
        "schema": "wideroll/card-state/1",
        "state": one.state,
        "raised_utc": one.raised_utc,
        "event": one.recorded.event or None,
        "taken": None if taken is None else plain(taken),
        "closed": None if closing is None else plain(closing),
        "card": card_json(one.card),
    }


def cards_document(states: Sequence[CardState], wrong: Sequence[str]) -> dict[str, Any]:
    """Cards for machines.

    Args:
        states: in the order in which they are shown.
        wrong: what couldn't be read.
    """
    return {"schema": "wideroll/card-states/1", "cards": [card_document(one) for one in states], "not_read": [*wrong]}


def _known(plant: Path, rolls: Sequence[str]) -> dict[tuple[str, int], RecordedCard]:
    store = open_record(plant) if rolls else None
    if store is None:
        return {}
    with store:
        return recorded_cards(store.naming, rolls)


def _written(plant: Path, roll: str, card: ActionCard) -> str:
    path = plant / "results" / roll / card_file(card.number)
    return datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")
