"""Running the migrations on a database in hand, within the transaction it is in."""

from importlib.resources import as_file, files
from typing import Any, Final

from sqlalchemy import Connection, inspect, select, text
from sqlalchemy.sql import column, table

from wideroll.errors import InputError

__all__ = ["KNOWN", "NEWEST", "bring_up_to_date", "revision_of"]

NEWEST: Final = "r0002"
"""The form of the database that this version of wideroll writes; a test holds it to the scripts."""
KNOWN: Final = ("r0001", NEWEST)
"""All forms, the oldest first."""
_LOCK: Final = "SELECT pg_advisory_xact_lock(7524412)"


def revision_of(connection: Connection) -> str | None:
    """The form the database has; None before it was made, or when made before forms were numbered.

    Raises:
        InputError: when a newer version of wideroll made it.
    """
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(select(column("version_num")).select_from(table("alembic_version"))).scalar()
    if found is not None and found not in KNOWN:
        raise InputError(
            where="record's database",
            rule=f"its form must be known to this version of wideroll, which knows up to {NEWEST}",
            value=found,
            mend="Use the version of wideroll that wrote it last, or a newer one.",
        )
    return found


def bring_up_to_date(connection: Connection) -> None:
    """Make the database, or change its form to today's; no event is touched.

    Args:
        connection: in a transaction that may write. Whoever comes second waits and then finds it done.

    Raises:
        InputError: when a newer version of wideroll made it.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text(_LOCK))
    if revision_of(connection) != NEWEST:
        _upgrade(connection)


def _upgrade(connection: Connection) -> None:
    # Loaded only when there is something to do, which is once in a database's life.
    from alembic.config import Config  # noqa: PLC0415
    from alembic.runtime.environment import EnvironmentContext  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    with as_file(files("wideroll.store.migrations")) as folder:
        config = Config()
        config.set_main_option("script_location", str(folder).replace("%", "%%"))
        scripts = ScriptDirectory.from_config(config)

        def steps(revision: Any, _: Any) -> Any:
            return scripts._upgrade_revs(NEWEST, revision)  # noqa: SLF001  -- as alembic's own command does

        with EnvironmentContext(config, scripts, fn=steps, destination_rev=NEWEST) as environment:
            environment.configure(connection=connection)
            environment.run_migrations()
