"""Folders are replaced whole, and stand for the same where they hold the same."""

import os
import time

import pytest

from wideroll.errors import InputError
from wideroll.store import sealed_bytes
from wideroll.store.files import write_whole
from wideroll.store.folders import drop_folder, write_folder
from wideroll.store.parts import PartFolder


def test_a_folder_is_replaced_whole(tmp_path):
    """Files of the old folder don't linger, and nothing is left beside the new one."""
    write_folder(tmp_path / "chips", {"a.png": b"1", "b.png": b"2"})
    write_folder(tmp_path / "chips", {"b.png": b"3"})
    assert {path.name: path.read_bytes() for path in (tmp_path / "chips").iterdir()} == {"b.png": b"3"}
    assert [path.name for path in tmp_path.iterdir()] == ["chips"]


def test_a_disk_that_refuses_leaves_what_was_there(tmp_path, monkeypatch):
    """Stopped while its files are written, the old folder stands and the half of the new one is gone."""
    write_folder(tmp_path / "chips", {"a.png": b"1"})
    with pytest.raises(InputError, match="the folder must be writable"):
        write_folder(tmp_path / "chips", {"b.png": b"3", "no/such/folder.png": b"4"})
    assert [path.name for path in (tmp_path / "chips").iterdir()] == ["a.png"]
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(InputError, match="the folder must be writable"):
        write_folder(tmp_path / "file" / "chips", {})
    with monkeypatch.context() as patch:
        patch.setattr(type(tmp_path), "rename", _refuse)
        with pytest.raises(InputError, match="the folder must be writable"):
            write_folder(tmp_path / "chips", {})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["chips", "file"]


def _refuse(*_):
    raise PermissionError(13, "refused")


FRESH = ".chips.0123456789ab.part"


def _age(path, by_s=3600):
    os.utime(path, (time.time() - by_s,) * 2)


def test_what_killed_processes_left_is_cleared_away(tmp_path):
    """The next folder made there takes it away: folders and files that nobody holds any more, and nothing else."""
    names = {
        "left": ".chips.0a1b0a1b0a1b.part",
        "moved": ".chips.0a1b0a1b0a1b.old",
        "file": ".cut.json.2c3d2c3d2c3d.part",
    }
    for name in ("left", "moved"):
        (tmp_path / names[name]).mkdir()
        (tmp_path / names[name] / "a.png").write_bytes(b"1")
    (tmp_path / names["file"]).write_bytes(b"half")
    others = [".hidden", "a.part", ".film.tif.part", ".film.old", FRESH]
    for name in others:
        (tmp_path / name).write_bytes(b"")
    held = PartFolder(tmp_path / "overview.zarr")
    for path in tmp_path.iterdir():
        if path.name != FRESH:
            _age(path)
    write_folder(tmp_path / "chips", {})
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*others, held.path.name, "chips"])
    held.put_in_place()
    assert not held.path.exists()
    assert (tmp_path / "overview.zarr").is_dir()


def test_a_file_on_its_way_to_the_disk_is_not_cleared_away(tmp_path, monkeypatch):
    """However long the disk takes, who writes holds it."""
    seen = []

    def slow(_):
        for part in tmp_path.glob(".cut.json.*.part"):
            _age(part)
            write_folder(tmp_path / "chips", {})
            seen.append(part.exists())

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", slow)
        write_whole(tmp_path / "cut.json", b"whole")
    assert seen == [True]
    assert (tmp_path / "cut.json").read_bytes() == b"whole"


def test_a_folder_stands_for_its_files_and_where_they_lie(tmp_path):
    """Another content, name or place within makes another seal; the order of writing doesn't."""
    one = {"a": b"1", "b": b"2"}
    write_folder(tmp_path / "one", one)
    write_folder(tmp_path / "same", dict(reversed(one.items())))
    assert sealed_bytes(tmp_path / "one") == sealed_bytes(tmp_path / "same")
    for other in ({"a": b"1"}, {"a": b"2", "b": b"1"}, {"a": b"1", "c": b"2"}, {}):
        write_folder(tmp_path / "other", other)
        assert sealed_bytes(tmp_path / "one") != sealed_bytes(tmp_path / "other")
    (tmp_path / "same" / "in").mkdir()
    (tmp_path / "same" / "b").rename(tmp_path / "same" / "in" / "b")
    assert sealed_bytes(tmp_path / "one") != sealed_bytes(tmp_path / "same")


def test_a_file_stands_for_itself(tmp_path):
    """A file is sealed by its content; nothing there is an input error."""
    (tmp_path / "a").write_bytes(b"1")
    assert sealed_bytes(tmp_path / "a") == b"1"
    with pytest.raises(InputError, match="must be there"):
        sealed_bytes(tmp_path / "b")


def test_a_folder_can_be_dropped_twice(tmp_path):
    """Taking away what isn't there is no fault."""
    write_folder(tmp_path / "a", {"b": b""})
    drop_folder(tmp_path / "a")
    drop_folder(tmp_path / "a")
    assert list(tmp_path.iterdir()) == []
