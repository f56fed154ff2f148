"""In PostgreSQL neither the desk's role nor the table's owner changes an event by mistake; who means to is named."""

import psycopg
import pytest

from wideroll.store import RecordStore

_BY = ("R. Engineer", "2026-03-01T08:00:00Z", "0.1.0")
_CHANGES = (
    "UPDATE events SET who = 'somebody else' WHERE number = 2",
    "DELETE FROM events WHERE number = 3",
    "TRUNCATE events",
    "INSERT INTO events SELECT * FROM events WHERE number = 2 ON CONFLICT (number) DO UPDATE SET who = 'else'",
)
_GUARDS_AWAY = (
    "DROP TRIGGER events_stay ON events",
    "ALTER TABLE events DISABLE TRIGGER ALL",
    "CREATE OR REPLACE FUNCTION events_refuse() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NEW; END'",
    "SET session_replication_role = replica",
    "DROP TABLE events",
    "GRANT UPDATE ON events TO CURRENT_USER",
)


@pytest.fixture
def roles(postgresql):
    """A record of three events that belongs to a plain role, and another role that may read and append alone."""
    url = postgresql.new_database()
    database = url.partition("?")[0].rpartition("/")[2]
    owner, desk = f"owner_{database}", f"desk_{database}"
    with postgresql.connect(url) as connection:
        for role in (owner, desk):
            connection.execute(f"CREATE ROLE {role} LOGIN")
        connection.execute(f"ALTER DATABASE {database} OWNER TO {owner}")
    addresses = [url.replace("postgres@", f"{role}@") for role in (owner, desk)]
    with RecordStore(addresses[0]) as record:
        for n in range(3):
            record.append("note", *_BY, {"roll": "4711", "n": n})
    with psycopg.connect(_plain(addresses[0])) as connection:
        connection.execute(f"GRANT SELECT, INSERT ON events TO {desk}")
        connection.execute(f"GRANT SELECT ON alembic_version TO {desk}")
    return addresses


def _plain(url):
    return url.replace("+psycopg", "")


def _run(url, *statements):
    with psycopg.connect(_plain(url)) as connection:
        for statement in statements:
            connection.execute(statement)


def test_a_role_that_appends_alone_is_enough(roles):
    """The desk's role appends and verifies, though nothing else of the database is its own."""
    with RecordStore(roles[1]) as record:
        assert record.append("note", *_BY, {"roll": "4711"}).number == 4
        assert record.verify().intact


def test_the_desks_role_can_neither_change_an_event_nor_take_a_guard_away(roles):
    """Each way is refused for want of rights."""
    for statement in (*_CHANGES, *_GUARDS_AWAY[:-1]):
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            _run(roles[1], statement)
    # Without the right to grant, PostgreSQL warns and grants nothing.
    _run(roles[1], _GUARDS_AWAY[-1])
    with pytest.raises(psycopg.errors.InsufficientPrivilege):
        _run(roles[1], _CHANGES[0])
    with RecordStore(roles[0]) as record:
        assert record.verify().intact
        assert record.verify().events == 3


def test_the_owner_changes_nothing_by_mistake(roles):
    """What the owner types is refused for want of rights; where it grants them to itself, by the triggers."""
    for statement in _CHANGES:
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            _run(roles[0], statement)
    for statement in _CHANGES[:3]:
        with pytest.raises(psycopg.errors.IntegrityConstraintViolation, match="append-only"):
            _run(roles[0], "GRANT ALL ON events TO CURRENT_USER", statement)
    with RecordStore(roles[0]) as record:
        assert record.verify().intact


@pytest.mark.parametrize(("statement", "first_bad"), [(_CHANGES[0], 2), (_CHANGES[1], 4)])
def test_who_takes_the_guards_away_is_found(roles, statement, first_bad):
    """An owner who drops the triggers and changes an event gets that far, and verify names the event."""
    if first_bad == 4:  # what follows the event that is taken away
        with RecordStore(roles[0]) as record:
            record.append("note", *_BY, {})
    guards = [f"DROP TRIGGER {name} ON events" for name in ("events_stay", "events_stay_together", "events_follow")]
    _run(roles[0], "GRANT ALL ON events TO CURRENT_USER", *guards, statement)
    with RecordStore(roles[1]) as record:
        assert record.verify().first_bad == first_bad
