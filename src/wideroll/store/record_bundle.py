"""The record as a bundle that is verified on another machine: bundle.json and events.jsonl, in a folder or a zip."""

import json
import os
import secrets
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

from wideroll.errors import ArgumentError, InputError, RecordError
from wideroll.record import RecordReport, Written, canonical_bytes, event_line, read_line
from wideroll.store.files import write_whole

__all__ = ["BUNDLE_SCHEMA", "Bundle", "is_bundle", "open_bundle", "write_bundle"]

BUNDLE_SCHEMA: Final = "wideroll/record-bundle/1"
_EVENTS: Final = "events.jsonl"
_CARD: Final = "bundle.json"
_ZIP: Final = ".zip"
_TIME: Final = (1980, 1, 1, 0, 0, 0)
_RIGHTS: Final = 0o644 << 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """A bundle on disk, and what its card says of it."""

    path: Path
    events: int
    head: str

    def rows(self) -> Iterator[Written]:
        """The events in order.

        Raises:
            RecordError: at a line that isn't an event.
        """
        number = 0
        try:
            with _opened(self.path, _EVENTS) as file:
                for line in file:
                    number += 1
                    yield read_line(line.removesuffix(b"\n").decode())
        except (ArgumentError, UnicodeDecodeError, OSError, zipfile.BadZipFile, EOFError) as error:
            why = error.rule if isinstance(error, ArgumentError) else str(error)
            raise RecordError(
                where=f"{self.path}, {_EVENTS}, about line {number}",
                rule="each line must be an event",
                value=why,
                mend="Get the bundle again from where it came.",
            ) from error


def write_bundle(path: Path, rows: Iterable[Written], report: RecordReport) -> None:
    """Write the events that the report is about; the same record gives the same bytes.

    Args:
        path: of a new folder, or of a file that ends in .zip, which is replaced.
        rows: the events in order; what is beyond the report's is left out.
        report: of an intact record.

    Raises:
        InputError: when the folder is there and isn't empty, or the disk refuses.
    """
    card = canonical_bytes({"schema": BUNDLE_SCHEMA, "events": report.events, "head": report.head}) + b"\n"
    lines = (event_line(row).encode() + b"\n" for row, _ in zip(rows, range(report.events), strict=False))
    try:
        if path.suffix.lower() == _ZIP:
            _write_zip(path, card, lines)
        else:
            _write_folder(path, card, lines)
    except OSError as error:
        raise InputError(
            where=str(path), rule="the bundle must be writable", value=error.strerror, mend="Check space and rights."
        ) from error


def is_bundle(path: Path) -> bool:
    """Whether a path looks like a bundle."""
    return path.is_file() or (path / _CARD).is_file()


def open_bundle(path: Path) -> Bundle:
    """A bundle, its card read.

    Raises:
        InputError: when it isn't one.
    """
    try:
        with _opened(path, _CARD) as file:
            card = json.loads(file.read())
        if card["schema"] == BUNDLE_SCHEMA and type(card["events"]) is int and type(card["head"]) is str:
            return Bundle(path=path, events=card["events"], head=card["head"])
    except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile, EOFError) as error:
        raise _no_bundle(path) from error
    raise _no_bundle(path)


@contextmanager
def _opened(path: Path, name: str) -> Iterator[IO[bytes]]:
    if path.is_dir():
        with (path / name).open("rb") as file:
            yield file
    else:
        with zipfile.ZipFile(path) as whole, whole.open(name) as inner:
            yield inner


def _write_zip(path: Path, card: bytes, lines: Iterable[bytes]) -> None:
    part = path.with_name(f".{path.name}.{secrets.token_hex(6)}.part")
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        with part.open("xb") as file:
            # Stored as they are: how well another machine packs would show in the bytes.
            with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as whole:
                for name, content in ((_CARD, (card,)), (_EVENTS, lines)):
                    about = zipfile.ZipInfo(name, _TIME)
                    about.external_attr, about.create_system = _RIGHTS, 3
                    with whole.open(about, "w", force_zip64=True) as inner:
                        for piece in content:
                            inner.write(piece)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _write_folder(path: Path, card: bytes, lines: Iterable[bytes]) -> None:
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise InputError(
            where=str(path), rule="the bundle's folder must be new or empty", mend="Give another name, or one in .zip."
        )
    path.mkdir(parents=True, exist_ok=True)
    with (path / _EVENTS).open("xb") as file:
        file.writelines(lines)
        file.flush()
        os.fsync(file.fileno())
    write_whole(path / _CARD, card)


def _no_bundle(path: Path) -> InputError:
    return InputError(
        where=str(path),
        rule="must be a plant's folder, or a bundle that wideroll record export wrote",
        mend="Check the path.",
    )
