"""How often somebody may try: after some failures the next try must wait, each time longer."""

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock
from typing import Final

__all__ = ["Attempts", "Patience"]

_MOST_KEYS: Final = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """So many failures are free; then the wait doubles from first to longest; after a while all is forgotten."""

    free: int
    first_wait_s: float = 30.0
    longest_wait_s: float = 900.0
    forgotten_s: float = 3600.0


class Attempts:
    """Failures by key (a name, an address), in memory: the oldest keys go when there are too many.

    A try counts as failed from its beginning, so that many at once don't slip through, until it is told to be right.
    """

    def __init__(self, patience: Patience) -> None:
        """Nobody has failed yet."""
        self._patience = patience
        self._failed: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._lock = Lock()

    def begin(self, key: str, now_s: float) -> float:
        """Begin a try: 0 when it may go on, else the seconds to wait, and the try doesn't count."""
        with self._lock:
            count, last_s = self._failed.pop(key, (0, now_s))
            if now_s - last_s > self._patience.forgotten_s:
                count = 0
            wait_s = last_s + self._wait_s(count) - now_s
            begun = wait_s <= 0.0
            self._failed[key] = (count + 1, now_s) if begun else (count, last_s)
            while len(self._failed) > _MOST_KEYS:
                self._failed.popitem(last=False)
            return 0.0 if begun else wait_s

    def right(self, key: str) -> None:
        """The try was right: all is forgotten."""
        with self._lock:
            self._failed.pop(key, None)

    def forgive(self, key: str) -> None:
        """The try was right: this one is forgotten, not those before it."""
        with self._lock:
            count, last_s = self._failed.get(key, (0, 0.0))
            if count > 1:
                self._failed[key] = (count - 1, last_s)
            else:
                self._failed.pop(key, None)

    def _wait_s(self, count: int) -> float:
        over = count - self._patience.free
        if over < 0:
            return 0.0
        return min(self._patience.first_wait_s * 2.0 ** min(over, 30), self._patience.longest_wait_s)
