"""A cluster to work on: processes of this machine, or a scheduler somebody started."""

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread
from typing import TYPE_CHECKING, Final

from wideroll.errors import ArgumentError, InputError

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["check_workers", "open_client"]

_PATIENCE_S: Final = 30
_WATCH_S: Final = 5.0
_GONE_S: Final = 60.0
"""Without any worker for so long, nobody waits for them any more."""
_OWN_MEMORY: Final = {"distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": None}
"""A worker keeps the memory of one block for the next: handing each back to the system costs a scan a quarter more."""


def check_workers(workers: int) -> None:
    """Refuse to work without workers.

    Raises:
        ArgumentError: when there is not at least one.
    """
    if workers < 1:
        raise ArgumentError(where="workers", rule="must be at least 1", value=workers, mend="Give one for each core.")


@contextmanager
def open_client(scheduler: str | None, workers: int, *, what: str) -> "Iterator[Client]":
    """A Dask client, and for its time, where no scheduler is named, so many processes of one thread here.

    Raises:
        InputError: when Dask isn't installed, or the scheduler doesn't answer or has no workers.
    """
    try:
        # The extra may not be installed.
        import dask  # noqa: PLC0415
        from distributed import Client, LocalCluster  # noqa: PLC0415
    except ImportError as error:
        raise InputError(
            where=what,
            rule="needs Dask, which isn't installed",
            mend='Install it with: pip install "wideroll[farm]".',
        ) from error
    if scheduler is None:
        local = {"n_workers": workers, "threads_per_worker": 1, "processes": True, "dashboard_address": "127.0.0.1:0"}
        with (
            dask.config.set(_OWN_MEMORY),
            LocalCluster(**local) as cluster,  # type: ignore[no-untyped-call]
            Client(cluster) as client,  # type: ignore[no-untyped-call]
            _lifeline(client),
        ):
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
        _await_worker(client, scheduler)
        with _lifeline(client):
            yield client


@contextmanager
def _lifeline(client: "Client") -> Iterator[None]:
    """Cancel all work once every worker is gone and none comes back, so that nobody waits for ever.

    A worker that dies is replaced; but where all are lost, as on a machine too busy to keep them, Dask waits on.
    """
    done = Event()
    watch = Thread(target=_watch, args=(client, done), daemon=True)
    watch.start()
    try:
        yield
    finally:
        done.set()
        watch.join()


def _watch(client: "Client", done: Event) -> None:
    from distributed import Future  # noqa: PLC0415  -- the extra may not be installed

    alone_s = 0.0
    while not done.wait(_WATCH_S):
        alone_s = 0.0 if client.scheduler_info()["workers"] else alone_s + _WATCH_S
        if alone_s >= _GONE_S:
            client.cancel([Future(key, client) for key in list(client.futures)])  # type: ignore[no-untyped-call]
            return


def _await_worker(client: "Client", scheduler: str) -> None:
    try:
        client.wait_for_workers(1, timeout=_PATIENCE_S)
    except TimeoutError as error:
        raise InputError(
            where="scheduler",
            rule=f"must have a worker within {_PATIENCE_S} s",
            value=scheduler,
            mend="Start one on each machine with dask worker and the scheduler's address.",
        ) from error
