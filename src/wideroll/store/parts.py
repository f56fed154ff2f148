"""New files and folders that are filled beside their place and put there whole; what was killed is cleared away."""

import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from glob import escape
from pathlib import Path
from secrets import token_hex
from typing import IO

from wideroll.errors import InputError

__all__ = ["new_file", "new_folder"]


@contextmanager
def new_file(path: Path) -> Iterator[IO[bytes]]:
    """A file to be written, which takes the place of ``path`` when the block ends well; else nothing is left.

    Raises:
        InputError: when the disk refuses; what was there before is unchanged.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     with new_file(Path(folder, "a.zip")) as file:
        ...         _ = file.write(b"1")
        ...     [path.name for path in Path(folder).iterdir()]
        ['a.zip']
    """
    part = _part(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _clear_dead(path)
        try:
            with part.open("xb") as file:
                fcntl.flock(file, fcntl.LOCK_EX)
                yield file
                file.flush()
                os.fsync(file.fileno())
                part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        _sync(path.parent)
    except OSError as error:
        raise _refused(path, error) from error


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """A folder to be filled, which becomes ``path`` when the block ends well; else nothing is left.

    Args:
        path: nothing, or an empty folder.

    Raises:
        InputError: when something is there, or the disk refuses.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     with new_folder(Path(folder, "plant")) as part:
        ...         _ = (part / "plant.toml").write_text("")
        ...     [path.name for path in Path(folder, "plant").iterdir()]
        ['plant.toml']
    """
    part = _part(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _check_free(path)
        _clear_dead(path)
        part.mkdir()
        try:
            with _held(part):
                yield part
                os.sync()  # each file by itself would take far longer
                part.rename(path)
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
        _sync(path.parent)
    except OSError as error:
        raise _refused(path, error) from error


def _part(path: Path) -> Path:
    return path.with_name(f".{path.name}.{token_hex(6)}.part")


def _check_free(path: Path) -> None:
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise InputError(where=str(path), rule="must be a new or empty folder", mend="Name another folder.")


def _clear_dead(path: Path) -> None:
    """Take away what processes that were killed left; who still writes holds theirs."""
    for left in path.parent.glob(f".{escape(path.name)}.*.part"):
        with suppress(OSError), _held(left):
            if left.is_dir():
                shutil.rmtree(left)
            else:
                left.unlink()


@contextmanager
def _held(path: Path) -> Iterator[None]:
    handle = os.open(path, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(handle)


def _sync(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _refused(path: Path, error: OSError) -> InputError:
    return InputError(
        where=str(path),
        rule="there must be space and rights to write it",
        value=error.strerror or str(error),
        mend="Free some space or check the rights; nothing was put in its place.",
    )
