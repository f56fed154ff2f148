"""One piece of work for each of many rolls, on this machine or a cluster."""

from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError
from typing import TypeVar

from wideroll.errors import InputError, WiderollError
from wideroll.farm.cluster import check_workers, open_client

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
        InputError: when Dask isn't installed, the scheduler doesn't answer or has no workers, or all workers are lost.
        Exception: the error of the first task that failed, naming the task, after all others are done.

    Example:
        >>> scan_many([], len)
        []
    """
    check_workers(workers)
    if not tasks:
        return []
    with open_client(scheduler, min(workers, len(tasks)), what="many rolls at once") as client:
        # Not pure: two equal tasks are two pieces of work, and none is answered from an earlier call's memory.
        futures = client.map(work, tasks, pure=False)
        try:
            errors = [future.exception() for future in futures]  # type: ignore[no-untyped-call]
            failed = [(task, error) for task, error in zip(tasks, errors, strict=True) if error is not None]
            if failed and not isinstance(failed[0][1], CancelledError):
                raise _named(failed)
            return list(client.gather(futures))  # type: ignore[no-untyped-call]
        except CancelledError as error:
            raise InputError(
                where="workers",
                rule="at least one must live until all work is done",
                mend="Start fewer on this machine, or the scheduler and its workers again; then run the command again.",
            ) from error


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
