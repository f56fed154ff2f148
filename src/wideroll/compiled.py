"""Where compiled code is kept between runs.

The compiler keeps a function's machine code as long as the file it is written in doesn't change. What it calls in other
files is in that code too, and when one of those changes the old code would go on to be run. So the code is kept in a
folder that is named by the text of all that is compiled: another text, another folder.
"""

import hashlib
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

__all__ = ["compiled_folder", "keep_compiled_code", "one_at_a_time"]

_VARIABLE: Final = "NUMBA_CACHE_DIR"
_DIGITS: Final = 16


def keep_compiled_code(package: Path) -> None:
    """Let compiled code be kept beside the package, or with the user where that can't be written to.

    A folder that the user has named in NUMBA_CACHE_DIR stays as it is.
    """
    if _VARIABLE in os.environ:
        return
    name = compiled_folder(package)
    user = Path(os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser())
    for folder in (package / "__pycache__" / name, user / "wideroll" / name):
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            os.environ[_VARIABLE] = str(folder)
            if "numba" in sys.modules:
                sys.modules["numba"].config.CACHE_DIR = str(folder)
            return


def one_at_a_time(decorate: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """The same decorator, which compiles in one process at a time; the others then take what that one kept.

    A generalised function is kept in two files of which one names what is in the other: from two processes at once the
    names don't fit, and whoever loads both is ended by the system.

    Args:
        decorate: compiles a function when it is applied, such as ``guvectorize`` with its types.
    """

    def decorated(function: Any) -> Any:
        with _alone():
            return decorate(function)

    return decorated


@contextmanager
def _alone() -> Iterator[None]:
    try:
        lock = os.open(Path(os.environ[_VARIABLE], "lock"), os.O_CREAT | os.O_RDWR)
    except (KeyError, OSError):
        yield
        return
    try:
        with suppress(ImportError):
            import fcntl  # noqa: PLC0415  (not everywhere)

            fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def compiled_folder(package: Path) -> str:
    """The folder's name: from the paths and texts of all files of a package in which something is compiled."""
    texts = hashlib.sha256()
    for file in sorted(package.rglob("*.py")):
        text = file.read_bytes()
        if b"njit" in text:
            texts.update(f"{file.relative_to(package).as_posix()} {len(text)} ".encode() + text)
    return f"compiled-{texts.hexdigest()[:_DIGITS]}"
