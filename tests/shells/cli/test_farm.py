"""Many rolls at once or one in shares: what is kept is what the scan command would have kept."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile

from wideroll.cli import farming
from wideroll.store import sealed_bytes

ROLL, TWIN = "T-1", "T-2"


@pytest.fixture
def two_rolls(plant: Path) -> Path:
    """A plant with two rolls; the second's last segment is cut off."""
    shutil.copytree(plant / "rolls" / ROLL, plant / "rolls" / TWIN)
    web = np.random.Generator(np.random.PCG64(2)).normal(150.0, 2.0, (500, 400)).round().astype(np.uint8)
    for number, part in enumerate((web[:300], web[300:]), 1):
        path = plant / "rolls" / TWIN / "scan" / f"segment-{number}.tif"
        tifffile.imwrite(path, part, photometric="minisblack")
    path.write_bytes(path.read_bytes()[:-40_000])
    return plant


def _kept(plant: Path, roll: str) -> dict[str, bytes]:
    folder = plant / "results" / roll
    return {
        name: sealed_bytes(folder / name) for name in ("marks.parquet", "chips", "overview.zarr", "state/scan.json")
    }


def test_one_roll_in_shares(plant: Path, run) -> None:
    """One roll named is scanned in shares; the results are those of one process, and the next command finds them."""
    code, out, err = run("farm", plant, ROLL, "--workers", "1")
    assert code == 0
    assert "shares 500 lines: done" in err
    assert "T-1" in out
    shared = _kept(plant, ROLL)
    assert run("scan", plant, ROLL)[2] == ""
    shutil.rmtree(plant / "results")
    assert run("scan", plant, ROLL)[0] == 0
    assert _kept(plant, ROLL) == shared


def test_many_rolls_at_once(two_rolls: Path, run) -> None:
    """Without names all rolls are scanned; damage is told with the roll's name, and later commands find the results."""
    code, out, err = run("farm", two_rolls, "--workers", "1", "--json")
    document = json.loads(out)
    assert (code, document["schema"]) == (0, "wideroll/farm/1")
    first, second = document["rolls"]
    assert (first["roll"], first["lines"], first["marks"]) == (ROLL, 500, 1)
    assert (second["roll"], second["marks"]) == (TWIN, 0)
    assert second["looked_at_share"] < 0.9 * first["looked_at_share"]
    assert err.count("T-2: segment-2.tif is cut off: 100 lines are lost") == 1
    assert run("scan", two_rolls, TWIN)[2] == ""


def test_a_roll_that_fails_is_named(two_rolls: Path, run) -> None:
    """The error of one roll names it, after the others are done and kept."""
    (two_rolls / "rolls" / TWIN / "scan" / "segment-1.tif").unlink()
    code, out, err = run("farm", two_rolls, ROLL, TWIN, "--workers", "1")
    assert (code, out) == (3, "")
    assert "T-2" in err
    assert "segment-1.tif" in err
    assert (two_rolls / "results" / ROLL / "state" / "scan.json").is_file()


def test_nothing_to_scan(plant: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plant without scans, and a roll without one, are answered before any process starts."""
    monkeypatch.setattr(farming, "scan_many", pytest.fail)
    shutil.rmtree(plant / "rolls" / ROLL / "scan")
    for words in ((), (ROLL,)):
        code, out, err = run("farm", plant, *words)
        assert (code, out) == (3, "")
        assert "scan" in err
