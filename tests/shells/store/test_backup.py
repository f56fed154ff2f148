"""A plant and its record in one file, and back: on both databases."""

import os
import random
import resource
import shutil
import signal
import threading
import time
from contextlib import suppress

import pytest
from sqlalchemy import create_engine, inspect

from wideroll.errors import InputError, RecordError
from wideroll.record import sign_checkpoint
from wideroll.store import (
    CHECKPOINTS,
    RecordStore,
    nobody_seals,
    one_at_a_time,
    read_backup,
    restore_backup,
    save_checkpoint,
    write_backup,
    write_whole,
)
from wideroll.workflow import Silent

_BY = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0"}
_FILES = {
    "plant.toml": b'name = "Little Mere"\n',
    "rolls/4711/roll.toml": b'product = "sheet-100"\n',
    "rolls/4711/scan/scan.toml": b"",
    "rolls/4711/scan/segment-1.tif": bytes(range(256)) * 40,
    "results/4711/marks.parquet": b"PAR1 marks",
    "results/4711/cards/001.json": b"{}\n",
    "notes.old": b"a person's own",
}


def _append(record, count=1):
    for n in range(count):
        record.append("note", *_BY.values(), {"roll": "4711", "n": n, "words": "µ" * (n % 9)})


@pytest.fixture
def plant(tmp_path):
    """A plant's folder with what is written in passing beside what stays."""
    root = tmp_path / "plant"
    passing = ("wideroll.db-journal", "results/4711/state/sealing.lock", "results/4711/.cut.csv.0a.part")
    for name, data in _FILES.items() | {(name, b"passing") for name in passing}:
        write_whole(root / name, data)
    return root


@pytest.fixture
def record(database):
    """Thirty events and a checkpoint under them."""
    with RecordStore(database) as made:
        _append(made, 30)
        yield made


@pytest.fixture
def elsewhere(database, request):
    """What opens an empty record of the same kind for a folder that is put back."""
    url = None if database.startswith("sqlite") else request.getfixturevalue("postgresql").new_database()
    return lambda folder: RecordStore(url or f"sqlite:///{folder / 'wideroll.db'}")


def _on_sqlite(folder):
    return RecordStore(f"sqlite:///{folder / 'wideroll.db'}")


def _files(root):
    """Content of each file by its path, without the record and locks."""
    paths = (path for path in root.rglob("*") if path.is_file())
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in paths
        if not path.name.startswith("wideroll.db") and path.suffix not in {".lock", ".part"}
    }


def test_a_plant_comes_back_as_it_was(tmp_path, plant, record, elsewhere):
    """Files, events and checkpoints are those of before, the record verifies, and a second backup is the same."""
    record.append_checkpoint(
        lambda events, head: save_and_give(plant, sign_checkpoint(bytes(32), events, head, **_BY, says="seen"))
    )
    first, second = tmp_path / "a.backup", tmp_path / "deep" / "b.backup"
    manifest = write_backup(first, plant, record, Silent())
    write_backup(second, plant, record, Silent())
    assert first.read_bytes() == second.read_bytes()
    again = tmp_path / "again"
    again.mkdir()
    told, files = restore_backup(first, again, elsewhere, Silent())
    assert told == manifest == read_backup(first)
    assert files.first_bad is None
    assert _files(again) == _files(plant) != {}
    with elsewhere(again) as restored:
        assert list(restored.rows()) == list(record.rows())
        assert restored.verify().signed == 31
        write_backup(second, again, restored, Silent())
    assert first.read_bytes() == second.read_bytes()


def save_and_give(plant, checkpoint):
    """Keep a checkpoint as a file, too."""
    save_checkpoint(plant / CHECKPOINTS, checkpoint)
    return checkpoint


def test_the_record_is_events_alone(record, database):
    """A table that isn't the events' would not be in a backup: who makes one must give it its place there."""
    record.verify()
    engine = create_engine(database)
    assert set(inspect(engine).get_table_names()) == {"events", "alembic_version"}
    engine.dispose()


