"""A plant and its record in one file, taken while people go on working."""

import os
import time
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import IO, Final

from wideroll import __version__
from wideroll.errors import InputError, RecordError
from wideroll.record import GENESIS, Checkpoint, Written, canonical_bytes, event_line
from wideroll.store.backup_names import (
    ABOUT,
    BACKUP_SCHEMA,
    EVENTS,
    MANIFEST,
    Kept,
    Manifest,
    is_scan,
    manifest_bytes,
    plant_files,
)
from wideroll.store.backup_reading import is_backup
from wideroll.store.parts import new_file
from wideroll.store.record_checkpoints import CHECKPOINTS, kept_checkpoints
from wideroll.store.record_db import RecordStore, prove_read
from wideroll.store.watch_lock import nobody_seals
from wideroll.workflow import Progress

__all__ = ["write_backup"]

_TIME: Final = (1980, 1, 1, 0, 0, 0)
_RIGHTS: Final = 0o644 << 16
_BLOCK: Final = 1 << 20
_SETTLED_NS: Final = 2_000_000_000
"""A file changed less than this ago could change again without its times moving."""


def write_backup(
    path: Path, root: Path, record: RecordStore | None, progress: Progress, *, without_scans: bool = False
) -> Manifest:
    """Write the plant's files and its record as of one moment to a file; the same plant gives the same bytes.

    Files are copied while work goes on, those that changed meanwhile once more, and a last time while nobody can seal
    or append. The events are as many as there are at that moment; as none of them ever changes, they are read after it.

    Args:
        path: a new file, or an older backup, which is replaced.
        root: the plant's folder.
        record: None where there is none yet.
        progress: told how far it is, and what was written to while it was copied.
        without_scans: leave the scanner's rasters out.

    Raises:
        InputError: when the place isn't fit for a backup, a file can't be read, or the disk refuses.
        RecordError: when the record doesn't hold.
    """
    _check_place(path, root)
    with new_file(path) as file, zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as whole:
        copy = _Copy(root=root, whole=whole, without_scans=without_scans)
        _add(whole, ABOUT, [canonical_bytes({"schema": BACKUP_SCHEMA}) + b"\n"])
        copy.look(progress)
        copy.look(None)
        with nobody_seals(root / "results"), ExitStack() as held:
            events, head = (0, GENESIS) if record is None else held.enter_context(record.held())
            copy.look(None)
            kept = kept_checkpoints(root / CHECKPOINTS)
        for name in copy.unsteady():
            progress.note(f"{root / name} was written to while it was copied; the backup has what was there by then.")
        manifest = Manifest(
            version=__version__,
            events=events,
            head=head,
            record=_add_events(whole, record, (events, head), kept),
            files={name: one.kept for name, one in sorted(copy.files.items())},
            left_out=dict(sorted(copy.left_out.items())),
        )
        _add(whole, MANIFEST, [manifest_bytes(manifest)])
    return manifest


@dataclass(frozen=True, slots=True, kw_only=True)
class _Copied:
    """A file in the backup, and how it looked on the disk; None where it may have changed while it was copied."""

    kept: Kept
    seen: tuple[int, ...] | None
    steady: bool


