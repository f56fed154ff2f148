"""The history of decided rolls is the same whichever way it came about, and holds nothing that was changed since."""

from functools import partial

import polars as pl
import pytest

from wideroll.control import HISTORY_SCHEMA, RollValue, roll_series
from wideroll.record import digest
from wideroll.store import RecordStore, json_bytes, write_whole
from wideroll.store.roll_history import HISTORY, update_history

_EARLIER = [
    RollValue(roll=f"W-{n}", product="N5", line="1", coated=f"2026-11-{n + 1:02d}", quantity="curl", value=float(n))
    for n in range(3)
]
_SAID = {"when_utc": "2026-12-01T08:00:00Z", "version": "0.1.0"}


def _decide(results, record, roll, value, *, coated="2026-11-20"):
    value = {"quantity": "curl", "record": "", "part": "", "unit": "", "value": value, "area_m2": None}
    head = {"schema": "wideroll/measured/1", "roll": roll, "product": "N5", "line": "1", "coated": coated, "batch": "E"}
    data = json_bytes({**head, "values": [value]})
    write_whole(results / roll / "measured.json", data)
    body = {"roll": roll, "outputs": {"measured.json": digest(data)}}
    return record.append("decision", "R. Engineer", _SAID["when_utc"], _SAID["version"], body)


def _curls(kept):
    found = roll_series(pl.scan_parquet(kept.path), "curl")
    return dict(zip(found.rolls, found.values, strict=True))


@pytest.fixture
def record(database):
    """The record, on either database."""
    with RecordStore(database) as store:
        yield store


def test_it_grows_with_the_record_to_the_same_bytes(tmp_path, record):
    """Brought up to date after each decision it has the bytes of one made at once, and a second decision counts."""
    grown, anew = tmp_path / "grown", tmp_path / "anew"
    update = partial(update_history, record=record, earlier=lambda: _EARLIER, mark="a")
    update(grown)
    for roll, value in (("W-9", 1.0), ("W-1", 7.0), ("W-9", 2.0)):
        _decide(grown, record, roll, value)
        _decide(anew, record, roll, value)
        kept = update(grown)
    assert _curls(kept) == {"W-0": 0.0, "W-1": 7.0, "W-2": 2.0, "W-9": 2.0}
    assert pl.scan_parquet(kept.path).collect_schema() == HISTORY_SCHEMA
    update(anew)
    assert (grown / HISTORY).read_bytes() == (anew / HISTORY).read_bytes()


def test_earlier_rolls_are_asked_for_only_when_they_changed(tmp_path, record):
    """With the same mark nobody reads them again; with another the history is made of the new ones."""
    update_history(tmp_path, record, lambda: _EARLIER, mark="a")
    update_history(tmp_path, record, lambda: pytest.fail("read again"), mark="a")
    assert set(_curls(update_history(tmp_path, record, lambda: _EARLIER[:1], mark="b"))) == {"W-0"}


def test_a_changed_measured_file_is_left_out_and_named(tmp_path, record):
    """A roll whose file isn't the one on record isn't charted, and comes back once it is decided again."""
    event = _decide(tmp_path, record, "W-9", 1.0)
    update = partial(update_history, tmp_path, record, lambda: _EARLIER, mark="a")
    assert update().left_out == {}
    path = tmp_path / "W-8" / "measured.json"
    _decide(tmp_path, record, "W-8", 1.0)
    path.write_bytes(path.read_bytes().replace(b"1.0", b"2.0"))
    kept = update()
    assert "isn't the file that event 2 of the record names" in kept.left_out["W-8"]
    assert "W-8" not in _curls(kept)
    _decide(tmp_path, record, "W-8", 3.0)
    kept = update()
    assert (kept.left_out, _curls(kept)["W-8"], event.number) == ({}, 3.0, 1)


def test_a_roll_without_a_day_is_left_out(tmp_path, record):
    """What can't be put in order isn't charted, and it is said what to note."""
    _decide(tmp_path, record, "W-9", 1.0, coated="")
    kept = update_history(tmp_path, record, lambda: (), mark="")
    assert (kept.rolls, kept.left_out) == (0, {"W-9": "when it was coated isn't noted in its roll.toml"})


def test_a_flipped_bit_is_not_charted(tmp_path, record):
    """A history that isn't the one that was written is made again."""
    _decide(tmp_path, record, "W-9", 1.0)
    kept = update_history(tmp_path, record, lambda: _EARLIER, mark="a")
    sound = kept.path.read_bytes()
    kept.path.write_bytes(sound[:100] + bytes([sound[100] ^ 1]) + sound[101:])
    update_history(tmp_path, record, lambda: _EARLIER, mark="a")
    assert kept.path.read_bytes() == sound
