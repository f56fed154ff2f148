"""A look at the plant's files whenever one changes, and what is new told to the hub.

Files are all that is looked at, so that what other processes do, such as a watch or a decision from the command line,
is seen as well.
"""

import json
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, suppress
from pathlib import Path
from typing import Any, Final

from wideroll.server.desk import Desk
from wideroll.server.live.hub import Hub, hub_of
from wideroll.server.live.sights import RollSight, Sight, sight_of
from wideroll.server.loading import loading_of

__all__ = ["Looker", "at_work", "looker_of"]

_EVERY_S: Final = 1.0
"""Where nothing tells of changes, as on a network drive."""
_SHARE: Final = 20.0
"""Looking takes at most one part in so many of the time."""
_GATHER_MS: Final = 200
_OF_A_CARD: Final = ("number", "roller", "zone", "action", "probability")
_EMPTY: Final = RollSight()
_LOAD_AFTER_S: Final = 3.0
"""Takes seconds to load: done once the first page is out, so that the first card needn't wait for it."""


class Looker:
    """Looks at one plant and tells what changed, each thing once and in order."""

    def __init__(self, root: Path, results: Path, hub: Hub) -> None:
        """What is there already is no news.

        Args:
            root: the plant's folder.
            results: the folder with one folder a roll.
            hub: is told.
        """
        self._root, self._results, self._hub = root, results, hub
        self._before: Sight | None = None
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def look(self) -> None:
        """Look once, and tell what changed since the look before; the first look only remembers."""
        now, before = sight_of(self._root, self._results), self._before
        self._before = now
        if before is None:
            return
        for name in sorted(set(before.rolls) | set(now.rolls)):
            self._roll(name, before.rolls.get(name), now.rolls.get(name))
        if now.record != before.record:
            self._hub.tell("record", ("record",))

    def start(self) -> None:
        """Look now, and from now on beside everything else."""
        if self._thread is None:
            self.look()
            self._thread = threading.Thread(target=self._run, name="looks at the plant", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Look no more."""
        self._stop.set()

    def _run(self) -> None:
        for _ in _wakes(self._root, self._stop):
            begun = time.monotonic()
            with suppress(OSError):  # a folder that goes while it is looked at; the next look tells
                self.look()
            self._stop.wait((time.monotonic() - begun) * _SHARE)

    def _roll(self, name: str, before: RollSight | None, now: RollSight | None) -> None:
        if before == now:
            return
        old, new = before or _EMPTY, now or _EMPTY
        roll = f"roll:{name}"
        for number in sorted(new.cards):
            if new.cards[number] != old.cards.get(number):
                self._hub.tell("card", ("cards", roll), self._card(name, number), may="act")
        if set(old.cards) - set(new.cards):
            self._hub.tell("cards", ("cards", roll), {"roll": name})
        if new.decision != old.decision:
            self._hub.tell("decision", ("rolls", roll), {"roll": name})
        elif new.results != old.results:
            self._hub.tell("results", (roll,), {"roll": name})
        if (new.evidence, new.holder) != (old.evidence, old.holder) or before is None or now is None:
            self._hub.tell("evidence", ("rolls", roll), {"roll": name})

    def _card(self, roll: str, number: int) -> dict[str, Any]:
        path = self._results / roll / "cards" / f"{number:03d}.json"
        try:
            read = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            read = {}
        said = read if isinstance(read, dict) else {}
        return {"roll": roll, **{name: said.get(name) for name in _OF_A_CARD}, "number": number}


def looker_of(desk: Desk) -> Looker:
    """The desk's looker, begun where it wasn't yet."""
    looker: Looker | None = desk.parts.get("looker")
    if looker is None:
        looker = desk.parts.setdefault("looker", Looker(desk.root, desk.results, hub_of(desk)))
    looker.start()
    return looker


def at_work(desk: Desk) -> Callable[[object], AbstractAsyncContextManager[None]]:
    """What a desk does while it is at work: it looks, and at the end nobody waits for news any longer."""

    @asynccontextmanager
    async def lifespan(app: object) -> AsyncIterator[None]:
        del app
        looker_of(desk)
        loading_of(desk).begin_after(_LOAD_AFTER_S)
        yield
        loading_of(desk).stop()
        looker_of(desk).stop()
        hub_of(desk).close()

    return lifespan


def _wakes(folder: Path, stop: threading.Event) -> Iterator[None]:
    """When something changes in a folder, and each second anyway: a network drive may tell nobody."""
    try:
        from watchfiles import watch  # noqa: PLC0415  (an extra, loaded beside the pages)

        changes: Callable[..., Iterator[Any]] = watch
        for _ in changes(
            folder,
            watch_filter=None,
            debounce=_GATHER_MS,
            rust_timeout=int(1000 * _EVERY_S),
            yield_on_timeout=True,
            stop_event=stop,
            ignore_permission_denied=True,
            raise_interrupt=False,
        ):
            yield
    except (ImportError, OSError):
        while not stop.wait(_EVERY_S):
            yield
