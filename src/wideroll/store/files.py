"""Files that are either the old one or the new one, never half of either."""

import fcntl
import json
import os
import secrets
from pathlib import Path
from typing import Any

from wideroll.errors import ArgumentError, InputError

__all__ = ["json_bytes", "read_bytes", "read_json", "write_json", "write_whole"]


def write_whole(path: Path, data: bytes) -> None:
    """Replace a file in one step, its folder made if need be.

    The bytes go to a new file beside it and reach the disk before the name moves over, so a crash or a full disk
    leaves the old file as it was.

    Raises:
        InputError: when the disk refuses; nothing is left behind.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     write_whole(Path(folder, "results", "verdict.txt"), b"release")
        ...     Path(folder, "results", "verdict.txt").read_bytes()
        b'release'
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            _write_new(part, data)
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except OSError as error:
        raise InputError(
            where=str(path),
            rule="the file must be writable",
            value=error.strerror,
            mend="Free some space or check the folder's rights; what was there before is unchanged.",
        ) from error


def json_bytes(value: object, *, sort_keys: bool = True) -> bytes:
    r"""JSON as UTF-8 with a newline at the end; the same value gives the same bytes.

    Floats have as many digits as reading them back exactly takes.

    Raises:
        ArgumentError: for what JSON doesn't have, such as NaN or infinity.

    Example:
        >>> json_bytes({"b": 0.1, "a": "µm"}).decode()
        '{"a": "µm", "b": 0.1}\n'
    """
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=sort_keys).encode() + b"\n"
    except (TypeError, ValueError) as error:
        raise ArgumentError(
            where="value to write as JSON",
            rule="must be made of mappings, lists, text, finite numbers, true, false and null",
            value=str(error),
            mend="Turn it into these first.",
        ) from error


def write_json(path: Path, value: object) -> None:
    """Replace a JSON file in one step; keys are sorted.

    Raises:
        ArgumentError: for what JSON doesn't have.
        InputError: when the disk refuses.
    """
    write_whole(path, json_bytes(value))


def read_bytes(path: Path) -> bytes:
    """What a file holds.

    Raises:
        InputError: when the file isn't there or can't be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise InputError(
            where=str(path), rule="the file must be there", mend="Check the path, or put the file in place."
        ) from error
    except OSError as error:
        raise InputError(
            where=str(path), rule="the file must be readable", value=error.strerror, mend="Check its rights."
        ) from error


def read_json(path: Path) -> Any:
    """The value a JSON file holds.

    Raises:
        InputError: when the file isn't there, can't be read, or isn't whole JSON in UTF-8.
    """
    try:
        return json.loads(read_bytes(path))
    except (ValueError, RecursionError) as error:
        raise InputError(
            where=str(path),
            rule="the file must be whole JSON",
            value=str(error),
            mend="Remove the file and run the command that writes it again.",
        ) from error


def _write_new(path: Path, data: bytes) -> None:
    # The mode is left to the umask: results are for everyone the plant lets in.
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    with os.fdopen(handle, "wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)  # it isn't what a killed process left
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
