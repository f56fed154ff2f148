"""Folders of many files are sealed in the record like single files."""

from types import SimpleNamespace

import pytest

from wideroll.cli.sealing import outputs_as_recorded, record_decision
from wideroll.store import sealed_bytes
from wideroll.store.folders import write_folder

_DOCUMENT = {"roll": "W-1", "product": "Test", "verdict": "hold", "why": "because"}


@pytest.fixture
def hand(tmp_path):
    """A roll whose decision, with a folder of two chips, is on record."""
    path = tmp_path / "results" / "W-1"
    write_folder(path / "chips", {"a.png": b"1", "b.png": b"2"})
    (path / "cut.csv").write_bytes(b"cut")
    desk = SimpleNamespace(card=SimpleNamespace(name="W-1"), fingerprints={"scan": "ab"})
    hand = SimpleNamespace(root=tmp_path, results=SimpleNamespace(path=path), fingerprint="cd", desk=desk)
    outputs = {name: sealed_bytes(path / name) for name in ("chips", "cut.csv")}
    record_decision(hand, _DOCUMENT, outputs, who="tester")
    return hand


def test_a_folder_as_it_was_is_as_recorded(hand):
    """Written again with the same files, nothing has changed."""
    assert outputs_as_recorded(hand)
    write_folder(hand.results.path / "chips", {"b.png": b"2", "a.png": b"1"})
    assert outputs_as_recorded(hand)


@pytest.mark.parametrize("files", [{"a.png": b"1"}, {"a.png": b"1", "b.png": b"3"}, {"a.png": b"1", "c.png": b"2"}])
def test_a_changed_folder_shows(hand, files, capsys):
    """A file that is gone, another or differently named makes the folder one that the record doesn't name."""
    write_folder(hand.results.path / "chips", files)
    assert not outputs_as_recorded(hand)
    assert "chips isn't the file that event 1 of the record names" in " ".join(capsys.readouterr().err.split())


def test_a_folder_that_is_gone_shows(hand):
    """So does a folder that isn't there any more."""
    (hand.results.path / "chips").rename(hand.root / "elsewhere")
    assert not outputs_as_recorded(hand)
