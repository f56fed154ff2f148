"""Folders of many files that are either the old one or the new one, and what they hold in few bytes."""

import json
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.store.files import json_bytes, read_bytes
from wideroll.store.hashes import hash_file
from wideroll.store.parts import PartFolder

__all__ = ["FOLDERS", "drop_folder", "list_folders", "refused", "sealed_bytes", "write_folder"]

FOLDERS: Final = "state/folders.json"
"""Of a roll's results: the hash of each file within the folders among them."""


def write_folder(path: Path, files: Mapping[str, bytes]) -> None:
    """Replace a folder by one that holds just these files.

    Raises:
        InputError: when the disk refuses; what was there before is unchanged.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     chips = Path(folder, "chips")
        ...     write_folder(chips, {"a.png": b"1", "b.png": b"2"})
        ...     write_folder(chips, {"c.png": b"3"})
        ...     [path.name for path in chips.iterdir()]
        ['c.png']
    """
    try:
        part = PartFolder(path)
        try:
            for name, data in files.items():
                (part.path / name).write_bytes(data)
        except OSError:
            part.drop()
            raise
        part.put_in_place()
    except OSError as error:
        raise refused(path, error) from error


def drop_folder(path: Path) -> None:
    """Take a folder away, if it is there."""
    shutil.rmtree(path, ignore_errors=True)


def sealed_bytes(path: Path) -> bytes:
    """What stands for a file or a folder where it is sealed: a file's content, or each file's hash by its path within.

    The order on disk, times and rights don't matter.

    Raises:
        InputError: when there is nothing, or it can't be read.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     write_folder(Path(folder, "chips"), {"a.png": b"1"})
        ...     sealed_bytes(Path(folder, "chips"))[:11]
        b'{"a.png": "'
    """
    if not path.is_dir():
        return read_bytes(path)
    files = {file.relative_to(path).as_posix(): file for file in path.rglob("*") if file.is_file()}
    return json_bytes({name: hash_file(file) for name, file in files.items()})


def list_folders(root: Path, names: Iterable[str]) -> dict[str, dict[str, str]]:
    """The hash of each file within those of the paths that are folders, so that one that changes later can be named.

    Args:
        root: the folder that the paths start from.
        names: paths of files and folders; those that aren't there are left out.

    Raises:
        InputError: when a file can't be read.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     write_folder(Path(folder, "chips"), {"a.png": b"1"})
        ...     list(list_folders(Path(folder), ["chips", "cut.csv"])["chips"])
        ['a.png']
    """
    return {name: json.loads(sealed_bytes(root / name)) for name in names if (root / name).is_dir()}


def refused(path: Path, error: OSError) -> InputError:
    """What is said when the disk refuses a folder.

    Args:
        path: of the folder.
        error: of the system.
    """
    return InputError(
        where=str(path),
        rule="the folder must be writable",
        value=error.strerror,
        mend="Free some space or check the folder's rights.",
    )
