"""The record of who did what, in a database that itself refuses to change or drop an event."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import islice
from typing import Self

from sqlalchemy import Connection, insert
from sqlalchemy.exc import OperationalError

from wideroll.errors import InputError, RecordError
from wideroll.record import (
    CHECKPOINT,
    GENESIS,
    Checkpoint,
    Event,
    Json,
    RecordReport,
    Written,
    append_event,
    checkpoint_json,
    prove_record,
    written,
)
from wideroll.store.evidence import Lookup
from wideroll.store.migrations import NEWEST, bring_up_to_date, revision_of
from wideroll.store.record_engine import begin, open_engine, read_damaged_text
from wideroll.store.record_rows import (
    EVENTS,
    ROWS,
    Picked,
    event_of,
    events_of_act,
    last_event,
    last_of,
    last_of_act,
    naming,
    newest_first,
    row_at,
    rows_after,
)

__all__ = ["OvertakenError", "RecordStore", "Standing", "prove_read"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What a person knows when they begin: the number of a roll's last event of some acts, 0 where there is none."""

    acts: tuple[str, ...]
    roll: str
    number: int


class OvertakenError(InputError):
    """Somebody else acted on the same roll in the meantime; ``event`` is theirs."""

    event: Event


class RecordStore:
    """The record in a database; any number of processes may append at once, and all get into one chain.

    Args:
        url: such as ``sqlite:///plant/wideroll.db`` or ``postgresql+psycopg://desk@server/record``. The table is made
            when it isn't there, and brought into today's form when an older version made it.

    Raises:
        InputError: when the database can't be opened, or a newer version of wideroll made it.
        RecordError: when it isn't a sound database.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder, RecordStore(f"sqlite:///{folder}/wideroll.db") as record:
        ...     _ = record.append("decide", "R. Engineer", "2026-03-01T08:00:00Z", "0.1.0", {"roll": "4711"})
        ...     record.verify().intact
        True
    """

    def __init__(self, url: str) -> None:
        """Open the database, and make or bring up to date its table where that is needed."""
        self._engine = open_engine(url)
        try:
            with begin(self._engine, write=False) as connection:
                done = revision_of(connection) == NEWEST
            if not done:
                with begin(self._engine, write=True) as connection:
                    bring_up_to_date(connection)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        """The store, closed at the end of the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the database."""
        self.close()

    def close(self) -> None:
        """Close the database; a store that is used again opens it again."""
        self._engine.dispose()

    def append(
        self,
        act: str,
        who: str,
        when_utc: str,
        version: str,
        body: Mapping[str, Json],
        *,
        after: Standing | None = None,
    ) -> Event:
        """Add an event after the last; when this returns, it is on the disk.

        Args:
            act: what was done.
            who: did it.
            when_utc: as of ``append_event``.
            version: of the software.
            body: what the act was about.
            after: refuse where the last event of those acts on that roll isn't this one any more.

        Raises:
            ArgumentError: when the body has no canonical form.
            OvertakenError: when somebody else came first; nothing is added.
            RecordError: when the last event doesn't hold what was written.
            InputError: when the database is held for too long or the disk refuses.
        """
        return self.append_all(act, who, when_utc, version, [body], after=() if after is None else (after,))[0]

    def append_all(
        self,
        act: str,
        who: str,
        when_utc: str,
        version: str,
        bodies: Sequence[Mapping[str, Json]],
        *,
        after: Sequence[Standing] = (),
    ) -> tuple[Event, ...]:
        """Add an event for each body after the last, all of them or none, and nobody else's between them.

        Args:
            act: what was done.
            who: did it.
            when_utc: as of ``append_event``.
            version: of the software.
            bodies: what the acts were about.
            after: refuse all where one of these isn't the last on its roll any more.

        Raises:
            ArgumentError: when a body has no canonical form.
            OvertakenError: when somebody else came first; nothing is added.
            RecordError: when the last event doesn't hold what was written.
            InputError: when the database is held for too long or the disk refuses.
        """
        with begin(self._engine, write=True) as connection:
            _check_first(connection, after, who)
            return _added(connection, [(act, body) for body in bodies], who, when_utc, version)

    def append_made(
        self,
        make: Callable[[Lookup], Sequence[tuple[str, Mapping[str, Json]]]],
        who: str,
        when_utc: str,
        version: str,
    ) -> tuple[Event, ...]:
        """Add what is found to be needed, all of it or none, while nobody else can add anything.

        Args:
            make: given what finds events, tells the acts, each with its body; where there are none nothing is added.
            who: did it.
            when_utc: as of ``append_event``.
            version: of the software.

        Raises:
            ArgumentError: when a body has no canonical form.
            RecordError: when the last event doesn't hold what was written.
            InputError: when the database is held for too long or the disk refuses; and whatever ``make`` raises.
        """
        with begin(self._engine, write=True) as connection:
            return _added(connection, make(partial(naming, connection)), who, when_utc, version)

    def naming(self, acts: Sequence[str], names: Sequence[str] = ()) -> Iterator[Written]:
        """Events of some acts whose body names any of some names, in order; all of these acts where none is given.

        A name is found wherever it stands in the body as a text of its own; whether it means what is asked for is the
        caller's to see.

        Raises:
            RecordError: when the database isn't sound.
        """
        with begin(self._engine, write=False) as connection:
            yield from naming(connection, acts, names)

    def append_checkpoint(self, sign: Callable[[int, str], Checkpoint]) -> Event:
        """Add a checkpoint under all events there are, none of which can come between.

        Args:
            sign: makes it from the number of events and the digest of the last.

        Raises:
            ArgumentError: when there is nothing to sign.
            InputError: when the database is held for too long or the disk refuses.
            RecordError: when the last event doesn't hold what was written.
        """
        with begin(self._engine, write=True) as connection:
            previous = last_event(connection)
            one = sign(*((0, "") if previous is None else (previous.number, previous.digest)))
            added = append_event(
                previous,
                act=CHECKPOINT,
                who=one.who,
                when_utc=one.when_utc,
                version=one.version,
                body=checkpoint_json(one),
            )
            connection.execute(insert(EVENTS), written(added)._asdict())
        return added

    @contextmanager
    def held(self) -> Iterator[tuple[int, str]]:
        """How many events there are and the digest of the last, while nobody can append.

        Raises:
            InputError: when the database is held for too long.
            RecordError: when the last event doesn't hold what was written.
        """
        with begin(self._engine, write=True) as connection:
            last = last_event(connection)
            yield (0, GENESIS) if last is None else (last.number, last.digest)

    def fill(self, rows: Iterable[Written]) -> None:
        """Put events as they were kept into a record that has none yet, all of them or none.

        Args:
            rows: the events in order.

        Raises:
            InputError: when there is an event already, or the disk refuses.
            RecordError: when the events don't follow each other.
        """
        with begin(self._engine, write=True) as connection:
            last = last_event(connection)
            if last is not None:
                raise InputError(
                    where="record's database",
                    rule="must have no events yet",
                    value=last.number,
                    mend="Name another database, or an empty one.",
                )
            left = iter(rows)
            while part := [row._asdict() for row in islice(left, ROWS)]:
                connection.execute(insert(EVENTS), part)

    def last(self, act: str, roll: str) -> Event | None:
        """The last event of an act whose body names the roll.

        Raises:
            RecordError: at an event that can't be read, or when the database isn't sound.
        """
        with begin(self._engine, write=False) as connection:
            return last_of_act(connection, act, roll)

    def of_act(self, act: str, *, after: int = 0) -> Iterator[Event]:
        """The events of an act in order, those with a greater number than ``after``.

        Raises:
            RecordError: at an event that can't be read, or when the database isn't sound.
        """
        with begin(self._engine, write=False) as connection:
            yield from events_of_act(connection, act, after)

    def standing(self, acts: Sequence[str], roll: str) -> Standing:
        """What stands on a roll now, for whoever begins to work on it.

        Raises:
            RecordError: at an event that can't be read, or when the database isn't sound.
        """
        with begin(self._engine, write=False) as connection:
            last = last_of(connection, acts, roll)
        return Standing(acts=tuple(acts), roll=roll, number=0 if last is None else last.number)

    def check_first(self, after: Sequence[Standing], who: str) -> None:
        """Refuse where something else came on one of the rolls since.

        Raises:
            OvertakenError: naming whose it is.
        """
        with begin(self._engine, write=False) as connection:
            _check_first(connection, after, who)

    def newest(self, wanted: Picked) -> Iterator[Written]:
        """Events as they are kept, unread, the newest first; as many are read as are taken.

        Args:
            wanted: which of them.

        Raises:
            RecordError: when the database isn't sound.
        """
        with begin(self._engine, write=False) as connection:
            yield from newest_first(connection, wanted)

    def row(self, number: int) -> Written | None:
        """An event as it is kept, unread; None where there is none of that number.

        Raises:
            RecordError: when the database isn't sound.
        """
        with begin(self._engine, write=False) as connection:
            return row_at(connection, number)

    def events(self) -> Iterator[Event]:
        """The events in order, as they were when the first is taken.

        Raises:
            RecordError: at an event that can't be read, or when the database isn't sound.
        """
        for row in self.rows():
            yield event_of(row)

    def rows(self) -> Iterator[Written]:
        """The events as they are kept, unread, in order and as they were when the first is taken.

        Raises:
            RecordError: when the database isn't sound.
        """
        read = 0
        with begin(self._engine, write=False) as connection:
            try:
                for row in rows_after(connection, read):
                    read = row[0]
                    yield row
            except OperationalError:
                if not read_damaged_text(connection):
                    raise
                yield from rows_after(connection, read)

    def verify(self, *, kept: Collection[Checkpoint] = (), trusted: Collection[str] = ()) -> RecordReport:
        """Check every event, its link to the one before, and signatures; a record that can't be read doesn't hold.

        Args:
            kept: checkpoints from elsewhere.
            trusted: public keys.
        """
        return prove_read(self.rows(), kept=kept, trusted=trusted)


