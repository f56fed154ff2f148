import threading
from collections.abc import Iterator
from itertools import count

import pytest

from wideroll.errors import ArgumentError
from wideroll.readers import read_ahead

SECONDS = 10.0
"""Only a test that fails waits so long."""


def _threads() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name == "read-ahead"]


@pytest.mark.parametrize("depth", [1, 2, 7])
@pytest.mark.parametrize("number", [0, 1, 20])
def test_the_items_come_in_order_and_no_thread_stays(depth: int, number: int) -> None:
    """None is left out, doubled or moved, and the thread ends with them."""
    assert list(read_ahead(range(number), depth)) == list(range(number))
    assert not _threads()


def test_items_are_ready_before_they_are_asked_for() -> None:
    """While the first is worked on, the next ones are made."""
    third = threading.Event()

    def items() -> Iterator[int]:
        for number in range(10):
            if number == 2:
                third.set()
            yield number

    ahead = read_ahead(items(), 2)
    assert next(ahead) == 0
    assert third.wait(SECONDS)
    assert list(ahead) == list(range(1, 10))


def test_no_more_than_depth_are_made_ahead() -> None:
    """A slow reader doesn't fill the memory: the ready ones, one in the thread's hand, and no more."""
    made: list[int] = []
    enough = threading.Event()

    def items() -> Iterator[int]:
        for number in count():
            made.append(number)
            if number == 3:
                enough.set()
            yield number

    ahead = read_ahead(items(), 2)
    assert next(ahead) == 0
    assert enough.wait(SECONDS)
    assert not threading.Event().wait(0.05)
    assert made == [0, 1, 2, 3]
    ahead.close()  # type: ignore[attr-defined]


def test_an_error_comes_where_its_item_would_have() -> None:
    """What was made before the error is handed on first; then the error itself is raised, and the thread has ended."""

    def items() -> Iterator[int]:
        yield 1
        yield 2
        raise OSError(5, "the disk is gone")

    ahead = read_ahead(items())
    assert [next(ahead), next(ahead)] == [1, 2]
    with pytest.raises(OSError, match="the disk is gone"):
        next(ahead)
    assert not _threads()


@pytest.mark.parametrize("taken", [1, 3])
def test_a_reader_that_leaves_early_stops_the_thread(taken: int) -> None:
    """Closing or forgetting the iterator ends the thread and closes what it read from, however much there was left."""
    closed = threading.Event()

    def items() -> Iterator[int]:
        try:
            yield from count()
        finally:
            closed.set()

    ahead = read_ahead(items(), 1)
    assert [next(ahead) for _ in range(taken)] == list(range(taken))
    del ahead
    assert closed.is_set()
    assert not _threads()


def test_nothing_is_read_before_the_first_is_asked_for() -> None:
    """An iterator that nobody uses starts no thread."""
    ahead = read_ahead(count())
    assert not _threads()
    del ahead


def test_a_depth_of_none_is_refused() -> None:
    """Without room for one item ahead nothing could be made ready."""
    with pytest.raises(ArgumentError, match="must be 1 or more, got 0"):
        read_ahead([1], 0)
