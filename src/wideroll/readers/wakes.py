"""Wake when something changes in a folder, and each second anyway: a network drive may tell nobody."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from wideroll.errors import InputError

__all__ = ["wakes"]

_POLL_MS: Final = 1000
_GATHER_MS: Final = 50


def wakes(folder: Path) -> Callable[[], Iterator[None]]:
    """What yields once at the start and then whenever it is worth looking again, without end.

    Raises:
        InputError: when the package that listens to the folder isn't installed.
    """
    try:
        from watchfiles import watch  # noqa: PLC0415  -- an extra
    except ImportError as error:
        raise InputError(
            where="watch",
            rule="needs watchfiles, which isn't installed",
            mend='Install it with: pip install "wideroll[watch]".',
        ) from error

    def waking() -> Iterator[None]:
        yield
        for _ in watch(
            folder, debounce=_POLL_MS, step=_GATHER_MS, rust_timeout=_POLL_MS, yield_on_timeout=True, recursive=True
        ):
            yield

    return waking
