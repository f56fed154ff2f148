"""Action cards in the record: raised by a watch, taken and closed by people."""

from collections.abc import Sequence
from pathlib import Path

from wideroll import __version__
from wideroll.acts.sealing import now_utc, open_record, record_held
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.record import Event, Json, digest
from wideroll.store import (
    Lookup,
    RecordStore,
    card_file,
    closed_cards,
    closing_acts,
    giving_back_acts,
    raising_acts,
    read_bytes,
    taking_acts,
)
from wideroll.workflow import ActionCard, CardClosing

__all__ = ["chosen_cards", "close_card", "closings_of", "give_back_card", "raise_cards", "take_card"]


def raise_cards(plant: Path, roll: str, cards: Sequence[ActionCard], *, who: str, now: bool) -> tuple[Event, ...]:
    """Record those of a roll's kept cards that the record doesn't name yet.

    Args:
        plant: its folder.
        roll: its name.
        cards: as they are kept.
        who: watches.
        now: they are raised now, and not left from before.

    Raises:
        InputError: when a card's file isn't there, or the database is held for too long.
        RecordError: when the last event doesn't hold what was written.
    """
    if not cards:
        return ()
    kept = [(card, _content(plant, roll, card)) for card in cards]
    with RecordStore(PlantFolder(plant).record_url()) as store:
        return store.append_made(lambda look: raising_acts(look, roll, kept, now=now), who, now_utc(), __version__)


def close_card(plant: Path, roll: str, card: ActionCard, *, cause: str, done: str, who: str) -> Event:
    """Record what was found behind a card, and what was done; the card itself isn't touched.

    Args:
        plant: its folder.
        roll: its name.
        card: as it is kept.
        cause: what made the marks.
        done: what was done about it.
        who: closes it.

    Raises:
        InputError: when it is closed already.
        RecordError: when the record doesn't hold, or the card's file isn't the one it names.
    """
    kept = card.number, _content(plant, roll, card)

    def needed(look: Lookup) -> list[tuple[str, dict[str, Json]]]:
        raising = raising_acts(look, roll, [(card, kept[1])], now=False)
        return [*raising, *closing_acts(look, roll, kept, cause=cause, done=done)]

    with record_held(plant, [plant / "results" / roll]) as store:
        return store.append_made(needed, who, now_utc(), __version__)[-1]


def take_card(plant: Path, roll: str, card: ActionCard, *, who: str) -> Event:
    """Record that somebody sees to a card from now on, whoever did before.

    Args:
        plant: its folder.
        roll: its name.
        card: as it is kept.
        who: takes it.

    Raises:
        InputError: when they have it already, or it is closed.
        RecordError: when the last event doesn't hold what was written.
    """
    content = _content(plant, roll, card)

    def needed(look: Lookup) -> list[tuple[str, dict[str, Json]]]:
        raising = raising_acts(look, roll, [(card, content)], now=False)
        return [*raising, *taking_acts(look, roll, card.number, who)]

    with RecordStore(PlantFolder(plant).record_url()) as store:
        return store.append_made(needed, who, now_utc(), __version__)[-1]


def give_back_card(plant: Path, roll: str, card: ActionCard, *, who: str) -> Event:
    """Record that nobody sees to a card any more.

    Args:
        plant: its folder.
        roll: its name.
        card: as it is kept.
        who: gives it back, whoever has it.

    Raises:
        InputError: when nobody has it, or it is closed.
        RecordError: when the last event doesn't hold what was written.
    """
    with RecordStore(PlantFolder(plant).record_url()) as store:
        made = store.append_made(lambda look: giving_back_acts(look, roll, card.number), who, now_utc(), __version__)
        return made[-1]


def _content(plant: Path, roll: str, card: ActionCard) -> str:
    return digest(read_bytes(plant / "results" / roll / card_file(card.number)))


def closings_of(plant: Path, roll: str) -> dict[int, CardClosing]:
    """The closing of each card of a roll that was closed, by its number.

    Args:
        plant: its folder.
        roll: its name.

    Raises:
        RecordError: when the record can't be read.
    """
    store = open_record(plant)
    if store is None:
        return {}
    with store:
        return closed_cards(store.naming, roll)


def chosen_cards(cards: tuple[ActionCard, ...], number: int | None, folder: Path) -> tuple[ActionCard, ...]:
    """The one with the number, or all.

    Args:
        cards: of a roll.
        number: of one; None for all.
        folder: the roll's results, for the message.

    Raises:
        InputError: when none has it.
    """
    if number is None:
        return cards
    chosen = tuple(one for one in cards if one.number == number)
    if not chosen:
        raise InputError(
            where=str(folder / "cards"),
            rule=f"the card must be one of: {', '.join(str(one.number) for one in cards) or 'none'}",
            value=number,
            mend="Correct the number, or leave it out to see all.",
        )
    return chosen
