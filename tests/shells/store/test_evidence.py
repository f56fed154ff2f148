"""What the record says of files: the same on SQLite and PostgreSQL."""

import threading
from hashlib import sha256

import pytest

from wideroll.errors import InputError
from wideroll.store import (
    RecordStore,
    act_of,
    check_files,
    closing_acts,
    evidence_bodies,
    evidence_named,
    folded,
    named_files,
)

_BY = ("R. Engineer", "2026-03-01T08:00:00Z", "0.1.0")


def _take_in(record, root, roll, files):
    return record.append_made(
        lambda look: evidence_bodies(roll, files, evidence_named(look, roll, files), root=root), *_BY
    )


@pytest.mark.parametrize(
    ("name", "act"),
    [
        ("rolls/W-1/roll.toml", "take-in"),
        ("rolls/W-1/scan/s.tif", "take-in"),
        ("rolls/W-1/note.txt", "take-in"),
        ("rolls/W-1/strips/runs.csv", "reading"),
        ("rolls/W-1/properties.csv", "reading"),
        ("rolls/W-1/examination/photograph.png", "sighting"),
        ("processors/tank-1.csv", "calibration"),
        ("processors.toml", "calibration"),
        ("plant.toml", "take-in"),
        ("products/strips/x.toml", "take-in"),
    ],
)
def test_each_file_belongs_to_one_act(name, act):
    """Where it lies says by which act it is recorded."""
    assert act_of(name) == act


def test_a_file_shared_by_rolls_is_taken_in_once(database, tmp_path):
    """The plant's own files are named by the first roll; a roll whose name is part of another's isn't mixed up."""
    with RecordStore(database) as record:
        one = {"plant.toml": "a", "examiners.toml": "b", "rolls/W-1/roll.toml": "c"}
        assert [event.act for event in _take_in(record, tmp_path, "W-1", one)] == ["take-in", "calibration"]
        other = {"plant.toml": "a", "examiners.toml": "b", "rolls/W-11/roll.toml": "d"}
        (event,) = _take_in(record, tmp_path, "W-11", other)
        assert event.body == {"roll": "W-11", "files": {"rolls/W-11/roll.toml": "d"}}
        assert _take_in(record, tmp_path, "W-1", one) == ()
        (event,) = _take_in(record, tmp_path, "W-1", one | {"plant.toml": "e"})
        assert event.body == {"roll": "W-1", "files": {"plant.toml": "e"}}
        assert _take_in(record, tmp_path, "W-11", other | {"plant.toml": "e"}) == ()


def test_what_went_is_said_once_and_may_come_back(database, tmp_path):
    """A file that is gone is gone until it is there again; one that only another product uses isn't."""
    (tmp_path / "products").mkdir()
    (tmp_path / "products" / "old.toml").write_text("old")
    files = {"products/old.toml": "a", "rolls/W-1/strips/s.csv": "b"}
    with RecordStore(database) as record:
        _take_in(record, tmp_path, "W-1", files)
        (event,) = _take_in(record, tmp_path, "W-1", {"products/new.toml": "c"})[1:]
        assert event.body == {"roll": "W-1", "files": {}, "gone": ["rolls/W-1/strips/s.csv"]}
        assert _take_in(record, tmp_path, "W-1", {"products/new.toml": "c"}) == ()
        (event,) = _take_in(record, tmp_path, "W-1", {"products/new.toml": "c", "rolls/W-1/strips/s.csv": "b"})
        assert event.body["files"] == {"rolls/W-1/strips/s.csv": "b"}


def test_of_many_who_take_in_at_once_one_does(database, tmp_path):
    """Eight at once name each file once, whoever is first."""
    files, added = {f"rolls/W-1/scan/{n}.tif": f"{n:x}" for n in range(20)}, []
    RecordStore(database).close()

    def take_in():
        with RecordStore(database) as record:
            added.append(len(_take_in(record, tmp_path, "W-1", files)))

    threads = [threading.Thread(target=take_in) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(added) == [0] * 7 + [1]


def test_what_is_refused_while_adding_adds_nothing(database):
    """An error of whoever says what is to be added leaves the record as it was, and free."""
    with RecordStore(database) as record:
        record.append_made(lambda look: closing_acts(look, "W-1", (1, "ab"), cause="dirt", done="wiped"), *_BY)
        with pytest.raises(InputError, match="closed once"):
            record.append_made(lambda look: closing_acts(look, "W-1", (1, "ab"), cause="dirt", done="wiped"), *_BY)
        assert record.append("look", *_BY, {}).number == 2


def test_events_are_found_by_what_they_name(database):
    """Only events of the acts asked for whose body has the name as a text of its own, in order."""
    with RecordStore(database) as record:
        for act, body in (("a", {"x": "W-1"}), ("b", {"x": "W-1"}), ("a", {"x": "W-11"}), ("a", {"50 %": ["W-1"]})):
            record.append(act, *_BY, body)
        assert [row.number for row in record.naming(["a"], ["W-1"])] == [1, 4]
        assert [row.number for row in record.naming(["a", "b"], ["W-11", "50 %"])] == [3, 4]
        assert [row.number for row in record.naming(["b"])] == [2]


def test_a_folder_of_a_raster_is_looked_at_as_one(database, tmp_path):
    """A Zarr raster is named by all that is in it; a piece that changed, came or went shows."""
    folder = tmp_path / "rolls" / "W-1" / "scan" / "s.zarr"
    (folder / "0").mkdir(parents=True)
    (folder / "zarr.json").write_text("{}")
    (folder / "0" / "0").write_text("piece")
    names = {path.relative_to(tmp_path).as_posix(): path for path in (folder / "zarr.json", folder / "0" / "0")}
    files = folded({name: sha256(path.read_bytes()).hexdigest() for name, path in names.items()})
    with RecordStore(database) as record:
        _take_in(record, tmp_path, "W-1", files)
        assert list(named_files(record.rows())) == ["rolls/W-1/scan/s.zarr"]
        assert check_files(tmp_path, record.rows()).not_taken_in == ()
        (folder / "0" / "0").write_text("pieces")
        (one,) = check_files(tmp_path, record.rows()).not_taken_in
        assert (one.file, one.event, one.why) == ("rolls/W-1/scan/s.zarr", 1, "isn't what was taken in")
