"""What results were computed from, as hashes, so that only what is stale is done again."""

import os
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import blake2b, sha256
from pathlib import Path
from typing import Final, NamedTuple, TypeAlias

from wideroll.errors import InputError
from wideroll.store.files import json_bytes, read_json, write_json

__all__ = ["FileHashes", "InputHashes", "fingerprint", "hash_file", "hash_twice", "remembered_hashes"]

_Entry: TypeAlias = dict[str, int | str]

_DIGEST_BYTES: Final = 32
_BLOCK_BYTES: Final = 1 << 20
_SETTLED_NS: Final = 2_000_000_000
"""A file changed less than this ago could change again without its time of change moving."""


class FileHashes(NamedTuple):
    """Two hashes of the same bytes: BLAKE2b, by which results are stale, and SHA-256, by which the record names it."""

    hash: str
    sha256: str


def fingerprint(parts: Mapping[str, str]) -> str:
    """One hash over named parts, such as the hash of each input, the settings and the version; their order is free.

    Example:
        >>> fingerprint({"scan": "ab", "version": "1"}) == fingerprint({"version": "1", "scan": "ab"})
        True
    """
    return _new_hash(json_bytes(dict(parts))).hexdigest()


def hash_file(path: Path) -> str:
    """Hash of a file's content (BLAKE2b, 256 bits), read in pieces.

    Raises:
        InputError: when the file isn't there or can't be read.
    """
    hasher = _new_hash()
    for block in _blocks(path):
        hasher.update(block)
    return hasher.hexdigest()


def hash_twice(path: Path) -> FileHashes:
    """Both hashes of a file's content, read once.

    Raises:
        InputError: when the file isn't there or can't be read.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     _ = Path(folder, "a.txt").write_bytes(b"abc")
        ...     hash_twice(Path(folder, "a.txt")).sha256[:8]
        'ba7816bf'
    """
    first, second = _new_hash(), sha256()
    for block in _blocks(path):
        first.update(block)
        second.update(block)
    return FileHashes(first.hexdigest(), second.hexdigest())


def _blocks(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK_BYTES):
                yield block
    except OSError as error:
        raise _unreadable(path, error) from error


def remembered_hashes(cache: Path) -> dict[str, str]:
    """Hash of each file by its name, as ``InputHashes`` remembers them; none where the memory is absent or damaged."""
    return {name: str(entry["hash"]) for name, entry in _read_cache(cache).items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class InputHashes:
    """Hashes of a plant's files, remembered while a file's size and times of change stay the same.

    The time of change of the file's entry (ctime) is among them, which copying with kept times can't set back.

    Files are named relative to ``root``, so that a plant can be moved. A ``cache`` that is damaged is made anew.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     plant = Path(folder)
        ...     _ = (plant / "plant.toml").write_text("name = 'Alder Works'")
        ...     hashes = InputHashes(root=plant, cache=plant / "results" / "inputs.json")
        ...     list(hashes.of([plant / "plant.toml"]))
        ['plant.toml']
    """

    root: Path
    cache: Path

    def names(self, paths: Iterable[Path]) -> tuple[str, ...]:
        """Each file's name as the hashes have it."""
        return tuple(Path(os.path.relpath(path, self.root)).as_posix() for path in paths)

    def of(self, paths: Iterable[Path]) -> dict[str, str]:
        """Hash of each file by its name, in the order of the files.

        Raises:
            InputError: when a file isn't there or can't be read, or the cache can't be written.
        """
        return {name: both.hash for name, both in self.both(paths).items()}

    def both(self, paths: Iterable[Path]) -> dict[str, FileHashes]:
        """Both hashes of each file by its name, in the order of the files; nothing is read twice.

        Raises:
            InputError: when a file isn't there or can't be read, or the cache can't be written.
        """
        files = tuple(paths)
        before = _read_cache(self.cache)
        known = {name: entry for name, entry in before.items() if (self.root / name).exists()}
        hashes: dict[str, FileHashes] = {}
        for name, path in zip(self.names(files), files, strict=True):
            now = time.time_ns()
            entry = _look(path, known.get(name))
            hashes[name] = FileHashes(str(entry["hash"]), str(entry["sha256"]))
            if now - int(entry["mtime_ns"]) > _SETTLED_NS:
                known[name] = entry
            else:
                known.pop(name, None)
        if known != before:
            write_json(self.cache, known)
        return hashes


def _look(path: Path, known: _Entry | None) -> _Entry:
    try:
        stat = path.stat()
    except OSError as error:
        raise _unreadable(path, error) from error
    seen = {"size": stat.st_size, "mtime_ns": stat.st_mtime_ns, "ctime_ns": stat.st_ctime_ns}
    if known and all(known[name] == value for name, value in seen.items()):
        return known
    return {**seen, **hash_twice(path)._asdict()}


def _read_cache(cache: Path) -> dict[str, _Entry]:
    try:
        read = read_json(cache)
    except InputError:
        return {}
    if not isinstance(read, dict):
        return {}
    return {name: entry for name, entry in read.items() if _sound(entry)}


def _sound(entry: object) -> bool:
    return isinstance(entry, dict) and {key: type(value) for key, value in entry.items()} == {
        "size": int,
        "mtime_ns": int,
        "ctime_ns": int,
        "hash": str,
        "sha256": str,
    }


def _new_hash(data: bytes = b"") -> blake2b:
    return blake2b(data, digest_size=_DIGEST_BYTES)


def _unreadable(path: Path, error: OSError) -> InputError:
    return InputError(
        where=str(path),
        rule="the input file must be there and readable",
        value=error.strerror,
        mend="Check the path and its rights.",
    )
