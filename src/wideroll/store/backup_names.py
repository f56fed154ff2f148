"""What of a plant goes into a backup, and what the backup says of itself."""

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Final

from wideroll.errors import InputError
from wideroll.record import canonical_bytes, digest
from wideroll.store.parts import PASSING

__all__ = [
    "ABOUT",
    "BACKUP_SCHEMA",
    "EVENTS",
    "MANIFEST",
    "Kept",
    "Manifest",
    "is_plain_name",
    "is_scan",
    "manifest_bytes",
    "plant_files",
    "read_manifest",
]

BACKUP_SCHEMA: Final = "wideroll/backup/1"
ABOUT: Final = "about.json"
"""First entry of a backup; by it a backup is told from other files."""
EVENTS: Final = "events.jsonl"
MANIFEST: Final = "manifest.json"
"""Last entry: what there must be, and its hashes."""
_DATABASES: Final = ("wideroll.db", "desk.db")
"""The record, which goes by its events, and the desk's passwords and sessions, which stay where they are."""
_TABLES: Final = {".toml", ".csv"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A file in a backup: the entry that holds it, its length and its SHA-256."""

    entry: str
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup holds: files by their path in the plant, and so many events of which the last has this digest.

    ``left_out`` are the scans that it was made without, with their lengths.
    """

    version: str
    events: int
    head: str
    record: Kept
    files: Mapping[str, Kept]
    left_out: Mapping[str, int]


def manifest_bytes(manifest: Manifest) -> bytes:
    """The manifest as canonical JSON with its own digest, which is of all the rest."""
    whole: dict[str, Any] = {
        "schema": BACKUP_SCHEMA,
        "version": manifest.version,
        "events": manifest.events,
        "head": manifest.head,
        "record": _plain(manifest.record),
        "files": {name: _plain(kept) for name, kept in manifest.files.items()},
        "left_out": dict(manifest.left_out),
    }
    return canonical_bytes(whole | {"digest": digest(canonical_bytes(whole))}) + b"\n"


def read_manifest(data: bytes) -> Manifest:
    """The manifest that was written.

    Raises:
        ValueError: when it isn't one, or isn't what was written.
    """
    whole = json.loads(data)
    if not isinstance(whole, dict) or whole.get("schema") != BACKUP_SCHEMA:
        raise ValueError(f"must be {BACKUP_SCHEMA}")  # noqa: TRY003
    said = whole.pop("digest", None)
    if digest(canonical_bytes(whole)) != said:
        raise ValueError("isn't what was written")  # noqa: TRY003
    return Manifest(
        version=whole["version"],
        events=whole["events"],
        head=whole["head"],
        record=Kept(**whole["record"]),
        files={name: Kept(**kept) for name, kept in whole["files"].items()},
        left_out=whole["left_out"],
    )


def is_plain_name(name: str) -> bool:
    """Whether a path leads to a place within the folder it is taken from.

    Example:
        >>> is_plain_name("rolls/4711/roll.toml"), is_plain_name("../plant.toml"), is_plain_name("/etc/hosts")
        (True, False, False)
    """
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and "\0" not in name and not {"..", "."} & set(parts)


def is_scan(name: str) -> bool:
    """Whether a file of a plant is the scanner's: all in rolls/<roll>/scan/ but the tables.

    Example:
        >>> is_scan("rolls/4711/scan/segment-1.tif"), is_scan("rolls/4711/scan/scan.toml")
        (True, False)
    """
    parts = PurePosixPath(name).parts
    return parts[:1] == ("rolls",) and parts[2:3] == ("scan",) and Path(name).suffix.lower() not in _TABLES


def plant_files(root: Path) -> dict[str, Path]:
    """The files of a plant by their path in it, in order: all but databases, locks and what is just being written.

    Links are followed.

    Raises:
        InputError: when a folder can't be read.
    """
    found = ((path.relative_to(root).as_posix(), path) for path in _below(root, frozenset()))
    return dict(sorted((name, path) for name, path in found if not _passing(name)))


def _passing(name: str) -> bool:
    """Whether a file is a database, a lock, or only there while something is written."""
    parts = PurePosixPath(name).parts
    return (
        (len(parts) == 1 and name.startswith(_DATABASES))
        or (parts[0] == "results" and name.endswith(".lock"))
        or any(part.startswith(".") and part.endswith(PASSING) for part in parts)
    )


def _below(folder: Path, above: frozenset[str]) -> Iterator[Path]:
    real = os.path.realpath(folder)
    if real in above:
        raise InputError(
            where=str(folder), rule="a link must not lead to a folder that it lies in", mend="Take the link away."
        )
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except FileNotFoundError:  # taken away meanwhile
        return
    except OSError as error:
        raise InputError(
            where=str(folder), rule="the folder must be readable", value=error.strerror, mend="Check its rights."
        ) from error
    for entry in entries:
        if entry.is_dir():
            yield from _below(Path(entry.path), above | {real})
        else:
            yield Path(entry.path)


def _plain(kept: Kept) -> dict[str, Any]:
    return {"entry": kept.entry, "bytes": kept.bytes, "sha256": kept.sha256}
