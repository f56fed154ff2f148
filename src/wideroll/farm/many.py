"""One piece of work for each of many rolls, on this machine or a cluster."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from wideroll.errors import ArgumentError, InputError, WiderollError

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["scan_many"]

Task = TypeVar("Task")
Result = TypeVar("Result")


def scan_many(
    tasks: Sequence[Task], work: Callable[[Task], Result], *, scheduler: str | None = None, workers: int = 2
) -> list[Result]:
    """Do the same work for every task, several at a time.

    Args:
        tasks: what the work is given, such as the folder of a roll; each is named in errors as ``str`` writes it.
        work: a function that other processes can import; it is called once for each task.
        scheduler: address of a Dask scheduler such as ``tcp://10.0.0.5:8786``; None starts ``workers`` processes here,
            which end with this call.
        workers: processes to start; without meaning when a scheduler is named.

    Returns:
        The results in the order of the tasks.

    Raises:
        ArgumentError: when ``workers`` is less than 1.
        InputError: when Dask isn't installed or the scheduler doesn't answer.
        Exception: the error of the first task that failed, naming the task, after all others are done.

    Example:
        >>> scan_many([], len)
        []
    """
    if workers < 1:
        raise ArgumentError(where="workers", rule="must be at least 1", value=workers, mend="Give one for each core.")
    if not tasks:
        return []
    with _client(scheduler, min(workers, len(tasks))) as client:
        # Not pure: two equal tasks are two pieces of work, and none is answered from an earlier call's memory.
        futures = client.map(work, tasks, pure=False)
        errors = [future.exception() for future in futures]  # type: ignore[no-untyped-call]
        failed = [(task, error) for task, error in zip(tasks, errors, strict=True) if error is not None]
        if failed:
            raise _named(failed)
        return list(client.gather(futures))  # type: ignore[no-untyped-call]


@contextmanager
def _client(scheduler: str | None, workers: int) -> "Iterator[Client]":
    try:
        from distributed import Client, LocalCluster  # noqa: PLC0415  -- the extra may not be installed
    except ImportError as error:
        raise InputError(
            where="many rolls at once",
            rule="needs Dask, which isn't installed",
            mend='Install it with: pip install "wideroll[farm]".',
        ) from error
    if scheduler is None:
        local = {"n_workers": workers, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
        with LocalCluster(**local) as cluster, Client(cluster) as client:  # type: ignore[no-untyped-call]
            yield client
        return
    try:
        client = Client(scheduler)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise InputError(
            where="scheduler",
            rule="must be the address of a Dask scheduler that answers",
            value=scheduler,
            mend="Start one with dask scheduler, and give the address it prints.",
        ) from error
    with client:
        yield client


def _named(failed: Sequence[tuple[object, BaseException]]) -> BaseException:
    """The first error with its task, and the other tasks that failed."""
    task, error = failed[0]
    if isinstance(error, WiderollError):
        named: BaseException = error.at(str(task))
    else:
        named = error
        named.add_note(f"while working on {task}")
    if others := [str(other) for other, _ in failed[1:]]:
        named.add_note(f"failed as well: {', '.join(others)}")
    return named
