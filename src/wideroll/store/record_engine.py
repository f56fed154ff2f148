"""Connections to the record's database, SQLite or PostgreSQL, each told to be durable and to wait for others."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any, Final

from sqlalchemy import URL, Connection, CursorResult, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError as UrlError
from sqlalchemy.exc import DBAPIError, NoSuchModuleError, OperationalError

from wideroll.errors import InputError, RecordError, WiderollError

__all__ = ["bare_parts", "begin", "open_engine", "read_damaged_text"]

_WAIT_S: Final = 60
_CONNECT_S: Final = 10
_POSTGRESQL: Final = "postgresql+psycopg"
# One writer at a time in a database; the lock goes with the transaction, however it ends.
_LOCK: Final = text("SELECT pg_advisory_xact_lock(7524413)")
_DURABLE: Final = text(
    f"SELECT set_config('synchronous_commit', 'on', true), set_config('lock_timeout', '{_WAIT_S}s', true)"
)


def open_engine(url: str) -> Engine:
    """Where connections to the database come from; none is made yet.

    Args:
        url: ``sqlite:///path`` or ``postgresql+psycopg://user@host/database``.

    Raises:
        InputError: when the address is neither, or what speaks to PostgreSQL isn't installed.
    """
    parsed = _parsed(url)
    if parsed.get_backend_name() == "sqlite":
        engine = create_engine(parsed, connect_args={"timeout": _WAIT_S})
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        return engine
    try:
        engine = create_engine(parsed, connect_args={"connect_timeout": _CONNECT_S}, isolation_level="READ COMMITTED")
    except ModuleNotFoundError as error:
        raise InputError(
            where="address of the record",
            rule="what speaks to PostgreSQL must be installed",
            value=parsed.render_as_string(),
            mend="Install wideroll with its extra: wideroll[postgres].",
        ) from error
    event.listen(engine, "begin", _begin_postgresql)
    return engine


@contextmanager
def begin(engine: Engine, *, write: bool) -> Iterator[Connection]:
    """A transaction; one that writes is the only one that does, from its beginning.

    Raises:
        InputError: when the database can't be reached, is held for too long, or the disk refuses.
        RecordError: when the database isn't sound.
    """
    try:
        with engine.execution_options(wideroll_writes=write).begin() as connection:
            yield connection
    except DBAPIError as error:
        raise _plain(error, engine.url.render_as_string()) from error
    except UnicodeDecodeError as error:
        # SQLite's driver stumbles over its own message where that quotes damaged text.
        raise _unsound(engine.url.render_as_string(), error) from error


def read_damaged_text(connection: Connection) -> bool:
    """From now on read damaged text with a sign in its place, so that its event is found and named.

    Not from the beginning, as it takes twice the time. Only SQLite keeps such text.

    Returns:
        Whether anything changed by it.
    """
    bare: Any = connection.connection.dbapi_connection
    if connection.dialect.name != "sqlite" or bare.text_factory is not str:
        return False
    bare.text_factory = partial(str, encoding="utf-8", errors="replace")
    return True


def bare_parts(connection: Connection, result: CursorResult[Any], size: int) -> Iterator[list[tuple[Any, ...]]]:
    """The rows of a result so many at a time, as the driver gives them: a third of the time of reading goes else.

    Raises:
        DBAPIError: as the result itself would.
    """
    cursor: Any = result.cursor
    errors = connection.dialect.loaded_dbapi.Error
    try:
        while part := cursor.fetchmany(size):
            yield part
    except errors as error:
        raise DBAPIError.instance(None, None, error, errors, dialect=connection.dialect) from error


def _parsed(url: str) -> URL:
    try:
        parsed = make_url(url)
        backend = parsed.get_backend_name()
    except (UrlError, NoSuchModuleError) as error:
        raise _no_url(url) from error
    if parsed.drivername == "postgresql":
        return parsed.set(drivername=_POSTGRESQL)
    if backend == "sqlite" or parsed.drivername == _POSTGRESQL:
        return parsed
    raise _no_url(parsed.render_as_string())


def _prepare_sqlite(connection: Any, _: object) -> None:
    # The driver's own idea of transactions is turned off: BEGIN is said where it is meant.
    connection.isolation_level = None
    for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        connection.execute(f"PRAGMA {setting}")


def _begin_sqlite(connection: Connection) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE" if _writes(connection) else "BEGIN")


def _begin_postgresql(connection: Connection) -> None:
    if _writes(connection):
        connection.execute(_DURABLE)
        connection.execute(_LOCK)


def _writes(connection: Connection) -> bool:
    return bool(connection.get_execution_options().get("wideroll_writes", False))


def _no_url(url: str) -> InputError:
    return InputError(
        where="address of the record",
        rule="must be an SQLite or PostgreSQL database",
        value=url,
        mend="Write it like sqlite:///plant/wideroll.db or postgresql+psycopg://desk@server/record.",
    )


def _plain(error: DBAPIError, where: str) -> WiderollError:
    state = getattr(error.orig, "sqlstate", None) or ""
    # Of PostgreSQL: 42501 is a missing right; 53 and 57, no room and a server that stops, are operational anyway.
    if state == "42501" or (isinstance(error, OperationalError) and not state.startswith("XX")):
        return InputError(
            where=where,
            rule="the database must be there, free and writable",
            value=str(error.orig),
            mend="Check the folder or server, its rights and its space, and that no program holds the database.",
        )
    return _unsound(where, error.orig)


def _unsound(where: str, why: object) -> RecordError:
    return RecordError(
        where=where,
        rule="the database must be sound",
        value=str(why),
        mend="Stop, keep the database as it is and restore a backup beside it.",
    )
