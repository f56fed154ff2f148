"""A backup put back in place: everything is compared with its hash before anything is."""

import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import IO, Final

from wideroll.errors import ArgumentError, InputError, RecordError
from wideroll.record import Written, read_line
from wideroll.store.backup_names import ABOUT, BACKUP_SCHEMA, MANIFEST, Kept, Manifest, is_plain_name, read_manifest
from wideroll.store.parts import new_folder
from wideroll.store.record_checkpoints import CHECKPOINTS, kept_checkpoints
from wideroll.store.record_db import RecordStore
from wideroll.store.record_inputs import FilesReport, check_files
from wideroll.workflow import Progress

__all__ = ["is_backup", "read_backup", "restore_backup"]

_BLOCK: Final = 1 << 20
_HEAD: Final = 64
_BEGINS: Final = b"PK\x03\x04"
_DAMAGE: Final = (zipfile.BadZipFile, EOFError, KeyError, ValueError, NotImplementedError, RuntimeError)


def is_backup(path: Path) -> bool:
    """Whether a file begins as a backup does."""
    try:
        with path.open("rb") as file:
            begin = file.read(_HEAD)
    except OSError:
        return False
    return begin.startswith(_BEGINS) and ABOUT.encode() in begin


def read_backup(path: Path) -> Manifest:
    """What a backup says that it holds.

    Raises:
        InputError: when it can't be read, or isn't a backup.
        RecordError: when it is damaged.
    """
    with _opened(path) as whole:
        return _manifest(path, whole)


def restore_backup(
    path: Path, root: Path, record_of: Callable[[Path], RecordStore], progress: Progress
) -> tuple[Manifest, FilesReport]:
    """Put a backup in place as a new folder, its record into a database, all of it or nothing.

    Args:
        path: the backup.
        root: the plant's folder, which isn't there yet or is empty.
        record_of: opens the record of a plant's folder, whose files are there. It must have no events, or just those of
            the backup, as when the work was stopped at its very end before.
        progress: told how far it is.

    Returns:
        What was in it, and whether the files of standing decisions are those that were sealed.

    Raises:
        InputError: when the folder isn't empty, the backup isn't one, the database has other events, or the disk
            refuses.
        RecordError: when anything in the backup isn't what was backed up; nothing is put in place.
    """
    with new_folder(root) as part, _opened(path) as whole:
        manifest = _manifest(path, whole)
        _put_files(path, whole, manifest, part, progress)
        if not manifest.events:
            return manifest, FilesReport(decisions=0, files=0)
        _check_entry(path, whole, manifest.record)
        with record_of(part) as record:
            _put_events(path, whole, manifest, record)
            report = record.verify(kept=kept_checkpoints(part / CHECKPOINTS))
            if not report.intact or (report.events, report.head) != (manifest.events, manifest.head):
                raise _damaged(path, manifest.record.entry, report.why or "another number of events")
            return manifest, check_files(part, record.rows())


def _put_files(path: Path, whole: zipfile.ZipFile, manifest: Manifest, part: Path, progress: Progress) -> None:
    progress.start("putting back", len(manifest.files), "files")
    for name, kept in manifest.files.items():
        if not is_plain_name(name):
            raise _damaged(path, name, "a path that leads elsewhere")
        to = part / name
        to.parent.mkdir(parents=True, exist_ok=True)
        with to.open("xb") as file:
            _check_entry(path, whole, kept, file)
        progress.advance(1)
    progress.finish()


def _put_events(path: Path, whole: zipfile.ZipFile, manifest: Manifest, record: RecordStore) -> None:
    with record.held() as (events, head):
        there = (events, head) == (manifest.events, manifest.head)
    if not there:
        record.fill(_rows(path, whole, manifest.record.entry))


def _rows(path: Path, whole: zipfile.ZipFile, entry: str) -> Iterator[Written]:
    number = 0
    try:
        with whole.open(entry) as file:
            for number, line in enumerate(file, start=1):  # noqa: B007  -- told in the error
                yield read_line(line.removesuffix(b"\n").decode())
    except (ArgumentError, *_DAMAGE) as error:
        raise _damaged(path, f"{entry}, about line {number}", str(error)) from error


def _check_entry(path: Path, whole: zipfile.ZipFile, kept: Kept, to: IO[bytes] | None = None) -> None:
    """Read an entry to its end and compare it with its hash, copying it on the way."""
    hasher, length = sha256(), 0
    try:
        with whole.open(kept.entry) as file:
            while piece := file.read(_BLOCK):
                hasher.update(piece)
                length += len(piece)
                if to is not None:
                    to.write(piece)
    except _DAMAGE as error:
        raise _damaged(path, kept.entry, str(error)) from error
    if (length, hasher.hexdigest()) != (kept.bytes, kept.sha256):
        raise _damaged(path, kept.entry, "other content")


def _manifest(path: Path, whole: zipfile.ZipFile) -> Manifest:
    try:
        return read_manifest(whole.read(MANIFEST))
    except (*_DAMAGE, TypeError, AttributeError) as error:
        raise _damaged(path, MANIFEST, str(error)) from error


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    if not is_backup(path):
        raise InputError(
            where=str(path),
            rule=f"must be a backup that wideroll backup wrote ({BACKUP_SCHEMA})",
            mend="Check the path and its rights.",
        )
    try:
        whole = zipfile.ZipFile(path)
    except _DAMAGE as error:
        raise _damaged(path, "its list of contents, at the end", str(error)) from error
    with whole:
        yield whole


def _damaged(path: Path, what: str, why: str) -> RecordError:
    return RecordError(
        where=f"{path}, {what}",
        rule="must be what was backed up",
        value=why,
        mend="Nothing was put in place. Get the backup again from where else it is kept, or take an older one.",
    )
