"""The first event is held to be the first, and the last event of an act is found without reading all."""

from typing import Final

from alembic import op

__all__ = ["down_revision", "revision", "upgrade"]

revision: Final = "r0002"
down_revision: Final = "r0001"

_INDEX: Final = "CREATE INDEX events_by_act ON events (act, number)"

_SQLITE: Final = (
    _INDEX,
    """CREATE TRIGGER events_begin BEFORE INSERT ON events
    WHEN NOT EXISTS (SELECT 1 FROM events) AND (NEW.number <> 1 OR NEW.previous <> printf('%.64d', 0))
    BEGIN SELECT RAISE(ABORT, 'the record is append-only: the first event must be number 1'); END""",
)

_POSTGRESQL: Final = (
    _INDEX,
    """CREATE OR REPLACE FUNCTION events_follow() RETURNS trigger LANGUAGE plpgsql AS $$
    DECLARE
        last_number BIGINT;
        last_digest TEXT;
    BEGIN
        SELECT number, digest INTO last_number, last_digest FROM events ORDER BY number DESC LIMIT 1;
        IF NEW.number <> coalesce(last_number, 0) + 1 OR NEW.previous <> coalesce(last_digest, repeat('0', 64)) THEN
            RAISE EXCEPTION 'the record is append-only: an event must follow the last'
                USING ERRCODE = 'integrity_constraint_violation';
        END IF;
        RETURN NEW;
    END $$""",
)


def upgrade() -> None:
    """Add the index and the rule of the first event."""
    for statement in _SQLITE if op.get_bind().dialect.name == "sqlite" else _POSTGRESQL:
        op.execute(statement)