def test_others_append_and_write_meanwhile(tmp_path, plant, record, database, elsewhere):
    """While another appends and writes the file that each event names, the backup has for each event its file."""
    stop, done = threading.Event(), []

    def work():
        with RecordStore(database) as mine:
            while not stop.is_set():
                number = len(done)
                write_whole(plant / "results" / "4711" / f"{number}.json", b"{}")
                mine.append("card", *_BY.values(), {"roll": "4711", "file": number})
                done.append(number)
                time.sleep(0.001)

    worker = threading.Thread(target=work)
    worker.start()
    try:
        while len(done) < 5:
            time.sleep(0.01)
        write_backup(tmp_path / "a.backup", plant, record, Silent())
    finally:
        stop.set()
        worker.join()
    again = tmp_path / "again"
    restore_backup(tmp_path / "a.backup", again, elsewhere, Silent())
    with elsewhere(again) as restored:
        assert restored.verify().intact
        named = [event.body["file"] for event in restored.events() if event.act == "card"]
    assert named == list(range(len(named)))
    assert len(named) >= 5
    assert all((again / "results" / "4711" / f"{number}.json").is_file() for number in named)


def test_nobody_seals_during_the_last_look(plant):
    """Who seals holds the backup's last look off, and the last look holds off who wants to seal."""
    order = []

    def look():
        with nobody_seals(plant / "results"):
            order.append("look")

    with one_at_a_time(plant / "results" / "4711"):
        other = threading.Thread(target=look)
        other.start()
        time.sleep(0.05)
        order.append("sealed")
    other.join()
    assert order == ["sealed", "look"]


@pytest.mark.parametrize("seed", range(4))
def test_a_flipped_bit_in_a_backup_is_named_or_changes_nothing(tmp_path, plant, seed):
    """Of 40 flipped bits each is an error that names the file, and nothing is put in place; or it changed nothing."""
    rng = random.Random(seed)  # noqa: S311  -- places, no secrets
    with _on_sqlite(plant) as record:
        _append(record, 6)
        write_backup(tmp_path / "a.backup", plant, record, Silent())
        rows = list(record.rows())
    good = (tmp_path / "a.backup").read_bytes()
    bad, found = tmp_path / "bad.backup", 0
    for n in range(40):
        damaged = bytearray(good)
        damaged[rng.randrange(len(good))] ^= 1 << rng.randrange(8)
        bad.write_bytes(damaged)
        again = tmp_path / f"again-{n}"
        try:
            restore_backup(bad, again, _on_sqlite, Silent())
        except (RecordError, InputError) as error:
            assert str(bad) in str(error)  # noqa: PT017  -- either an error or the same content
            assert not again.exists()
            found += 1
            continue
        assert _files(again) == _files(plant)
        with _on_sqlite(again) as record:
            assert list(record.rows()) == rows
    assert found > 20
    assert not list(tmp_path.glob(".again*"))


def test_a_damaged_file_in_a_backup_is_named(tmp_path, plant):
    """A bit flipped in the content of a scan is told by the scan's name."""
    write_backup(tmp_path / "a.backup", plant, None, Silent())
    data = bytearray((tmp_path / "a.backup").read_bytes())
    data[data.index(bytes(range(256))) + 100] ^= 4
    (tmp_path / "a.backup").write_bytes(data)
    with pytest.raises(RecordError, match=r"rolls/4711/scan/segment-1\.tif"):
        restore_backup(tmp_path / "a.backup", tmp_path / "again", _on_sqlite, Silent())


