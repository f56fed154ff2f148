"""What was made before and may be asked for again, no more of it than fits."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

__all__ = ["Kept"]

Thing = TypeVar("Thing")


class Kept(Generic[Thing]):
    """Things by key, those asked for last; what several ask for at once is made once.

    Example:
        >>> squares = Kept[int](most_bytes=2, size=lambda _: 1)
        >>> [squares.get(n, lambda: n * n) for n in (1, 2, 3)], len(squares)
        ([1, 4, 9], 2)
    """

    def __init__(self, *, most_bytes: int, size: Callable[[Thing], int]) -> None:
        """Room for so many bytes; ``size`` tells those of a thing."""
        self._most = most_bytes
        self._size = size
        self._held: OrderedDict[Hashable, Thing] = OrderedDict()
        self._bytes = 0
        self._lock = Lock()
        self._making: dict[Hashable, Lock] = {}

    def __len__(self) -> int:
        """How many are held."""
        return len(self._held)

    @property
    def held_bytes(self) -> int:
        """How many bytes are held."""
        return self._bytes

    def get(self, key: Hashable, make: Callable[[], Thing]) -> Thing:
        """The thing of a key, made where it isn't held."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
            turn = self._making.setdefault(key, Lock())
        with turn:
            with self._lock:
                if key in self._held:
                    return self._held[key]
            try:
                made = make()
                self._keep(key, made)
            finally:
                with self._lock:
                    self._making.pop(key, None)
        return made

    def _keep(self, key: Hashable, thing: Thing) -> None:
        with self._lock:
            self._held[key] = thing
            self._bytes += self._size(thing)
            while self._bytes > self._most and len(self._held) > 1:
                _, oldest = self._held.popitem(last=False)
                self._bytes -= self._size(oldest)
