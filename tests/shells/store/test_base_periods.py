"""A base period is frozen once, and what it was is on record."""

import pytest

from wideroll.control import freeze_values
from wideroll.errors import InputError, RecordError
from wideroll.store import KEPT, FilesReport, RecordStore, check_kept_files
from wideroll.store.base_periods import load_base, newest_base, recorded_bases, save_base
from wideroll.workflow.control_model import BaseLimits

_ROLLS = ("W-1", "W-2", "W-3")


def _base(name="spring"):
    frozen = freeze_values([1.0, 1.5, 0.9], labels=_ROLLS, name=name)
    return BaseLimits(
        name=name,
        product="N5",
        line="1",
        first_day="2026-03-01",
        last_day="2026-04-01",
        rolls=_ROLLS,
        who="R. Engineer",
        when_utc="2026-04-02T08:00:00+00:00",
        because="steady",
        values={"curl|": frozen},
    )


@pytest.fixture
def record(database):
    """The record, on either database."""
    with RecordStore(database) as store:
        yield store


def test_it_comes_back_as_it_was(tmp_path, record):
    """What is loaded is what was frozen, by whom and why, to the last digit; the newest of a line is known."""
    save_base(tmp_path, record, _base(), version="0.1.0")
    event = save_base(tmp_path, record, _base("summer"), version="0.1.0")
    bases = recorded_bases(record)
    assert load_base(tmp_path, "spring", bases) == _base()
    assert (event.act, event.body["base"], event.body["because"]) == ("base period", "summer", "steady")
    assert (newest_base(bases, "N5", "1"), newest_base(bases, "N5", "2")) == ("summer", "")


def test_it_is_frozen_once(tmp_path, record):
    """A name is used once, and the refusal says whose it is."""
    save_base(tmp_path, record, _base(), version="0.1.0")
    with pytest.raises(InputError, match="Engineer did so"):
        save_base(tmp_path, record, _base(), version="0.1.0")


def test_a_changed_file_is_refused(tmp_path, record):
    """Limits that aren't those on record chart nothing, and an unknown name lists the known."""
    save_base(tmp_path, record, _base(), version="0.1.0")
    path = tmp_path / "base-periods" / "spring.json"
    path.write_bytes(path.read_bytes().replace(b"1.5", b"1.6").replace(b"steady", b"stable"))
    with pytest.raises(RecordError, match="event 1"):
        load_base(tmp_path, "spring", recorded_bases(record))
    with pytest.raises(InputError, match="on record: spring"):
        load_base(tmp_path, "autumn", recorded_bases(record))


def test_verify_looks_at_it(tmp_path, record):
    """Of two base periods the one whose file was changed is named, with its event; both are counted while they hold."""
    save_base(tmp_path, record, _base(), version="0.1.0")
    save_base(tmp_path, record, _base("summer"), version="0.1.0")
    clean = FilesReport(decisions=0, files=0)
    report = check_kept_files(tmp_path, record.naming(KEPT), clean)
    assert (report.base_periods, report.first_bad) == (2, None)
    path = tmp_path / "base-periods" / "summer.json"
    path.write_bytes(path.read_bytes().replace(b"steady", b"stable"))
    report = check_kept_files(tmp_path, record.naming(KEPT), clean)
    assert report.first_bad == 2
    assert report.why == "file: base-periods/summer.json isn't the base period that was kept"