def test_a_path_that_leads_elsewhere_is_refused(tmp_path, plant, monkeypatch):
    """A backup made to write outside the folder is refused, and nothing is written."""
    monkeypatch.setattr("wideroll.store.backup.plant_files", lambda root: {"../evil": root / "plant.toml"})
    write_backup(tmp_path / "a.backup", plant, None, Silent())
    with pytest.raises(RecordError, match="leads elsewhere"):
        restore_backup(tmp_path / "a.backup", tmp_path / "deep" / "again", _on_sqlite, Silent())
    assert not (tmp_path / "deep" / "evil").exists()
    assert list((tmp_path / "deep").iterdir()) == []


def test_without_scans_says_what_is_missing(tmp_path, plant):
    """The rasters are left out and listed with their lengths; the tables beside them are kept."""
    manifest = write_backup(tmp_path / "a.backup", plant, None, Silent(), without_scans=True)
    assert manifest.left_out == {"rolls/4711/scan/segment-1.tif": 10240}
    restore_backup(tmp_path / "a.backup", tmp_path / "again", _on_sqlite, Silent())
    assert _files(tmp_path / "again").keys() == _FILES.keys() - manifest.left_out.keys()


def test_what_is_there_is_never_written_over(tmp_path, plant, record, database):
    """A folder with files, a database with other events, a file that is no backup, a place in the plant: refused."""
    backup = tmp_path / "a.backup"
    write_backup(backup, plant, record, Silent())
    (tmp_path / "letter.txt").write_text("dear")
    for place in (tmp_path / "letter.txt", tmp_path, plant / "a.backup"):
        with pytest.raises(InputError):
            write_backup(place, plant, record, Silent())
    for place in (plant, tmp_path / "letter.txt"):
        with pytest.raises(InputError, match="new or empty"):
            restore_backup(backup, place, lambda _: RecordStore(database), Silent())
    with pytest.raises(InputError, match="must be a backup"):
        restore_backup(tmp_path / "letter.txt", tmp_path / "again", _on_sqlite, Silent())
    _append(record)
    with pytest.raises(InputError, match="no events yet"):
        restore_backup(backup, tmp_path / "again", lambda _: RecordStore(database), Silent())
    assert not (tmp_path / "again").exists()
    assert (tmp_path / "letter.txt").read_text() == "dear"


def test_a_restore_stopped_at_its_very_end_goes_on(tmp_path, plant, record, database):
    """A database that has just these events already is taken as put back."""
    write_backup(tmp_path / "a.backup", plant, record, Silent())
    restore_backup(tmp_path / "a.backup", tmp_path / "again", lambda _: RecordStore(database), Silent())
    assert (tmp_path / "again" / "plant.toml").is_file()


def test_a_record_that_does_not_hold_is_not_backed_up(tmp_path, plant, record, monkeypatch):
    """A changed event is named; no backup is written, and an older one stays."""
    write_backup(tmp_path / "a.backup", plant, record, Silent())
    before, rows = (tmp_path / "a.backup").read_bytes(), list(record.rows())
    rows[7] = rows[7]._replace(who="Another")
    monkeypatch.setattr(RecordStore, "rows", lambda _: iter(rows))
    with pytest.raises(RecordError, match="event 8"):
        write_backup(tmp_path / "a.backup", plant, record, Silent())
    assert (tmp_path / "a.backup").read_bytes() == before
    assert not list(tmp_path.glob(".a.backup*"))