@dataclass(slots=True, kw_only=True)
class _Copy:
    """What was copied so far."""

    root: Path
    whole: zipfile.ZipFile
    without_scans: bool
    files: dict[str, _Copied] = field(default_factory=dict)
    left_out: dict[str, int] = field(default_factory=dict)
    again: int = 0

    def look(self, progress: Progress | None) -> None:
        """Copy what is new or changed, forget what is gone."""
        there = plant_files(self.root)
        scans = {name: path for name, path in there.items() if self.without_scans and is_scan(name)}
        self.left_out = {name: path.stat().st_size for name, path in scans.items()}
        wanted = {name: path for name, path in there.items() if name not in scans}
        if progress is not None:
            progress.start("copying", len(wanted), "files")
        for name, path in wanted.items():
            self._take(name, path)
            if progress is not None:
                progress.advance(1)
        self.files = {name: one for name, one in self.files.items() if name in wanted}
        if progress is not None:
            progress.finish()

    def unsteady(self) -> list[str]:
        """The files that were written to while they were last copied."""
        return [name for name, one in self.files.items() if not one.steady]

    def _take(self, name: str, path: Path) -> None:
        known = self.files.get(name)
        try:
            if known is None or known.seen is None or known.seen != _look(path):
                self._copy(name, path, known)
        except FileNotFoundError:
            if path.is_symlink():
                raise _unreadable(path, "a link that leads nowhere") from None
            self.files.pop(name, None)
        except OSError as error:
            if error.filename is None:
                raise
            raise _unreadable(path, error.strerror) from error

    def _copy(self, name: str, path: Path, known: _Copied | None) -> None:
        before = _look(path)
        with path.open("rb") as source:
            if known is not None and known.kept.sha256 == _hash(source, known.kept.bytes):
                kept = known.kept
            else:
                source.seek(0)
                kept = _add(self.whole, self._entry(name, known), _pieces(source, before[0]))
        after = _look(path)
        steady = before == after and kept.bytes == before[0]
        settled = time.time_ns() - max(after[1:3]) > _SETTLED_NS
        self.files[name] = _Copied(kept=kept, seen=after if steady and settled else None, steady=steady)

    def _entry(self, name: str, known: _Copied | None) -> str:
        if known is None and f"plant/{name}" not in self.whole.NameToInfo:
            return f"plant/{name}"
        self.again += 1
        return f"again/{self.again}/{name}"


def _look(path: Path) -> tuple[int, ...]:
    """Length, times and place on the disk."""
    stat = path.stat()
    return stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns, stat.st_ino, stat.st_dev


def _pieces(source: IO[bytes], length: int) -> Iterator[bytes]:
    """So many bytes at most: a file that grows is taken as long as it was."""
    while length > 0 and (piece := source.read(min(_BLOCK, length))):
        length -= len(piece)
        yield piece


def _hash(source: IO[bytes], length: int) -> str:
    """Of the whole file, if it has this length."""
    if os.fstat(source.fileno()).st_size != length:
        return ""
    hasher = sha256()
    for piece in _pieces(source, length):
        hasher.update(piece)
    return hasher.hexdigest()


@contextmanager
def _entry(whole: zipfile.ZipFile, name: str) -> Iterator[IO[bytes]]:
    # Stored as they are, with a time and rights of no meaning: the bytes are those of the content alone.
    about = zipfile.ZipInfo(name, _TIME)
    about.external_attr, about.create_system = _RIGHTS, 3
    with whole.open(about, "w", force_zip64=True) as inner:
        yield inner


def _add(whole: zipfile.ZipFile, name: str, pieces: Iterable[bytes]) -> Kept:
    hasher, length = sha256(), 0
    with _entry(whole, name) as inner:
        for piece in pieces:
            inner.write(piece)
            hasher.update(piece)
            length += len(piece)
    return Kept(entry=name, bytes=length, sha256=hasher.hexdigest())


def _add_events(
    whole: zipfile.ZipFile, record: RecordStore | None, end: tuple[int, str], kept: Iterable[Checkpoint]
) -> Kept:
    """Write the events up to the end and hold them to be sound on the way."""
    hasher, length = sha256(), 0
    with _entry(whole, EVENTS) as inner:

        def written(rows: Iterable[Written]) -> Iterator[Written]:
            nonlocal length
            for row, _ in zip(rows, range(end[0]), strict=False):
                yield row
                line = event_line(row).encode() + b"\n"
                inner.write(line)
                hasher.update(line)
                length += len(line)

        report = prove_read(written(() if record is None else record.rows()), kept=tuple(kept))
    if not report.intact or (report.events, report.head) != end:
        raise RecordError(
            where=f"record, event {report.first_bad or report.events}",
            rule="must hold to be backed up",
            value=report.why or "it ends before",
            mend="Keep everything as it is and the older backups, and find out what happened: wideroll record verify.",
        )
    return Kept(entry=EVENTS, bytes=length, sha256=hasher.hexdigest())


def _check_place(path: Path, root: Path) -> None:
    if path.resolve().is_relative_to(root.resolve()):
        rule = "a backup must not lie in the plant that it is of"
    elif path.is_dir() or (path.exists() and not is_backup(path)):
        rule = "only a backup is replaced by a backup, and this is something else"
    else:
        return
    raise InputError(where=str(path), rule=rule, mend="Name another file.")


def _unreadable(path: Path, why: str | None) -> InputError:
    return InputError(
        where=str(path), rule="each file of the plant must be readable", value=why, mend="Check its rights."
    )
