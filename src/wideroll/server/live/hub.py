"""What was told lately, numbered, for every open page to read on from where it was."""

import asyncio
import json
import re
import secrets
from collections import deque
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from threading import Lock
from typing import Any, Final

from wideroll.server.access import Act, Person
from wideroll.server.desk import Desk

__all__ = ["Hub", "Told", "hub_of"]

_KEPT: Final = 2000
_POSITION: Final = re.compile(r"([0-9a-zA-Z]{1,32})-([0-9]{1,15})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One thing that happened.

    Args:
        number: counted from 1 since the desk was started.
        kind: what happened, such as ``card``.
        topics: what of the desk's pages it changes, such as ``cards`` and ``roll:W-2042``.
        about: more of it, for those who may know.
        may: what somebody must be allowed to know more; others learn only what pages it changes.
    """

    number: int
    kind: str
    topics: tuple[str, ...]
    about: Mapping[str, Any] = field(default_factory=dict)
    may: Act = "read"

    def words(self, person: Person) -> tuple[str, str]:
        """Kind and JSON for somebody."""
        if not person.may(self.may):
            return "changed", json.dumps({"topics": self.topics})
        return self.kind, json.dumps({"topics": self.topics, **self.about})


class Hub:
    """The last of what was told, and who waits for more.

    A reader is no more than a position: nothing is kept for anybody, so that one who reads slowly costs nothing.
    ``run`` is part of each position, so that one from before the desk was started anew isn't taken for one of now.
    """

    def __init__(self, *, kept: int = _KEPT, run: str = "") -> None:
        """Nothing was told yet.

        Args:
            kept: how much is remembered.
            run: tells this start of the desk from others.
        """
        self.run = run or secrets.token_hex(4)
        self.closed = False
        self._told: deque[Told] = deque(maxlen=kept)
        self._last = 0
        self._lock = Lock()
        self._waiting: set[tuple[asyncio.AbstractEventLoop, asyncio.Event]] = set()

    @property
    def position(self) -> str:
        """After all that was told."""
        return self.position_of(self._last)

    def position_of(self, number: int) -> str:
        """After what has the number."""
        return f"{self.run}-{number}"

    def number_of(self, position: str) -> int | None:
        """The number of a position; None where it isn't one of this run."""
        found = _POSITION.fullmatch(position)
        if found is None or found[1] != self.run or int(found[2]) > self._last:
            return None
        return int(found[2])

    def tell(
        self, kind: str, topics: tuple[str, ...], about: Mapping[str, Any] | None = None, *, may: Act = "read"
    ) -> Told:
        """Tell everybody; from any thread.

        Args:
            kind: as of ``Told``.
            topics: as of ``Told``.
            about: as of ``Told``.
            may: as of ``Told``.
        """
        with self._lock:
            self._last += 1
            told = Told(number=self._last, kind=kind, topics=topics, about=about or {}, may=may)
            self._told.append(told)
        self._wake()
        return told

    def after(self, number: int) -> list[Told] | None:
        """All that was told after a number, in order; None where some of that is no longer remembered."""
        with self._lock:
            if self._last - number > len(self._told):
                return None
            return [] if number >= self._last else list(self._told)[number - self._last :]

    async def more(self, number: int, most_s: float) -> bool:
        """Wait until something was told after a number, or the desk ends; False when the time ran out."""
        waiting = asyncio.get_running_loop(), asyncio.Event()
        with self._lock:
            self._waiting.add(waiting)
            if self._last > number or self.closed:
                waiting[1].set()
        try:
            with suppress(TimeoutError):
                await asyncio.wait_for(waiting[1].wait(), most_s)
            return waiting[1].is_set()
        finally:
            with self._lock:
                self._waiting.discard(waiting)

    def close(self) -> None:
        """The desk ends: nobody waits any longer."""
        self.closed = True
        self._wake()

    def _wake(self) -> None:
        with self._lock:
            waiting = list(self._waiting)
        for loop, event in waiting:
            with suppress(RuntimeError):  # its loop is over
                loop.call_soon_threadsafe(event.set)


def hub_of(desk: Desk) -> Hub:
    """The desk's hub."""
    hub: Hub = desk.parts.setdefault("live", Hub()) if "live" not in desk.parts else desk.parts["live"]
    return hub
