"""What an act says while it is at work, to whoever asked for it; nothing is said where nobody listens."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Final

from wideroll.workflow import Progress, Silent

__all__ = ["Listener", "listen", "listening", "progress", "tell"]


def _unheard(words: str) -> None:
    del words


@dataclass(frozen=True, slots=True, kw_only=True)
class Listener:
    """Where messages and progress go."""

    tell: Callable[[str], None] = _unheard
    """Takes a line of message."""
    progress: Callable[[], Progress] = Silent
    """Makes what is told how far one piece of work is."""


_UNHEARD: Final = Listener()
_LISTENER: Final[ContextVar[Listener]] = ContextVar("wideroll.acts.listener")


def listen(listener: Listener) -> None:
    """From here on, tell it what the acts of this context say.

    Args:
        listener: a terminal's, for one.
    """
    _LISTENER.set(listener)


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """The same while the context lasts, as for one request of many.

    Args:
        listener: hears what the acts inside say, also those in a thread that was started with a copy of the context.
    """
    before = _LISTENER.set(listener)
    try:
        yield
    finally:
        _LISTENER.reset(before)


def tell(words: str) -> None:
    """Say a line of message.

    Args:
        words: as they stand.
    """
    _LISTENER.get(_UNHEARD).tell(words)


def progress() -> Progress:
    """What is told how far a piece of work is, by whoever does it."""
    return _LISTENER.get(_UNHEARD).progress()
