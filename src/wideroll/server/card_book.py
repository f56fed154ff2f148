"""The plant's action cards as they stand, read again only when a card or the record changed."""

import sys
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, TypeAlias

from wideroll.errors import WiderollError
from wideroll.server.desk import Desk
from wideroll.server.live.sights import record_mark

if TYPE_CHECKING:
    from wideroll.acts.card_states import CardState

__all__ = ["Cards", "cards_now", "cards_of"]

_UNSEEN_S: Final = 2.0
"""A record on another machine doesn't show whether it changed: it is asked again after so long."""
_ACTS: Final = "wideroll.acts.card_states"

_Mark: TypeAlias = tuple[object, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cards:
    """All cards of the plant, those raised last first.

    Args:
        states: each card and how it stands.
        wrong: what couldn't be read, and why.
    """

    states: tuple["CardState", ...] = ()
    wrong: tuple[str, ...] = ()

    @property
    def open(self) -> tuple["CardState", ...]:
        """Those that nobody sees to."""
        return tuple(one for one in self.states if one.state == "open" and one.card.number)


@dataclass(slots=True)
class _Book:
    mark: _Mark = ()
    cards: Cards = field(default_factory=Cards)
    lock: threading.Lock = field(default_factory=threading.Lock)
    loading: threading.Thread | None = None


def cards_of(desk: Desk) -> Cards:
    """The cards as they stand.

    Raises:
        RecordError: when the record can't be read.
    """
    rolls = _rolls(desk)
    if not rolls:
        return Cards()
    book, mark = _book(desk), _mark(desk, rolls)
    with book.lock:
        if book.mark != mark:
            from wideroll.acts.card_states import states_of  # noqa: PLC0415  (loads the store)

            states, wrong = states_of(desk.root, [name for name, _ in rolls])
            book.mark, book.cards = mark, Cards(states=states, wrong=wrong)
        return book.cards


def cards_now(desk: Desk) -> Cards:
    """The cards where they are at hand; where the store isn't loaded yet none, and it is loaded beside the pages."""
    if not _rolls(desk):
        return Cards()
    if _ACTS in sys.modules and sys.modules[_ACTS].__dict__.get("states_of") is not None:
        return _cards_or_why(desk)
    book = _book(desk)
    if book.loading is None:
        book.loading = threading.Thread(target=_cards_or_why, args=(desk,), name="reads the cards", daemon=True)
        book.loading.start()
    return Cards()


def _cards_or_why(desk: Desk) -> Cards:
    try:
        return cards_of(desk)
    except WiderollError as error:
        return Cards(wrong=(str(error),))


def _book(desk: Desk) -> _Book:
    book: _Book = desk.parts.setdefault("cards", _Book())
    return book


def _rolls(desk: Desk) -> tuple[tuple[str, int], ...]:
    """Rolls that have a folder of cards, and when it last changed."""
    found: list[tuple[str, int]] = []
    try:
        for folder in sorted((desk.root / "results").iterdir()):
            cards = folder / "cards"
            if cards.is_dir():
                found.append((folder.name, cards.stat().st_mtime_ns))
    except OSError:
        return tuple(found)
    return tuple(found)


def _mark(desk: Desk, rolls: tuple[tuple[str, int], ...]) -> _Mark:
    record = record_mark(desk.root)
    return (rolls, record, () if record[0] else int(time.monotonic() / _UNSEEN_S))