def _in_a_child(act, *, killed_after_s=None, longest=None):
    """Run an act in a process of its own, which is killed after a while or may write no longer file; its exit code."""
    child = os.fork()
    if child == 0:
        code = 1
        with suppress(BaseException):
            if longest is not None:
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (longest, longest))
            try:
                act()
                code = 0
            except InputError:
                code = InputError.exit_code
        os._exit(code)
    if killed_after_s is not None:
        time.sleep(killed_after_s)
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def test_killed_at_any_moment_nothing_half_is_left(tmp_path, plant):
    """Killed while it is written or put back, a backup or plant is there whole or not; the next run cleans up."""
    rng = random.Random(3)  # noqa: S311  -- moments, no secrets
    backup, again, killed = tmp_path / "a.backup", tmp_path / "again", 0
    for n in range(300):
        write_whole(plant / "results" / "4711" / "chips" / f"{n}.png", bytes([n % 256]) * 999)
    with _on_sqlite(plant) as record:
        _append(record, 9)
    begun = time.monotonic()
    assert _in_a_child(lambda: write_backup(tmp_path / "whole.backup", plant, None, Silent())) == 0
    lasts_s = time.monotonic() - begun
    for _ in range(8):
        backup.unlink(missing_ok=True)
        shutil.rmtree(again, ignore_errors=True)
        moment = rng.uniform(0.0, lasts_s)
        code = _in_a_child(lambda: write_backup(backup, plant, _on_sqlite(plant), Silent()), killed_after_s=moment)
        killed += code == -signal.SIGKILL
        if backup.exists():
            assert len(read_backup(backup).files) == len(_FILES) + 300
        code = _in_a_child(
            lambda: restore_backup(tmp_path / "whole.backup", again, _on_sqlite, Silent()), killed_after_s=moment
        )
        killed += code == -signal.SIGKILL
        if again.exists():
            assert _files(again) == _files(plant)
    assert killed > 4
    write_backup(backup, plant, None, Silent())
    if not again.exists():
        restore_backup(backup, again, _on_sqlite, Silent())
    assert not list(tmp_path.glob(".*.part"))


def test_a_full_disk_leaves_nothing(tmp_path, plant):
    """Where a backup, or a file of a plant that is put back, doesn't fit, it is one clear error and nothing is left."""
    write_backup(tmp_path / "whole.backup", plant, None, Silent())
    code = _in_a_child(lambda: write_backup(tmp_path / "a.backup", plant, None, Silent()), longest=9000)
    assert code == InputError.exit_code
    code = _in_a_child(
        lambda: restore_backup(tmp_path / "whole.backup", tmp_path / "again", _on_sqlite, Silent()), longest=9000
    )
    assert code == InputError.exit_code
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plant", "whole.backup"]


def test_links_are_followed(tmp_path, plant):
    """A scan folder that is a link is copied as files; a link that leads nowhere, or into itself, is an error."""
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "segment-2.tif").write_bytes(b"far away")
    (plant / "rolls" / "4712").mkdir()
    (plant / "rolls" / "4712" / "scan").symlink_to(tmp_path / "store")
    write_backup(tmp_path / "a.backup", plant, None, Silent())
    restore_backup(tmp_path / "a.backup", tmp_path / "again", _on_sqlite, Silent())
    copied = tmp_path / "again" / "rolls" / "4712" / "scan" / "segment-2.tif"
    assert copied.read_bytes() == b"far away"
    assert not copied.parent.is_symlink()
    (plant / "around").symlink_to(plant)
    with pytest.raises(InputError, match="must not lead to a folder that it lies in"):
        write_backup(tmp_path / "b.backup", plant, None, Silent())
    (plant / "around").unlink()
    (plant / "gone.csv").symlink_to(tmp_path / "nowhere")
    with pytest.raises(InputError, match="a link that leads nowhere"):
        write_backup(tmp_path / "b.backup", plant, None, Silent())


def test_a_file_that_grows_meanwhile_is_told(tmp_path, plant, monkeypatch):
    """A segment that the scanner still writes is copied as far as it was there, and that is said."""
    notes = []
    growing = plant / "rolls" / "4711" / "scan" / "segment-1.tif"
    real = os.fstat

    def grow(handle):
        with growing.open("ab") as file:
            file.write(b"more")
        return real(handle)

    class Told(Silent):
        def note(self, message):
            notes.append(message)

    monkeypatch.setattr("wideroll.store.backup.os.fstat", grow)
    write_backup(tmp_path / "a.backup", plant, None, Told())
    assert [str(growing) in note for note in notes] == [True]
    assert "written to while it was copied" in notes[0]
