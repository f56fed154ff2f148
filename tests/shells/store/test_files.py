"""Files are replaced whole or not at all."""

import errno
import json
import math
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.store import json_bytes, read_bytes, read_json, write_json, write_whole


def test_a_file_is_written_with_its_folders(tmp_path):
    """A new file in folders that aren't there yet holds exactly the bytes, and nothing lies beside it."""
    path = tmp_path / "results" / "4711" / "sheet.html"
    write_whole(path, b"first")
    write_whole(path, b"second")
    assert read_bytes(path) == b"second"
    assert list(path.parent.iterdir()) == [path]


def test_a_new_file_may_be_read_by_those_whom_the_umask_lets(tmp_path):
    """The mode is that of any new file, not one for its owner alone."""
    write_whole(tmp_path / "ours", b"")
    (tmp_path / "plain").touch()
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.parametrize("step", ["write", "fsync", "replace"])
@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_failure_at_any_step_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, step, error):
    """Disk full or Ctrl-C before the name moves over: the old bytes stay and no part is left lying about."""
    path = tmp_path / "decision.json"
    write_whole(path, b"old")

    def fail(*_):
        raise error

    if step == "write":
        monkeypatch.setattr("wideroll.store.files.os.fdopen", _closing(fail))
    elif step == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    else:
        monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(InputError if isinstance(error, OSError) else KeyboardInterrupt):
        write_whole(path, b"new")
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def _closing(fail):
    def refuse(handle, *_):
        os.close(handle)
        fail()

    return refuse


def test_a_refusal_is_one_clear_error(tmp_path):
    """A place that takes no file gives where, rule, value and mend."""
    (tmp_path / "folder").write_text("a file where a folder should be")
    with pytest.raises(InputError, match=r"folder/x.json: the file must be writable, got '.*'. Free some space"):
        write_whole(tmp_path / "folder" / "x.json", b"x")


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text("aµ″\n☢"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abµ", max_size=3), inner, max_size=3),
    max_leaves=8,
)


@settings(deadline=None, max_examples=60)
@given(_json)
def test_json_comes_back_as_it_went(value):
    """Any value that JSON has is read back equal, floats to the last digit, and ends with one newline."""
    data = json_bytes(value)
    assert json.loads(data) == value
    assert data.endswith(b"\n")
    assert data.count(b"\n") == 1


def test_json_is_the_same_whatever_the_order_of_keys(tmp_path):
    """Two mappings that are equal give the same bytes."""
    write_json(tmp_path / "a", {"b": 1, "a": [0.1, "µ"]})
    write_json(tmp_path / "b", {"a": [0.1, "µ"], "b": 1})
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes() == '{"a": [0.1, "µ"], "b": 1}\n'.encode()
    assert read_json(tmp_path / "a") == {"a": [0.1, "µ"], "b": 1}


@pytest.mark.parametrize("value", [math.nan, math.inf, object(), {1j: 2}, "\ud800"])
def test_what_json_does_not_have_is_refused(tmp_path, value):
    """No file is written that another reader could not read."""
    with pytest.raises(ArgumentError, match="value to write as JSON"):
        write_json(tmp_path / "x.json", value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("data", [b"", b'{"a": 1', b"\xff\xfe", b"[" * 100_000])
def test_broken_json_is_one_clear_error(tmp_path, data):
    """Truncated, binary or absurd files name themselves and the mend."""
    path = tmp_path / "x.json"
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"x.json: the file must be whole JSON"):
        read_json(path)


def test_a_missing_file_is_one_clear_error(tmp_path):
    """A file that isn't there is named."""
    with pytest.raises(InputError, match=r"x.json: the file must be there"):
        read_json(tmp_path / "x.json")
    with pytest.raises(InputError, match="must be readable"):
        read_json(tmp_path)
