"""The events and their guards, as they were before forms were numbered; an SQLite database of then stays as it is."""

from typing import Final

from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision: Final = "r0001"
down_revision: Final = None

_TABLE: Final = """
CREATE TABLE IF NOT EXISTS events (
    number {number} NOT NULL,
    act TEXT NOT NULL,
    who TEXT NOT NULL,
    when_utc TEXT NOT NULL,
    version TEXT NOT NULL,
    body TEXT NOT NULL,
    previous TEXT NOT NULL,
    digest TEXT NOT NULL,
    PRIMARY KEY (number)
)"""

# An event that doesn't follow the last is refused too: INSERT OR REPLACE drops rows without asking a DELETE trigger.
_SQLITE: Final = (
    _TABLE.format(number="INTEGER") + " STRICT",
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

_POSTGRESQL: Final = (
    _TABLE.format(number="BIGINT"),
    """CREATE FUNCTION events_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'the record is append-only: no event may be changed or removed'
            USING ERRCODE = 'integrity_constraint_violation';
    END $$""",
    """CREATE FUNCTION events_follow() RETURNS trigger LANGUAGE plpgsql AS $$
    DECLARE
        last_number BIGINT;
        last_digest TEXT;
    BEGIN
        SELECT number, digest INTO last_number, last_digest FROM events ORDER BY number DESC LIMIT 1;
        IF FOUND AND (NEW.number <> last_number + 1 OR NEW.previous <> last_digest) THEN
            RAISE EXCEPTION 'the record is append-only: an event must follow the last'
                USING ERRCODE = 'integrity_constraint_violation';
        END IF;
        RETURN NEW;
    END $$""",
    """CREATE TRIGGER events_stay BEFORE UPDATE OR DELETE ON events
    FOR EACH ROW EXECUTE FUNCTION events_refuse()""",
    """CREATE TRIGGER events_stay_together BEFORE TRUNCATE ON events
    FOR EACH STATEMENT EXECUTE FUNCTION events_refuse()""",
    """CREATE TRIGGER events_follow BEFORE INSERT ON events FOR EACH ROW EXECUTE FUNCTION events_follow()""",
    # Also where a session claims to replicate, in which other triggers keep still.
    "ALTER TABLE events ENABLE ALWAYS TRIGGER events_stay",
    "ALTER TABLE events ENABLE ALWAYS TRIGGER events_stay_together",
    "ALTER TABLE events ENABLE ALWAYS TRIGGER events_follow",
    "REVOKE UPDATE, DELETE, TRUNCATE ON events FROM PUBLIC, CURRENT_USER",
)


def upgrade() -> None:
    """Make what isn't there."""
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(statement)
