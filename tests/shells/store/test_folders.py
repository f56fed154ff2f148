"""Folders are replaced whole, and stand for the same where they hold the same."""

import pytest

from wideroll.errors import InputError
from wideroll.store import sealed_bytes
from wideroll.store.folders import drop_folder, part_folder, put_in_place, write_folder


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
    part = part_folder(tmp_path / "chips")
    with monkeypatch.context() as patch:
        patch.setattr(type(part), "rename", _refuse)
        with pytest.raises(InputError, match="the folder must be writable"):
            put_in_place(part, tmp_path / "chips")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["chips", "file"]


def _refuse(*_):
    raise PermissionError(13, "refused")


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
