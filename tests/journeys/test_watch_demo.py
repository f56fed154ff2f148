"""The demo's flawed roll comes off the machine segment by segment, and the control room hears of one roller."""

import json
import shutil
import threading
import time
from pathlib import Path

import pytest

from wideroll.cli import main

ROLL = "W-2042"


@pytest.fixture
def running(small_plant: Path, tmp_path: Path) -> tuple[Path, Path]:
    """The plant without this roll's segments, and a folder with them."""
    root, hold = tmp_path / "plant", tmp_path / "hold"
    shutil.copytree(small_plant, root, ignore=shutil.ignore_patterns("results", "truth", "wideroll.db"))
    scan = root / "rolls" / ROLL / "scan"
    hold.mkdir()
    for path in scan.glob("segment-*.tif"):
        path.rename(hold / path.name)
    lines = (scan / "scan.toml").read_text().splitlines()
    kept = [line for line in lines if not line.startswith("segments")]
    (scan / "scan.toml").write_text("\n".join([*kept, 'segments = "as they come"']) + "\n")
    return root, hold


def _write_slowly(hold: Path, scan: Path) -> None:
    """As a scanner does that knows nothing of renaming: half a file, a rest, the other half."""
    for path in sorted(hold.glob("segment-*.tif")):
        data = path.read_bytes()
        with (scan / path.name).open("wb") as file:
            file.write(data[: len(data) // 2])
            file.flush()
            time.sleep(0.3)
            file.write(data[len(data) // 2 :])
        time.sleep(0.2)


def test_one_card_names_the_roller_while_segments_still_come(
    running: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Exactly one card is raised, before the end of the roll, and it names the lay-on roller and the place across."""
    root, hold = running
    scanner = threading.Thread(target=_write_slowly, args=(hold, root / "rolls" / ROLL / "scan"))
    scanner.start()
    capsys.readouterr()
    code = main(["watch", str(root), ROLL, "--json"])
    scanner.join()
    out, err = capsys.readouterr()
    (card,) = map(json.loads, out.splitlines())
    assert code == 10
    assert card["roller"] == "R07 lay-on roller"
    assert card["across_mm"] == pytest.approx(413.0, abs=1.0)
    assert card["spacing_m"] == pytest.approx(0.748, rel=0.004)
    assert card["at_m"] < 15.0
    assert "lost" not in err
    assert main(["card", str(root), ROLL]) == 0
    assert "R07" in capsys.readouterr().out.upper()


def test_the_same_roll_can_be_scanned_afterwards(
    running: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Segments taken as they came are what the plain commands read once the machine has stopped."""
    root, hold = running
    for path in hold.glob("segment-*.tif"):
        path.rename(root / "rolls" / ROLL / "scan" / path.name)
    assert main(["repeats", str(root), ROLL, "--json"]) == 0
    series = json.loads(capsys.readouterr().out)["series"]
    assert series[0]["candidates"][0]["roller"] == "R07 lay-on roller"
