"""New files and folders that are filled beside their place and put there whole; what was killed is cleared away."""

import fcntl
import os
import re
import shutil
import time
import weakref
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from glob import escape
from pathlib import Path
from secrets import token_hex
from typing import IO, Final

from wideroll.errors import InputError

__all__ = ["PASSING", "PartFolder", "clear_killed", "new_file", "new_folder"]

PASSING: Final = (".part", ".old")
"""How the names end of what is being written, and of what is being taken away."""
_OURS: Final = re.compile(rf"\..+\.[0-9a-f]{{12}}(?:{'|'.join(map(re.escape, PASSING))})")
"""The names that are given here; what others named alike isn't touched."""
_FRESH_S: Final = 60.0
"""What is younger may be somebody's who is just about to hold it."""


class PartFolder:
    """A new empty folder beside its place, to be filled and then put there; held, so that nobody takes it away.

    Args:
        place: where it is to stand. What killed processes left beside it is cleared away.

    Raises:
        OSError: when the disk refuses; by each method too.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     part = PartFolder(Path(folder, "chips"))
        ...     _ = (part.path / "a.png").write_bytes(b"1")
        ...     part.put_in_place()
        ...     [path.name for path in Path(folder).iterdir()]
        ['chips']
    """

    def __init__(self, place: Path) -> None:
        place.parent.mkdir(parents=True, exist_ok=True)
        clear_killed(place.parent)
        self._place = place
        self.path = _part(place)
        self.path.mkdir()
        handle = os.open(self.path, os.O_RDONLY)
        self._free = weakref.finalize(self, os.close, handle)
        fcntl.flock(handle, fcntl.LOCK_EX)

    def put_in_place(self) -> None:
        """It takes its place, and what stood there is removed.

        A crash leaves the old folder, the new one or none, never a mixture. Its files are not forced to the disk one
        by one: whoever reads them compares them with the hash that was kept.
        """
        old = self.path.with_suffix(".old")
        try:
            if self._place.exists():
                self._place.rename(old)
            self.path.rename(self._place)
        except OSError:
            self.drop()
            raise
        shutil.rmtree(old, ignore_errors=True)
        self._free()

    def drop(self) -> None:
        """Take it away; what stood in its place stays."""
        shutil.rmtree(self.path, ignore_errors=True)
        self._free()


def clear_killed(folder: Path) -> None:
    """Take away what killed processes left in a folder; who still writes holds theirs.

    Args:
        folder: what lies deeper in it isn't looked at.
    """
    now_s = time.time()
    for left in folder.glob(".*"):
        if _OURS.fullmatch(left.name):
            with suppress(OSError):
                if left.stat().st_mtime < now_s - _FRESH_S:
                    _clear(left)


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
        with suppress(OSError):
            _clear(left)


def _clear(left: Path) -> None:
    with _held(left):
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
