"""A record's database of any earlier form is brought to today's, and loses nothing."""

import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine

from wideroll.errors import InputError
from wideroll.record import append_event, written
from wideroll.store import RecordStore, migrations
from wideroll.store.migrations import NEWEST, running

_OLD = Path(__file__).parent / "record_without_form.sql"
_OPEN = "import sys; from wideroll.store import RecordStore; RecordStore(sys.argv[1]).close()"


@pytest.fixture
def old(tmp_path):
    """A database as wideroll made it before forms were numbered, with nine events, and those events."""
    path = tmp_path / "wideroll.db"
    rows = []
    last = None
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.executescript(_OLD.read_text(encoding="utf-8"))
        for n in range(9):
            body = {"roll": f"W-{n % 3}", "share": 0.93, "note": "“µ” ☢", "n": n}
            last = append_event(
                last, act="decision", who="R. Engineer", when_utc="2026-03-01T08:00:00Z", version="0.1.0", body=body
            )
            rows.append(tuple(written(last)))
            connection.execute("INSERT INTO events VALUES (?,?,?,?,?,?,?,?)", rows[-1])
        connection.commit()
    return path, rows


def _rows(path):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT * FROM events ORDER BY number").fetchall()


def test_an_old_database_is_upgraded_and_loses_nothing(old):
    """Every event and digest is as it was, the chain goes on from the last, and the database knows its form."""
    path, rows = old
    with RecordStore(f"sqlite:///{path}") as record:
        assert _rows(path) == rows
        assert record.verify().intact
        assert record.last("decision", "W-1").number == 8
        assert record.append("decision", "R", "2026-03-01T08:00:00Z", "0.1.0", {}).previous == rows[-1][-1]
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [(NEWEST,)]
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute("DELETE FROM events")


def test_opening_again_changes_nothing(old):
    """A database of today's form isn't written to by opening it."""
    path, _ = old
    RecordStore(f"sqlite:///{path}").close()
    before = path.read_bytes()
    RecordStore(f"sqlite:///{path}").close()
    assert path.read_bytes() == before


def test_an_upgrade_that_fails_leaves_the_old_form(old, monkeypatch):
    """When the work stops in the middle, the database is as it was, and the next opening does it whole."""
    path, rows = old

    def stop(connection):
        running.bring_up_to_date(connection)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("wideroll.store.record_db.bring_up_to_date", stop)
        with pytest.raises(KeyboardInterrupt):
            RecordStore(f"sqlite:///{path}")
    with closing(sqlite3.connect(path)) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    assert not names & {"alembic_version", "events_by_act", "events_begin"}
    with RecordStore(f"sqlite:///{path}") as record:
        assert [tuple(row) for row in record.rows()] == rows


def test_processes_that_open_at_once_upgrade_once(old):
    """Three processes that open an old database at the same time all find it upgraded."""
    path, rows = old
    running_now = [subprocess.Popen([sys.executable, "-c", _OPEN, f"sqlite:///{path}"]) for _ in range(3)]
    assert [process.wait(timeout=60) for process in running_now] == [0, 0, 0]
    assert _rows(path) == rows


def test_a_database_of_a_newer_form_is_left_alone(database):
    """What a newer wideroll made isn't written to: one clear error."""
    RecordStore(database).close()
    engine = create_engine(database)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'r9999'")
    engine.dispose()
    with pytest.raises(InputError, match="'r9999'"):
        RecordStore(database)


def test_the_newest_form_is_the_last_script():
    """The form that the code names is that of the last script, and every script is known."""
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    scripts = ScriptDirectory.from_config(config)
    assert scripts.get_heads() == [NEWEST]
    assert {script.revision for script in scripts.walk_revisions()} == set(running.KNOWN)
