"""``desk.db``: an SQLite file for its owner alone, made when first needed and brought into today's form by steps."""

import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import Any, Final

from wideroll.errors import InputError

__all__ = ["DESK_DB", "DeskDatabase", "desk_database"]

DESK_DB: Final = "desk.db"
_OWNER_ONLY: Final = 0o600
_WAIT_S: Final = 20.0
_FIRST: Final = (
    """CREATE TABLE people (
        name TEXT PRIMARY KEY, shown TEXT NOT NULL UNIQUE COLLATE NOCASE, roles TEXT NOT NULL, hash TEXT,
        disabled INTEGER NOT NULL DEFAULT 0, provided TEXT UNIQUE, made_s INTEGER NOT NULL
    ) STRICT""",
    """CREATE TABLE sessions (
        digest TEXT PRIMARY KEY, person TEXT NOT NULL REFERENCES people, how TEXT NOT NULL,
        made_s INTEGER NOT NULL, seen_s INTEGER NOT NULL
    ) STRICT""",
    "CREATE INDEX sessions_by_person ON sessions (person)",
    """CREATE TABLE tokens (
        name TEXT PRIMARY KEY, digest TEXT NOT NULL UNIQUE, person TEXT NOT NULL REFERENCES people,
        scopes TEXT NOT NULL, made_s INTEGER NOT NULL, made_by TEXT NOT NULL, ends_s INTEGER NOT NULL,
        revoked_s INTEGER
    ) STRICT""",
    """CREATE TABLE log (
        number INTEGER PRIMARY KEY AUTOINCREMENT, when_s INTEGER NOT NULL, kind TEXT NOT NULL, who TEXT NOT NULL,
        what TEXT NOT NULL, about TEXT NOT NULL, address TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX log_by_kind ON log (kind, number)",
    """CREATE TRIGGER log_stays BEFORE UPDATE ON log
    BEGIN SELECT RAISE(ABORT, 'a line of the log is never changed'); END""",
    """CREATE TRIGGER changes_stay BEFORE DELETE ON log WHEN OLD.kind = 'change'
    BEGIN SELECT RAISE(ABORT, 'a change to people stays in the log'); END""",
)
_STEPS: Final[tuple[Sequence[str], ...]] = (_FIRST,)
"""What makes each form of the file from the one before; a step that was released is never changed."""


class DeskDatabase:
    """One connection that the threads of a desk share, one at a time: each use takes well under a millisecond."""

    def __init__(self, path: Path) -> None:
        """Open the file, and make it or bring it into today's form where that is needed."""
        self.path = path
        self._lock = RLock()
        try:
            os.close(os.open(path, os.O_RDWR | os.O_CREAT, _OWNER_ONLY))
            self._connection = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
            for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
                self._connection.execute(f"PRAGMA {setting}")
            with self.writing():
                self._bring_up_to_date()
        except (OSError, sqlite3.Error) as error:
            raise _unusable(path, error) from error

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All that is done inside is done whole or not at all; others that write wait."""
        with self._lock:
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._connection.execute("ROLLBACK")
                raise
            self._connection.execute("COMMIT")

    def rows(self, statement: str, *values: object) -> list[tuple[Any, ...]]:
        """What a statement finds."""
        with self._lock:
            return self._connection.execute(statement, values).fetchall()

    def change(self, statement: str, *values: object) -> int:
        """Carry out a statement, and say how many rows it changed."""
        with self._lock:
            return self._connection.execute(statement, values).rowcount

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._connection.close()

    def _bring_up_to_date(self) -> None:
        form: int = self._connection.execute("PRAGMA user_version").fetchone()[0]
        if form > len(_STEPS):
            raise InputError(
                where=str(self.path),
                rule=f"its form must be known to this version of wideroll, which knows up to {len(_STEPS)}",
                value=form,
                mend="Use the version of wideroll that wrote it last, or a newer one.",
            )
        for step in _STEPS[form:]:
            for statement in step:
                self._connection.execute(statement)
        if form < len(_STEPS):
            self._connection.execute(f"PRAGMA user_version = {len(_STEPS)}")


def desk_database(root: Path, *, make: bool = False) -> DeskDatabase | None:
    """The file of a plant; None where there is none and none is to be made.

    Args:
        root: the plant's folder.
        make: whether to make it where there is none.

    Raises:
        InputError: when it can't be opened, or a newer version of wideroll made it.
    """
    path = root / DESK_DB
    return DeskDatabase(path) if make or path.exists() else None


def _unusable(path: Path, error: Exception) -> InputError:
    return InputError(
        where=str(path),
        rule="the file of people and sessions must be sound, free and writable",
        value=str(error),
        mend="Check the folder's rights and its space; if the file is damaged, put a copy of it back.",
    )
