"""What was decided stays what was decided: changes behind the tool's back show."""

import json
import shutil
import sqlite3
from hashlib import blake2b
from pathlib import Path

import pytest

from wideroll.cli import main
from wideroll.store import RecordStore

ROLL = "W-2043"
HOLD, RECORD_BROKEN = 10, 4


@pytest.fixture
def plant(small_plant: Path, tmp_path: Path) -> Path:
    """A copy of the demo plant; its scans are links, since they are large."""
    root = tmp_path / "plant"
    shutil.copytree(
        small_plant,
        root,
        copy_function=lambda source, target: (
            Path(target).hardlink_to(source) if source.endswith(".tif") else shutil.copy2(source, target)
        ),
    )
    return root


def _events(root: Path) -> int:
    return len(_acts(root))


def _acts(root: Path) -> list[str]:
    with RecordStore(f"sqlite:///{root / 'wideroll.db'}") as record:
        return [event.act for event in record.events()]


@pytest.mark.parametrize("name", ["decision.json", "sheet.html", "cut.csv", "cut.json", "state/decision.json"])
def test_a_changed_result_is_made_anew(plant: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """A result that isn't the one the record names is named, made anew, and the same as before; nothing is recorded."""
    path = plant / "results" / ROLL / name
    right = path.read_bytes()
    path.write_bytes(right + b"\n")
    before = _events(plant)
    assert main(["decide", str(plant), ROLL]) == HOLD
    err = capsys.readouterr().err
    assert name in err
    assert "isn't the file that event" in err
    assert path.read_bytes() == right
    assert _events(plant) == before


def test_a_missing_result_is_made_anew(plant: Path) -> None:
    """A result that was removed is there again after the next decide."""
    path = plant / "results" / ROLL / "sheet.html"
    right = path.read_bytes()
    path.unlink()
    assert main(["decide", str(plant), ROLL]) == HOLD
    assert path.read_bytes() == right


def test_a_forged_record_stops_the_work(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An event that was changed in the database is named, with exit code 4, and nothing is added to the record."""
    before = _events(plant)
    with sqlite3.connect(plant / "wideroll.db") as database:
        triggers = [row[0] for row in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
        for trigger in triggers:
            database.execute(f'DROP TRIGGER "{trigger}"')
        database.execute("UPDATE events SET who = 'somebody else' WHERE number = 2")
    database.close()
    assert main(["decide", str(plant), ROLL]) == RECORD_BROKEN
    err = capsys.readouterr().err
    assert "event 2" in err
    assert "Traceback" not in err
    assert _events(plant) == before


def test_a_new_reading_gives_a_new_event(plant: Path) -> None:
    """A decision on other evidence is added to the record beside the one before."""
    readings = plant / "rolls" / ROLL / "strips" / "readings.csv"
    lines = readings.read_text(encoding="utf-8").splitlines()
    cells = lines[3].split(",")
    lines[3] = ",".join([*cells[:2], f"{float(cells[2]) + 0.01:.2f}", *cells[3:]])
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    before = _events(plant)
    assert main(["decide", str(plant), ROLL]) == HOLD
    assert _acts(plant)[before:] == ["reading", "decision"]


def test_a_lost_record_is_said(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A decision that stands without a record isn't taken for one on record."""
    for path in plant.glob("wideroll.db*"):
        path.unlink()
    assert main(["decide", str(plant), ROLL]) == HOLD
    err = capsys.readouterr().err
    assert "there is no record" in err
    assert "Nothing was stale" not in err
    assert _acts(plant) == ["take-in", "reading", "sighting", "calibration", "decision"]


def test_a_changed_scan_result_is_not_decided_by(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A kept scan that was rewritten, its own check sum too, isn't used for a later decision on other evidence."""
    path = plant / "results" / ROLL / "state" / "scan.json"
    right = path.read_bytes()
    scan = json.loads(right)
    scan["value"]["noise"] = 0.5
    content = blake2b(json.dumps(scan["value"]).encode(), digest_size=32).hexdigest()
    path.write_text(json.dumps(scan | {"content": content}), encoding="utf-8")
    sightings = plant / "rolls" / ROLL / "examination" / "sightings.csv"
    sightings.write_text(sightings.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    assert main(["decide", str(plant), ROLL]) == HOLD
    assert "scan.json isn't the file that event" in capsys.readouterr().err
    assert path.read_bytes() == right


def test_a_roll_may_be_renamed(plant: Path) -> None:
    """What an earlier name of the roll remembers of its segments is no other roll's claim on them."""
    (plant / "rolls" / ROLL).rename(plant / "rolls" / "W-3000")
    assert main(["decide", str(plant), "W-3000"]) == HOLD
