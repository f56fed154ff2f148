"""Passwords: which are taken, how they are kept (argon2id), and how one is checked in the same time for everybody."""

import unicodedata
from dataclasses import dataclass
from functools import cache
from threading import BoundedSemaphore
from typing import TYPE_CHECKING, Final

from wideroll.errors import InputError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

__all__ = ["LEAST", "Cost", "check_new_password", "hash_password", "is_stale", "matches"]

LEAST: Final = 12
"""Letters of a password."""
_MOST: Final = 256
_LEAST_DIFFERENT: Final = 5
_SHORT: Final = 2
_AT_ONCE: Final = BoundedSemaphore(2)
"""Each check takes tens of megabytes: however many ask, no more are worked out at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What working out one password costs: rounds, memory in KiB, and threads (as RFC 9106 recommends for servers)."""

    rounds: int = 3
    memory_kib: int = 65536
    threads: int = 4


def check_new_password(password: str, *, name: str, shown: str) -> str:
    """A password that may be taken.

    Raises:
        InputError: when it is too short or long, of few letters, or holds the person's name; never tells it.
    """
    text = _same_letters(password)
    if not LEAST <= len(text) <= _MOST:
        raise _refuse(
            rule=f"must have {LEAST} to {_MOST} letters",
            value=len(text),
            mend="Several words together are easy to keep.",
        )
    if len(set(text)) < _LEAST_DIFFERENT:
        raise _refuse(
            rule=f"must have at least {_LEAST_DIFFERENT} different letters", mend="Take several words together."
        )
    if any(len(part) > _SHORT and part.lower() in text.lower() for part in (name, shown)):
        raise _refuse(rule="must not hold the person's name", mend="Take words that have nothing to do with it.")
    return text


def hash_password(password: str, cost: Cost) -> str:
    """What is kept of a password."""
    with _AT_ONCE:
        return _hasher(cost).hash(_same_letters(password))


def matches(kept: str | None, password: str, cost: Cost) -> bool:
    """Whether it is the password; where none is kept the same work is done, and it isn't."""
    from argon2.exceptions import Argon2Error, InvalidHashError  # noqa: PLC0415

    with _AT_ONCE:
        try:
            _hasher(cost).verify(kept or _nobody(cost), _same_letters(password)[: _MOST + 1])
        except (Argon2Error, InvalidHashError):
            return False
    return kept is not None


def is_stale(kept: str, cost: Cost) -> bool:
    """Whether it was kept at another cost than today's."""
    return _hasher(cost).check_needs_rehash(kept)


@cache
def _hasher(cost: Cost) -> "PasswordHasher":
    # Loaded at the first password, not when the desk starts.
    from argon2 import PasswordHasher  # noqa: PLC0415

    return PasswordHasher(time_cost=cost.rounds, memory_cost=cost.memory_kib, parallelism=cost.threads)


@cache
def _nobody(cost: Cost) -> str:
    return _hasher(cost).hash("nobody has this password")


def _same_letters(password: str) -> str:
    """However a keyboard composes a letter, it is the same one."""
    return unicodedata.normalize("NFC", password)


def _refuse(*, rule: str, mend: str, value: int | None = None) -> InputError:
    return InputError(where="password", rule=rule, value=value, mend=mend)
