"""The next items made ready in a thread while the last is worked on."""

from collections.abc import Generator, Iterable, Iterator
from queue import Empty, Queue
from threading import Event, Thread
from typing import Final, Generic, TypeVar

from wideroll.errors import ArgumentError

__all__ = ["read_ahead"]

T = TypeVar("T")
_DEPTH: Final = 2


def read_ahead(items: Iterable[T], depth: int = _DEPTH) -> Iterator[T]:
    """The same items in the same order; up to ``depth`` of them are ready before they are asked for.

    The thread starts with the first item asked for. It ends with the items, with their first error, which is raised
    where the item was asked for, or when the iterator is closed or forgotten; the items' own iterator is then closed
    in that thread.

    Raises:
        ArgumentError: when ``depth`` is less than 1.

    Example:
        >>> list(read_ahead(range(4)))
        [0, 1, 2, 3]
    """
    if depth < 1:
        raise ArgumentError(where="depth", rule="must be 1 or more", value=depth, mend="2 keeps a disk busy.")
    return _taken(items, depth)


class _Ahead(Generic[T]):
    """What the thread and its reader share."""

    def __init__(self, depth: int) -> None:
        self.ready: Queue[T | _End] = Queue(maxsize=depth)
        self.stop = Event()

    def fill(self, items: Iterable[T]) -> None:
        """Work of the thread. Told to stop it puts nothing more, and so never waits for room that won't come."""
        error: Exception | None = None
        source = iter(items)
        try:
            for item in source:
                if self.stop.is_set():
                    break
                self.ready.put(item)
        except Exception as caught:  # noqa: BLE001  -- raised again by the reader
            error = caught
        finally:
            if isinstance(source, Generator):
                source.close()
        if not self.stop.is_set():
            self.ready.put(_End(error))


class _End:
    """Comes after the last item."""

    def __init__(self, error: Exception | None) -> None:
        self.error = error


def _taken(items: Iterable[T], depth: int) -> Iterator[T]:
    ahead: _Ahead[T] = _Ahead(depth)
    thread = Thread(target=ahead.fill, args=(items,), name="read-ahead", daemon=True)
    thread.start()
    try:
        while not isinstance(item := ahead.ready.get(), _End):
            yield item
        if item.error is not None:
            raise item.error
    finally:
        ahead.stop.set()
        _drain(ahead.ready)
        thread.join()


def _drain(ready: "Queue[T]") -> None:
    """Make room for the one item the thread may be waiting to put."""
    while True:
        try:
            ready.get_nowait()
        except Empty:
            return
