"""Every file that a decision rests on is named by an event, and a decision says why it supersedes the one before."""

import json
from pathlib import Path

import pytest

from wideroll.store import RecordStore

ROLL = "T-1"
SIGHTINGS, STRIPS = f"rolls/{ROLL}/examination/sightings.csv", f"rolls/{ROLL}/strips/strips.csv"


def _events(plant: Path):
    with RecordStore(f"sqlite:///{plant / 'wideroll.db'}") as record:
        assert record.verify().intact
        return list(record.events())


def _changed(path: Path) -> None:
    path.write_text(path.read_text(encoding="utf-8") + "\n", encoding="utf-8")


def test_a_roll_is_taken_in_act_by_act_and_once(run, plant) -> None:
    """The roll, its readings and its sightings are an event each, by the one named; a second time nothing is new."""
    (plant / "examiners.toml").write_text("")
    code, out, _ = run("take-in", plant, ROLL, "--who", "L. Technician")
    assert (code, "took in what examiners saw: examination/sheets.csv, examination/sightings.csv" in out) == (0, True)
    events = _events(plant)
    assert [(one.act, one.who) for one in events] == [
        (act, "L. Technician") for act in ("take-in", "reading", "sighting", "calibration")
    ]
    assert set(events[0].body["files"]) == {
        "plant.toml",
        "products/sheet-100.toml",
        *(
            f"rolls/{ROLL}/{name}"
            for name in ("roll.toml", "scan/scan.toml", "scan/segment-1.tif", "scan/segment-2.tif")
        ),
    }
    assert events[3].body == {"files": {"examiners.toml": events[3].body["files"]["examiners.toml"]}}
    code, out, _ = run("take-in", plant, ROLL)
    assert (code, "Nothing is new: the record names all 12 files" in out) == (0, True)
    assert json.loads(run("take-in", plant, ROLL, "--json")[1]) == {
        "schema": "wideroll/take-in/1",
        "roll": ROLL,
        "files": 12,
        "events": [],
    }
    assert _events(plant) == events


def test_what_changed_came_or_went_is_taken_in_by_itself(run, plant) -> None:
    """Only the acts whose files aren't as they were are recorded; a file that went is said to be gone, once."""
    run("take-in", plant, ROLL)
    _changed(plant / SIGHTINGS)
    (plant / "rolls" / ROLL / "note.txt").write_text("coated after the cleaning\n")
    (plant / "rolls" / ROLL / "strips" / "readings.csv").unlink()
    (plant / STRIPS).unlink()
    (plant / "rolls" / ROLL / "strips" / "exposure.toml").unlink()
    (plant / "rolls" / ROLL / "strips").rmdir()
    said = json.loads(run("take-in", plant, ROLL, "--json")[1])["events"]
    assert [(one["act"], sorted(one["files"]), len(one["gone"])) for one in said] == [
        ("take-in", [f"rolls/{ROLL}/note.txt"], 0),
        ("reading", [], 3),
        ("sighting", [SIGHTINGS], 0),
    ]
    assert json.loads(run("take-in", plant, ROLL, "--json")[1])["events"] == []


def test_a_faulty_file_is_not_taken_in(run, plant) -> None:
    """A table that can't be read ends with one error, and nothing is recorded."""
    (plant / SIGHTINGS).write_text("sheet,kind\nA\n")
    code, _, err = run("take-in", plant, ROLL)
    assert (code, "sightings.csv" in err) == (3, True)
    assert not (plant / "wideroll.db").exists()


def test_a_file_changed_since_is_told_and_no_failure(run, plant) -> None:
    """Without a standing decision a file that isn't what was taken in is named with its event, with exit code 0."""
    run("take-in", plant, ROLL)
    assert "11 of 11 files that were taken in are still so" in run("record", "verify", plant)[1]
    _changed(plant / SIGHTINGS)
    (plant / STRIPS).unlink()
    code, out, _ = run("record", "verify", plant)
    assert (code, "9 of 11 files" in out) == (0, True)
    assert f"not yet taken in: {SIGHTINGS} isn't what was taken in (event 3)" in out
    assert f"not yet taken in: {STRIPS} isn't there (event 2)" in out
    told = json.loads(run("record", "verify", plant, "--json")[1])["files"]["not_taken_in"]
    assert [(one["file"], one["event"]) for one in told] == [(SIGHTINGS, 3), (STRIPS, 2)]


def test_a_decision_says_what_it_supersedes_and_why(run, decided_plant) -> None:
    """The first supersedes none; after a change the file, and the engineer's words, stand in the next."""
    first = _events(decided_plant)[-1]
    assert (first.act, first.body["supersedes"], first.body["because"]) == ("decision", None, [])
    _changed(decided_plant / SIGHTINGS)
    code, _, err = run("record", "verify", decided_plant)
    assert (code, f"{SIGHTINGS} isn't what the decision was made from" in err) == (4, True)
    run("take-in", decided_plant, ROLL, "--who", "E. Examiner")
    code, _, err = run("record", "verify", decided_plant)
    assert (code, "Decide the roll anew: event 5, sighting by E. Examiner, took" in err) == (4, True)
    _, out, _ = run("decide", decided_plant, ROLL, "--who", "R. Engineer", "--why", "looked again")
    words = f"event 6, supersedes event 4 of {first.when_utc[:10]}: examination/sightings.csv changed; looked again"
    assert words in out
    last = _events(decided_plant)[-1]
    assert (last.number, last.body["supersedes"]) == (6, 4)
    assert last.body["because"] == ["examination/sightings.csv changed", "looked again"]
    assert run("record", "verify", decided_plant)[0] == 0
    _, out, err = run("decide", decided_plant, ROLL, "--why", "once more")
    assert ("supersedes" in out, "--why isn't recorded" in err) == (False, True)
    assert _events(decided_plant)[-1] == last


def test_an_empty_why_is_refused(run, decided_plant) -> None:
    """A reason that says nothing is wrong usage."""
    assert run("decide", decided_plant, ROLL, "--why", " ")[0] == 2


@pytest.mark.parametrize("roll", [ROLL, None])
def test_history_tells_each_act_in_order(run, decided_plant, roll) -> None:
    """One line an act, in words, of a roll or of the plant."""
    code, out, _ = run("history", decided_plant, *([] if roll is None else [roll]))
    lines = out.splitlines()
    assert (code, len(lines)) == (0, 4)
    for line, words in zip(lines, ("took in the roll", "took in strips", "took in what", "decided: "), strict=True):
        assert words in line
        assert " UTC " in line
    document = json.loads(run("history", decided_plant, "--json")[1])
    assert document["schema"] == "wideroll/history/1"
    assert [one["act"] for one in document["events"]] == ["take-in", "reading", "sighting", "decision"]


def test_history_of_what_is_not_there(run, decided_plant) -> None:
    """An unknown roll, and a plant without a record, are one clear error."""
    code, _, err = run("history", decided_plant, "T-9")
    assert (code, "must be one of: T-1" in err) == (3, True)
    (decided_plant / "wideroll.db").unlink()
    code, _, err = run("history", decided_plant)
    assert (code, "there must be a record" in err) == (3, True)
