"""The record of who did what, in a database that itself refuses to change or drop an event."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from typing import Any, Final, Self

from sqlalchemy import (
    Column,
    Connection,
    Engine,
    Integer,
    MetaData,
    Row,
    Table,
    Text,
    create_engine,
    event,
    insert,
    select,
)
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError as UrlError
from sqlalchemy.exc import DBAPIError, OperationalError

from wideroll.errors import InputError, RecordError, WiderollError
from wideroll.record import ChainReport, Event, Json, append_event, canonical_bytes, verify_chain

__all__ = ["RecordStore"]

_WAIT_S: Final = 60
_METADATA: Final = MetaData()
_EVENTS: Final = Table(
    "events",
    _METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("act", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("when_utc", Text, nullable=False),
    Column("version", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("digest", Text, nullable=False),
    sqlite_strict=True,
)
# An event that doesn't follow the last is refused too: INSERT OR REPLACE drops rows without asking a DELETE trigger.
_TRIGGERS: Final = (
    """CREATE TRIGGER IF NOT EXISTS events_stay_unchanged BEFORE UPDATE ON events
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: no event may be changed'); END""",
    """CREATE TRIGGER IF NOT EXISTS events_stay BEFORE DELETE ON events
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: no event may be removed'); END""",
    """CREATE TRIGGER IF NOT EXISTS events_follow BEFORE INSERT ON events
    WHEN EXISTS (SELECT 1 FROM events) AND NOT EXISTS (
        SELECT 1 FROM events WHERE number = (SELECT max(number) FROM events)
        AND number + 1 = NEW.number AND digest = NEW.previous)
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: an event must follow the last'); END""",
)


class RecordStore:
    """The record in an SQLite database; any number of processes may append at once.

    Args:
        url: such as ``sqlite:///plant/wideroll.db``. The database is made when it isn't there.

    Raises:
        InputError: when the database can't be opened.
        RecordError: when the file isn't a sound database.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder, RecordStore(f"sqlite:///{folder}/wideroll.db") as record:
        ...     _ = record.append("decide", "R. Engineer", "2026-03-01T08:00:00Z", "0.1.0", {"roll": "4711"})
        ...     record.verify().intact
        True
    """

    def __init__(self, url: str) -> None:
        """Open the database, and make the table and its triggers where they are missing."""
        self._engine = _open(url)
        with self._begin(write=True) as connection:
            _METADATA.create_all(connection)
            for trigger in _TRIGGERS:
                connection.exec_driver_sql(trigger)

    def __enter__(self) -> Self:
        """The store, closed at the end of the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the database."""
        self.close()

    def close(self) -> None:
        """Close the database; a store that is used again opens it again."""
        self._engine.dispose()

    def append(self, act: str, who: str, when_utc: str, version: str, body: Mapping[str, Json]) -> Event:
        """Add an event after the last; when this returns, it is on the disk.

        Raises:
            ArgumentError: when the body has no canonical form.
            InputError: when the database is locked for too long or the disk refuses.
        """
        return self.append_all(act, who, when_utc, version, [body])[0]

    def append_all(
        self, act: str, who: str, when_utc: str, version: str, bodies: Sequence[Mapping[str, Json]]
    ) -> tuple[Event, ...]:
        """Add an event for each body after the last, all of them or none.

        Raises:
            ArgumentError: when a body has no canonical form.
            InputError: when the database is locked for too long or the disk refuses.
        """
        added: list[Event] = []
        with self._begin(write=True) as connection:
            last = connection.execute(select(_EVENTS).order_by(_EVENTS.c.number.desc()).limit(1)).first()
            previous = None if last is None else _event(last)
            for body in bodies:
                previous = append_event(previous, act=act, who=who, when_utc=when_utc, version=version, body=body)
                row = {column.name: getattr(previous, column.name) for column in _EVENTS.columns}
                connection.execute(insert(_EVENTS), row | {"body": _text(previous.body)})
                added.append(previous)
        return tuple(added)

    def events(self) -> Iterator[Event]:
        """The events in order, as they were when the first is taken.

        Raises:
            RecordError: at an event that can't be read, or when the file isn't a sound database.
        """
        with self._begin(write=False) as connection:
            rows = connection.execution_options(yield_per=1000).execute(select(_EVENTS).order_by(_EVENTS.c.number))
            for row in rows:
                yield _event(row)

    def verify(self) -> ChainReport:
        """Check every event and its link to the one before; a record that can't be read to its end isn't intact."""
        read = 0

        def counted() -> Iterator[Event]:
            nonlocal read
            for read, found in enumerate(self.events(), start=1):  # noqa: B007  -- counts for the report below
                yield found

        try:
            return verify_chain(counted())
        except RecordError as error:
            number = error.number if isinstance(error, _UnreadableError) else None
            return ChainReport(events=read + 1, intact=False, first_bad=number, why=error.rule)

    @contextmanager
    def _begin(self, *, write: bool) -> Iterator[Connection]:
        try:
            with self._engine.execution_options(immediate=write).begin() as connection:
                yield connection
        except DBAPIError as error:
            raise _plain(error, str(self._engine.url)) from error


class _UnreadableError(RecordError):
    """An event whose row doesn't hold what was written."""

    number: int


def _open(url: str) -> Engine:
    try:
        parsed = make_url(url)
    except UrlError as error:
        raise _no_url(url) from error
    if parsed.get_backend_name() != "sqlite":
        raise _no_url(parsed.render_as_string())
    engine = create_engine(parsed, connect_args={"timeout": _WAIT_S})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: Any, _: object) -> None:
    # The driver's own idea of transactions is turned off: BEGIN is said where it is meant.
    connection.isolation_level = None
    # Damaged text is read with a sign in its place, so that its event is found and named.
    connection.text_factory = partial(str, encoding="utf-8", errors="replace")
    for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {setting}")


def _begin(connection: Connection) -> None:
    immediate = connection.get_execution_options().get("immediate", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


def _event(row: Row[Any]) -> Event:
    fields = dict(row._mapping)  # noqa: SLF001  -- the documented way to a row's names
    if not all(isinstance(value, int if name == "number" else str) for name, value in fields.items()):
        raise _unreadable(row, "its fields aren't of their types")
    try:
        body = json.loads(fields["body"])
        written = _text(body)
    except (ValueError, RecursionError) as error:
        raise _unreadable(row, "its body isn't JSON") from error
    if not isinstance(body, dict) or written != fields["body"]:
        raise _unreadable(row, "its body isn't in canonical form")
    return Event(**fields | {"body": body})


def _text(body: Mapping[str, Json]) -> str:
    return canonical_bytes(body).decode()


def _unreadable(row: Row[Any], why: str) -> _UnreadableError:
    error = _UnreadableError(
        where=f"event {row.number}", rule=why, mend="Stop, keep the database as it is and investigate."
    )
    error.number = row.number
    return error


def _no_url(url: str) -> InputError:
    return InputError(
        where="address of the record",
        rule="must be an SQLite database",
        value=url,
        mend="Write it like sqlite:///plant/wideroll.db.",
    )


def _plain(error: DBAPIError, where: str) -> WiderollError:
    if isinstance(error, OperationalError):
        return InputError(
            where=where,
            rule="the database must be there, free and writable",
            value=str(error.orig),
            mend="Check the folder, its rights and its space, and that no program holds the database.",
        )
    return RecordError(
        where=where,
        rule="the database must be sound",
        value=str(error.orig),
        mend="Stop, keep the file as it is and restore a backup beside it.",
    )
