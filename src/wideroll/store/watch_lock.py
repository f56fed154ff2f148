"""One watch and one sealing at a time on a roll, one change of products; none while a backup takes its last look."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final

from wideroll.errors import InputError

__all__ = ["nobody_seals", "one_at_a_time", "one_product_at_a_time", "one_watch"]

_LOCK: Final = "state/watch.lock"
_SEALING: Final = "state/sealing.lock"
_BACKUP: Final = "backup.lock"
_PRODUCTS: Final = "products.lock"


@contextmanager
def one_watch(results: Path) -> Iterator[None]:
    """Hold the roll for one watch; the hold ends with the process, however it ends.

    Args:
        results: the roll's folder, ``results/<roll>``.

    Raises:
        InputError: when another process watches the roll, or the disk refuses.
    """
    with _opened(results / _LOCK) as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise InputError(
                where=file.name,
                rule="a roll has one watch at a time, or its cards would be sent twice",
                mend="Stop the other watch of this roll, or leave the roll to it.",
            ) from error
        yield


@contextmanager
def one_at_a_time(results: Path) -> Iterator[None]:
    """Wait until nobody else on this machine seals anything on the roll, and hold it; the hold ends with the process.

    Args:
        results: the roll's folder, ``results/<roll>``.

    Raises:
        InputError: when the disk refuses.
    """
    with _opened(results.parent / _BACKUP) as plant, _opened(results / _SEALING) as file:
        fcntl.flock(plant, fcntl.LOCK_SH)
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@contextmanager
def one_product_at_a_time(results: Path) -> Iterator[None]:
    """Wait until nobody else on this machine changes a product of the plant; the hold ends with the process.

    Args:
        results: the plant's folder of results, ``results``.

    Raises:
        InputError: when the disk refuses.
    """
    with _opened(results / _BACKUP) as plant, _opened(results / _PRODUCTS) as file:
        fcntl.flock(plant, fcntl.LOCK_SH)
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@contextmanager
def nobody_seals(results: Path) -> Iterator[None]:
    """Wait until nobody on this machine seals anything in the plant, and let nobody begin; ends with the process.

    Args:
        results: the plant's folder of results, ``results``.

    Raises:
        InputError: when the disk refuses.
    """
    with _opened(results / _BACKUP) as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _opened(path: Path) -> IO[bytes]:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("ab")
    except OSError as error:
        raise InputError(
            where=str(path), rule="the file must be writable", value=error.strerror, mend="Check the folder's rights."
        ) from error
