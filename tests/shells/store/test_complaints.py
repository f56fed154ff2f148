"""Complaints in the record: numbers, photographs, and what is left of a step that was refused."""

import json
import subprocess
import sys
from hashlib import sha256

import pytest

from wideroll.errors import InputError
from wideroll.store import (
    COMPLAINT,
    KEPT,
    FilesReport,
    NewPhotograph,
    RecordStore,
    add_complaint_step,
    check_kept_files,
    kept_complaints,
)
from wideroll.workflow.complaint_steps import closing, opening, seeing

_SAID = {"who": "C. Desk", "when_utc": "2026-03-01T08:00:00+00:00", "version": "0.1.0"}
_OPENING = opening(finished="W-1/001-01", saw="a scratch")
_PHOTOGRAPHS = [
    NewPhotograph(name="frame 12.jpg", ending=".jpg", data=b"one"),
    NewPhotograph(name="frame 13.png", ending=".png", data=b"two"),
]
_OPEN_TEN = """
import sys
from pathlib import Path
from wideroll.store import NewPhotograph, RecordStore, add_complaint_step
from wideroll.workflow.complaint_steps import opening

root, who = Path(sys.argv[1]), sys.argv[2]
said = {"who": who, "when_utc": "2026-03-01T08:00:00+00:00", "version": "0.1.0"}
with RecordStore(f"sqlite:///{root / 'wideroll.db'}") as store:
    for n in range(10):
        photo = NewPhotograph(name="p.jpg", ending=".jpg", data=f"{who} {n}".encode())
        body = opening(finished="W-1/001-01", saw=f"spot {n}")
        print(add_complaint_step(store, root, None, body, photographs=[photo], **said).name)
"""


@pytest.fixture
def store(database):
    """A new record on either database."""
    with RecordStore(database) as store:
        yield store


def test_a_case_is_kept_with_its_photographs(store, tmp_path):
    """A case gets the first number, and its photographs lie by their hash as they came, named in the event."""
    case = add_complaint_step(store, tmp_path, None, _OPENING, photographs=_PHOTOGRAPHS, **_SAID)
    assert case.name == "C-0001"
    assert kept_complaints(store) == (case,)
    assert {photo.name for photo in case.photos} == {"frame 12.jpg", "frame 13.png"}
    for photo in case.photos:
        data = (tmp_path / photo.file).read_bytes()
        assert sha256(data).hexdigest() == photo.sha256 == (tmp_path / photo.file).stem
    assert store.verify().intact


def test_two_who_open_at_once_get_two_numbers(tmp_path):
    """Of two processes that open ten cases each, every case has its own number, words and photograph."""
    command = [sys.executable, "-c", _OPEN_TEN, str(tmp_path)]
    running = [
        subprocess.Popen([*command, who], stdout=subprocess.PIPE, text=True) for who in ("A. First", "B. Second")
    ]
    told = [process.communicate(timeout=240)[0].split() for process in running]
    assert [process.returncode for process in running] == [0, 0]
    assert sorted(told[0] + told[1]) == [f"C-{n:04d}" for n in range(1, 21)]
    with RecordStore(f"sqlite:///{tmp_path / 'wideroll.db'}") as store:
        cases = kept_complaints(store)
        assert store.verify().intact
        report = check_kept_files(tmp_path, store.naming(KEPT), FilesReport(decisions=0, files=0))
    assert [case.number for case in cases] == list(range(1, 21))
    assert (report.photographs, report.first_bad) == (20, None)
    for case in cases:
        who = case.steps[0].who
        assert case.name in told[who == "B. Second"]
        (photo,) = case.photos
        assert (tmp_path / photo.file).read_text() == f"{who} {case.saw[0].removeprefix('spot ')}"


def test_a_step_that_is_refused_leaves_nothing(store, tmp_path):
    """A step that may not follow adds no event and leaves no photograph."""
    add_complaint_step(store, tmp_path, None, _OPENING, **_SAID)
    for case, body in ((1, closing(outcome="told")), (2, seeing(saw="more"))):
        with pytest.raises(InputError):
            add_complaint_step(store, tmp_path, case, body, photographs=_PHOTOGRAPHS, **_SAID)
    assert store.verify().events == 1
    assert not (tmp_path / "complaints").exists()


def test_a_photograph_that_cannot_be_kept_ends_the_step(store, tmp_path, monkeypatch):
    """Where the disk refuses the second photograph, the first is taken away again and nothing is recorded."""
    write = sys.modules["wideroll.store.complaints"].write_whole

    def full(path, data):
        if data == b"two":
            raise InputError(where=str(path), rule="the file must be writable", mend="Free some space.")
        write(path, data)

    monkeypatch.setattr("wideroll.store.complaints.write_whole", full)
    with pytest.raises(InputError, match="writable"):
        add_complaint_step(store, tmp_path, None, _OPENING, photographs=_PHOTOGRAPHS, **_SAID)
    assert store.verify().events == 0
    assert list(tmp_path.rglob("*.jpg")) == []


@pytest.mark.parametrize("damage", ["changed", "removed"])
def test_a_photograph_that_was_changed_is_found(store, tmp_path, damage):
    """A photograph that was changed or removed later is named, with the event that kept it."""
    add_complaint_step(store, tmp_path, None, _OPENING, photographs=_PHOTOGRAPHS[:1], **_SAID)
    case = add_complaint_step(store, tmp_path, 1, seeing(saw=""), photographs=_PHOTOGRAPHS, **_SAID)
    clean = FilesReport(decisions=1, files=9)
    report = check_kept_files(tmp_path, store.naming(KEPT), clean)
    assert (report.photographs, report.first_bad, report.files) == (2, None, 9)
    (last,) = [photo for photo in case.photos if photo.name == "frame 13.png"]
    if damage == "changed":
        (tmp_path / last.file).write_bytes(b"twO")
    else:
        (tmp_path / last.file).unlink()
    report = check_kept_files(tmp_path, store.naming(KEPT), clean)
    assert report.first_bad == 2
    assert last.file in report.why
    earlier = FilesReport(decisions=1, files=3, first_bad=1, why="file: sheet.html isn't what was sealed")
    assert check_kept_files(tmp_path, store.naming(KEPT), earlier).why == earlier.why


def test_the_same_photograph_is_kept_once(store, tmp_path):
    """A photograph that comes twice lies there once and is one of the case's."""
    add_complaint_step(store, tmp_path, None, _OPENING, photographs=_PHOTOGRAPHS[:1], **_SAID)
    case = add_complaint_step(store, tmp_path, 1, seeing(saw=""), photographs=_PHOTOGRAPHS[:1], **_SAID)
    assert len(case.photos) == len(list((tmp_path / "complaints" / "C-0001").iterdir())) == 1


def test_what_an_event_says_of_a_step(store, tmp_path):
    """The event of a step holds case, finished roll and wide rolls, so that it is found without the others."""
    add_complaint_step(store, tmp_path, None, _OPENING, **_SAID)
    add_complaint_step(store, tmp_path, 1, seeing(saw="more"), **_SAID)
    bodies = [json.loads(row.body) for row in store.naming((COMPLAINT,))]
    assert [(one["case"], one["step"], one["finished"], one["rolls"]) for one in bodies] == [
        ("C-0001", "opened", "W-1/001-01", []),
        ("C-0001", "seen", "W-1/001-01", []),
    ]
