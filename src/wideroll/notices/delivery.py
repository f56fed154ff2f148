"""A card on its way: tried again when nobody answered, given up when it was refused or its time is over."""

import re
import time
from collections.abc import Callable, Sequence
from threading import Thread
from typing import Final, Self

from wideroll.errors import InputError

__all__ = ["PAUSES_S", "RefusedError", "UnreachedError", "deliver"]

PAUSES_S: Final = (0.5, 2.0)
"""Before the second and the third try."""


class RefusedError(Exception):
    """The other side has said no; it would say so again."""


class UnreachedError(Exception):
    """The other side wasn't there or wasn't ready; it may be in a moment."""

    @classmethod
    def silent(cls, seconds: float) -> Self:
        """For one that doesn't answer."""
        return cls(f"no answer within {seconds:g} s")


def deliver(attempt: Callable[[], None], *, where: str, timeout_s: float, pauses_s: Sequence[float] = PAUSES_S) -> None:
    """Try once, and after each pause once more until it works.

    A try that is given up may still arrive later. Receivers drop it by the card's id.

    Args:
        attempt: one try; raises ``RefusedError`` or ``UnreachedError``.
        where: name of the notice, for the error.
        timeout_s: longest time of one try, looking up the host's name included.
        pauses_s: seconds before each further try.

    Raises:
        InputError: when the card was refused, or no try reached anyone.

    Example:
        >>> deliver(lambda: None, where="notice control room", timeout_s=5.0)
    """
    last: UnreachedError | None = None
    for pause_s in (0.0, *pauses_s):
        time.sleep(pause_s)
        try:
            _within(timeout_s, attempt)
        except RefusedError as error:
            raise InputError(
                where=where,
                rule="the card must be taken",
                value=_plain(error),
                mend="Correct the notice in plant.toml, or ask who runs the receiver.",
            ) from error
        except UnreachedError as error:
            last = error
        else:
            return
    raise InputError(
        where=where,
        rule="the card must arrive",
        value=f"{_plain(last)}, at the last of {len(pauses_s) + 1} tries",
        mend="Check that the receiver runs and can be reached from here.",
    ) from last


def _plain(error: object) -> str:
    """Without the system's number of the error."""
    return re.sub(r"\[Errno -?\d+\] ", "", str(error))


def _within(seconds: float, act: Callable[[], None]) -> None:
    """Act for at most so long: the timeouts of sockets begin anew with each byte, and looking up a name has none."""
    ended: list[BaseException | None] = []

    def run() -> None:
        try:
            act()
        except BaseException as error:  # noqa: BLE001  -- handed to the caller
            ended.append(error)
        else:
            ended.append(None)

    thread = Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    if not ended:
        raise UnreachedError.silent(seconds)
    if ended[0] is not None:
        raise ended[0]
