"""Reading the table of events: all of them, those that name something, the last of an act."""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final, cast

from sqlalchemy import BigInteger, Column, ColumnElement, Connection, MetaData, Row, Table, Text, or_, select

from wideroll.errors import RecordError
from wideroll.record import Event, Written, is_canonical
from wideroll.store.record_engine import bare_parts

__all__ = [
    "EVENTS",
    "ROWS",
    "Picked",
    "event_of",
    "events_of_act",
    "last_event",
    "last_of",
    "last_of_act",
    "naming",
    "newest_first",
    "row_at",
    "rows_after",
]

ROWS: Final = 2000
_FEW: Final = 8
_PAGE: Final = 100
_AS_WRITTEN: Final = cast("Callable[[Sequence[Any]], Written]", partial(tuple.__new__, Written))
"""As ``Written._make``, in a third of its time."""
EVENTS: Final = Table(
    "events",
    MetaData(),
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    *(Column(name, Text, nullable=False) for name in Written._fields[1:]),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """Which events are asked for; an empty text asks for all.

    Args:
        act: what was done.
        who: did it, or a part of the name.
        name: stands in the event's body as a text of its own, such as a roll's.
        from_utc: done then or later, like 2026-10-01T00:00:00+00:00.
        before_utc: done earlier.
        below: only events with a smaller number; None for all.
    """

    act: str = ""
    who: str = ""
    name: str = ""
    from_utc: str = ""
    before_utc: str = ""
    below: int | None = None

    def parts(self) -> Iterator[ColumnElement[bool]]:
        """The same for the database."""
        if self.act:
            yield EVENTS.c.act == self.act
        if self.who:
            yield EVENTS.c.who.icontains(self.who, autoescape=True)
        if self.name:
            yield _named(self.name)
        if self.from_utc:
            yield EVENTS.c.when_utc >= self.from_utc
        if self.before_utc:
            yield EVENTS.c.when_utc < self.before_utc
        if self.below is not None:
            yield EVENTS.c.number < self.below


def newest_first(connection: Connection, wanted: Picked) -> Iterator[Written]:
    """The events asked for, the newest first."""
    chosen = select(EVENTS).where(*wanted.parts()).order_by(EVENTS.c.number.desc())
    with connection.execute(chosen.execution_options(yield_per=_PAGE)) as rows:
        for part in rows.partitions():
            yield from map(_AS_WRITTEN, part)


def row_at(connection: Connection, number: int) -> Written | None:
    """The event of a number, unread; None where there is none."""
    row = connection.execute(select(EVENTS).where(EVENTS.c.number == number)).first()
    return None if row is None else _written(row)


def rows_after(connection: Connection, number: int) -> Iterator[Written]:
    """The events after a number, in order."""
    ordered = select(EVENTS).where(EVENTS.c.number > number).order_by(EVENTS.c.number)
    bare = connection.dialect.name == "sqlite"
    with connection.execute(ordered if bare else ordered.execution_options(yield_per=ROWS)) as result:
        for part in bare_parts(connection, result, ROWS) if bare else result.partitions():
            yield from map(_AS_WRITTEN, part)


def naming(connection: Connection, acts: Sequence[str], names: Sequence[str]) -> Iterator[Written]:
    """The events of some acts whose body holds one of the names, in order; without names all of them."""
    chosen = select(EVENTS).where(EVENTS.c.act.in_(acts)).order_by(EVENTS.c.number)
    if names:
        chosen = chosen.where(or_(*map(_named, names)))
    with connection.execute(chosen.execution_options(yield_per=ROWS)) as rows:
        for part in rows.partitions():
            yield from map(_AS_WRITTEN, part)


def events_of_act(connection: Connection, act: str, after: int) -> Iterator[Event]:
    """The events of an act with a greater number than ``after``, in order."""
    chosen = select(EVENTS).where(EVENTS.c.number > after, EVENTS.c.act == act).order_by(EVENTS.c.number)
    with connection.execute(chosen.execution_options(yield_per=ROWS)) as rows:
        for row in rows:
            yield event_of(_written(row))


def _named(name: str) -> ColumnElement[bool]:
    """The body holds the name as a text of its own."""
    return EVENTS.c.body.contains(json.dumps(name, ensure_ascii=False), autoescape=True)


def last_event(connection: Connection) -> Event | None:
    """The last event, or None where there is none."""
    row = connection.execute(select(EVENTS).order_by(EVENTS.c.number.desc()).limit(1)).first()
    return None if row is None else event_of(_written(row))


def last_of(connection: Connection, acts: Sequence[str], roll: str) -> Event | None:
    """The last event of any of some acts on a roll."""
    found = (last_of_act(connection, act, roll) for act in acts)
    return max((one for one in found if one is not None), key=lambda one: one.number, default=None)


def last_of_act(connection: Connection, act: str, roll: str) -> Event | None:
    """Read from the newest; the text of the name sorts out most others before they are read."""
    newest = select(EVENTS).where(EVENTS.c.act == act, _named(roll)).order_by(EVENTS.c.number.desc())
    with connection.execute(newest.execution_options(yield_per=_FEW)) as rows:
        for row in rows:
            found = event_of(_written(row))
            if found.body.get("roll") == roll:
                return found
    return None


def _written(row: Row[Any]) -> Written:
    return Written._make(row)


def event_of(row: Written) -> Event:
    """The event that a row holds.

    Raises:
        RecordError: when it can't be read.
    """
    row = Written._make(row)
    if not all(isinstance(value, int if name == "number" else str) for name, value in row._asdict().items()):
        raise _unreadable(row, "its fields aren't of their types")
    try:
        body = json.loads(row.body)
    except (ValueError, RecursionError) as error:
        raise _unreadable(row, "its body isn't JSON") from error
    if not is_canonical(row.body):
        raise _unreadable(row, "its body isn't in canonical form")
    return Event(**row._asdict() | {"body": body})


def _unreadable(row: Written, why: str) -> RecordError:
    return RecordError(where=f"event {row.number}", rule=why, mend="Stop, keep the database as it is and investigate.")
