"""What to sample next, and the pictures of a series, from the command line."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile

from wideroll.cli import main

LINES, COLUMNS, EVERY = 2400, 400, 78
ROLLERS = """
[[rollers]]
name = "R2 guide"
diameter = "99.3 mm"

[[rollers]]
name = "R3 drum"
diameter = "99.7 mm"
"""


@pytest.fixture(scope="module")
def repeating(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with two rollers of nearly one diameter, one of which marks every 312 mm of a roll."""
    root = Path(shutil.copytree(made, tmp_path_factory.mktemp("repeating") / "plant"))
    (root / "plant.toml").write_text((root / "plant.toml").read_text() + ROLLERS)
    web = np.random.Generator(np.random.PCG64(5)).normal(150.0, 2.0, (LINES, COLUMNS))
    for line in range(40, LINES, EVERY):
        web[line : line + 2, 150:156] = 60.0
    roll = root / "rolls" / "T-1"
    for old in (roll / "scan").glob("*.tif"):
        old.unlink()
    tifffile.imwrite(
        roll / "scan" / "segment-1.tif", np.clip(np.rint(web), 0, 255).astype(np.uint8), photometric="minisblack"
    )
    scan = roll / "scan" / "scan.toml"
    scan.write_text(scan.read_text().replace('["segment-1.tif", "segment-2.tif"]', '["segment-1.tif"]'))
    card = roll / "roll.toml"
    card.write_text(card.read_text().replace('"2 m"', '"9.6 m"'))
    assert main(["repeats", str(root), "T-1"]) == 0
    return root


def test_the_next_stretch_is_named_and_its_sheet_written(repeating, run, tmp_path):
    """The table, the words and the caution are shown; or it is said why no stretch is advised."""
    page = tmp_path / "next.html"
    code, out, err = run("next-samples", repeating, "T-1", "--sheet", page, "--length", "1 m")
    assert code == 0, err
    code, text, _ = run("next-samples", repeating, "T-1", "--length", "1 m", "--json")
    document = json.loads(text)
    assert (code, document["schema"], document["series"]) == (0, "wideroll/next-samples/1", 1)
    assert document["words"] in out
    assert document["separation"] in {"sample the stretch advised", "no stretch tells the candidates apart"}
    assert document["can_sample"] == [[9.6, 39.6]]
    assert len(document["candidates"]) >= 2
    assert page.exists() == (document["separation"] == "sample the stretch advised")
    if page.exists():
        assert "What to sample next from roll T-1" in page.read_text()
    else:
        assert "No sheet is written" in err


def test_stretches_can_be_named(repeating, run):
    """--from and --to give what can still be sampled, in any unit, as often as needed."""
    words = ("--from", "12 m", "--to", "14 m", "--from", "100 ft", "--to", "40 m", "--length", "2 ft", "--seed", 3)
    code, out, err = run("next-samples", repeating, "T-1", *words, "--json")
    document = json.loads(out)
    assert code == 0, err
    assert document["can_sample"] == [[12.0, 14.0], [30.48, 40.0]]
    assert document["tried"]["seed"] == 3
    assert all(round(one["to_m"] - one["from_m"], 4) == 0.6096 for one in document["choices"])


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("--from", "12 m"), 2, "--from"),
        (("--from", "12", "--to", "14 m"), 2, "--from"),
        (("--sheet", "next.pdf"), 2, "--sheet"),
        (("--series", "0"), 2, "--series"),
        (("--series", "9"), 3, "must be a series of the roll"),
        (("--from", "14 m", "--to", "12 m"), 3, "can_sample"),
        (("--from", "1 m", "--to", "3 m"), 3, "nobody has looked at"),
        (("--length", "0 m"), 3, "lengths_m"),
    ],
)
def test_what_cant_be_asked_is_refused(repeating, run, words, code, told):
    """A wrong option ends with one clear message that names it."""
    got, _, err = run("next-samples", repeating, "T-1", *words)
    assert got == code
    assert told in err
    assert "Traceback" not in err


def test_figures_of_each_series_are_written(repeating, run, tmp_path):
    """Fold, evidence and map lie in the folder; a file in its place is refused."""
    folder = tmp_path / "pictures"
    code, _, err = run("repeats", repeating, "T-1", "--figures", folder)
    assert code == 0, err
    assert {"fold-1.svg", "evidence-1.svg", "map.svg"} <= {path.name for path in folder.iterdir()}
    assert "R2 guide" in (folder / "evidence-1.svg").read_text()
    taken = tmp_path / "taken"
    taken.write_text("")
    code, _, err = run("repeats", repeating, "T-1", "--figures", taken)
    assert (code, "must be a folder" in err) == (3, True)


def test_a_roll_without_series_has_nothing_to_sample(plant, run):
    """It says that there are none, and how to list them."""
    code, _, err = run("next-samples", plant, "T-1")
    assert code == 3
    assert "of which there are 0" in err
