"""Cards as lines of a file."""

import json
import os
import subprocess
import sys
from dataclasses import replace

import pytest

from wideroll.errors import InputError
from wideroll.notices import open_sinks
from wideroll.workflow import FileNotice
from wideroll.workflow.card_json import card_json

_MANY = """
import sys
from dataclasses import replace
from pathlib import Path
from wideroll.notices import open_sinks
from wideroll.store import load_cards
from wideroll.workflow import FileNotice

root = Path(sys.argv[1])
(card,) = load_cards(root)
(sink,) = open_sinks([FileNotice(name="n", path="cards.jsonl")], root, "W-7")
for number in range(40):
    sink.send(replace(card, number=number + 1, action=sys.argv[2] * 3000))
"""


def _lines(path):
    return [json.loads(line) for line in path.read_text().splitlines()]


@pytest.fixture
def sink(tmp_path):
    """A sink of one file, in a folder that isn't there yet."""
    (made,) = open_sinks([FileNotice(name="terminal", path="notices/cards-{roll}.jsonl")], tmp_path, "W-7")
    return made


def test_each_card_is_a_line(sink, tmp_path, card):
    """Cards stand in the file in the order they were sent, each a whole JSON document on a line."""
    sink.send(card)
    sink.send(replace(card, number=3, action="one\ntwo"))
    lines = _lines(tmp_path / "notices" / "cards-W-7.jsonl")
    assert lines[0] == card_json(card)
    assert [line["number"] for line in lines] == [2, 3]


def test_two_processes_may_write_at_once(tmp_path, card):
    """No line of one process breaks into a line of another."""
    from wideroll.store import save_card  # noqa: PLC0415  -- only this test keeps a card

    save_card(tmp_path, card)
    running = [subprocess.Popen([sys.executable, "-c", _MANY, tmp_path, letter]) for letter in "ab"]
    assert [process.wait() for process in running] == [0, 0]
    lines = _lines(tmp_path / "cards.jsonl")
    for letter in "ab":
        mine = [line["number"] for line in lines if line["action"] == letter * 3000]
        assert mine == list(range(1, 41))


def test_a_line_cut_short_swallows_none(sink, tmp_path, card):
    """After a line that a power cut left without its end, the next card begins a line of its own."""
    path = tmp_path / "notices" / "cards-W-7.jsonl"
    path.parent.mkdir()
    path.write_text('{"schema": "wider')
    sink.send(card)
    assert json.loads(path.read_text().splitlines()[1]) == card_json(card)


def test_a_full_disk_leaves_no_half_line(sink, tmp_path, card, monkeypatch):
    """What the disk took of a line that didn't fit is taken back, and the error names notice and file."""
    sink.send(card)
    path = tmp_path / "notices" / "cards-W-7.jsonl"
    before, write = path.read_bytes(), os.write
    left = [40]

    def full(handle, data):
        taken, left[0] = min(len(data), left[0]), 0
        if not taken:
            raise OSError(28, "No space left on device")
        return write(handle, data[:taken])

    with monkeypatch.context() as patched:
        patched.setattr(os, "write", full)
        with pytest.raises(InputError, match=r"notice terminal .*cards-W-7\.jsonl.*No space left"):
            sink.send(card)
    assert path.read_bytes() == before
    sink.send(card)
    assert len(_lines(path)) == 2


def test_a_folder_in_the_way_is_named(tmp_path, card):
    """A path that can't be written is one clear error."""
    (tmp_path / "cards.jsonl").mkdir()
    (sink,) = open_sinks([FileNotice(name="terminal", path="cards.jsonl")], tmp_path, "W-7")
    with pytest.raises(InputError, match="must be writable"):
        sink.send(card)