def prove_read(
    rows: Iterable[Written], *, kept: Collection[Checkpoint] = (), trusted: Collection[str] = ()
) -> RecordReport:
    """As ``prove_record``; the event that can't be read fails where reading stops."""
    read = 0

    def counted() -> Iterator[Written]:
        nonlocal read
        for read, row in enumerate(rows, start=1):  # noqa: B007  -- counts for the report below
            yield row

    try:
        return prove_record(counted(), kept=kept, trusted=trusted)
    except RecordError as error:
        why = f"reading: {error.rule}, and this event can't be read ({error.value})"
        return RecordReport(events=read + 1, intact=False, first_bad=read + 1, why=why)


def _added(
    connection: Connection, acts: Sequence[tuple[str, Mapping[str, Json]]], who: str, when_utc: str, version: str
) -> tuple[Event, ...]:
    added: list[Event] = []
    previous = last_event(connection) if acts else None
    for act, body in acts:
        previous = append_event(previous, act=act, who=who, when_utc=when_utc, version=version, body=body)
        connection.execute(insert(EVENTS), written(previous)._asdict())
        added.append(previous)
    return tuple(added)


def _check_first(connection: Connection, after: Iterable[Standing], who: str) -> None:
    for begun in after:
        last = last_of(connection, begun.acts, begun.roll)
        if last is not None and last.number != begun.number:
            raise _overtaken(last, begun.roll, who)


def _overtaken(last: Event, roll: str, who: str) -> OvertakenError:
    error = OvertakenError(
        where=f"roll {roll}",
        rule=f"{last.who} was first: event {last.number} of the record, {last.act} at {last.when_utc}, "
        f"came while {who} worked",
        mend="Nothing was added. Look at theirs, and run the command again if yours is still needed.",
    )
    error.event = last
    return error
