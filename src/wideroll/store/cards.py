"""The action cards of a roll, each in a file of its own: ``results/<roll>/cards/001.json``."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.store.files import json_bytes, read_bytes, read_json, write_whole
from wideroll.store.plain import from_plain
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.card_json import CARD_SCHEMA, card_json

__all__ = ["card_file", "load_cards", "load_delivered", "save_card", "save_delivered"]

_FOLDER: Final = "cards"
_DELIVERED: Final = "delivered.json"
_DELIVERED_SCHEMA: Final = "wideroll/delivered/1"
_NOT_OF_THE_CARD: Final = ("schema", "id", "test")


def save_card(results: Path, card: ActionCard) -> Path:
    """Keep a card beside the roll's other results, in one step; the same card again changes nothing.

    Args:
        results: the roll's folder, ``results/<roll>``.
        card: its number names the file.

    Raises:
        InputError: when the disk refuses, or another card of this number is kept: what was told stays on file.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> from wideroll.workflow.card_json import trial_card
        >>> with TemporaryDirectory() as folder:
        ...     save_card(Path(folder), trial_card("Little Mere, line 1", "W-1")).name
        ...     len(load_cards(Path(folder)))
        '000.json'
        1
    """
    path = results / card_file(card.number)
    data = json_bytes(card_json(card), sort_keys=False)
    if path.exists():
        if read_bytes(path) == data:
            return path
        raise InputError(
            where=str(path),
            rule="a card that was raised is never replaced by another",
            value=card.number,
            mend="Give the card the number after the last.",
        )
    write_whole(path, data)
    return path


def card_file(number: int) -> str:
    """Where a card lies in its roll's folder.

    Example:
        >>> card_file(1)
        'cards/001.json'
    """
    return f"{_FOLDER}/{number:03d}.json"


def load_cards(results: Path) -> tuple[ActionCard, ...]:
    """The cards kept of a roll, first one first; none where none was raised.

    Args:
        results: the roll's folder, ``results/<roll>``.

    Raises:
        InputError: naming a file that isn't a card.
    """
    cards = [_card(path) for path in (results / _FOLDER).glob("[0-9]*.json")]
    return tuple(sorted(cards, key=lambda card: card.number))


def load_delivered(results: Path) -> dict[str, list[int]]:
    """Numbers of the cards that reached each notice; empty where nothing is known of it.

    Args:
        results: the roll's folder, ``results/<roll>``.
    """
    path = results / _FOLDER / _DELIVERED
    read = read_json(path) if path.exists() else {}
    known = read.get("delivered") if isinstance(read, dict) and read.get("schema") == _DELIVERED_SCHEMA else {}
    return {str(where): [int(number) for number in numbers] for where, numbers in (known or {}).items()}


def save_delivered(results: Path, delivered: Mapping[str, Iterable[int]]) -> None:
    """Keep which cards reached which notice, in one step.

    Raises:
        InputError: when the disk refuses.
    """
    known = {where: sorted(numbers) for where, numbers in delivered.items()}
    write_whole(
        results / _FOLDER / _DELIVERED, json_bytes({"schema": _DELIVERED_SCHEMA, "delivered": known}, sort_keys=True)
    )


def _card(path: Path) -> ActionCard:
    read = read_json(path)
    if not isinstance(read, dict) or read.get("schema") != CARD_SCHEMA:
        raise InputError(
            where=f"{path}, field schema",
            rule=f"must be {CARD_SCHEMA}",
            value=read.get("schema") if isinstance(read, dict) else None,
            mend="Take the file away if no wideroll wrote it.",
        )
    try:
        return from_plain(_fields(read), ActionCard)
    except InputError as error:
        raise error.at(str(path)) from error


def _fields(read: dict[str, Any]) -> dict[str, Any]:
    """Its fields as the card has them."""
    kept = {name: value for name, value in read.items() if name not in _NOT_OF_THE_CARD}
    others = kept.get("others")
    if isinstance(others, list):
        kept["others"] = [list(one.values()) if isinstance(one, dict) else one for one in others]
    return kept
