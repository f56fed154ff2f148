"""A complaint about a demo plant's finished roll, led back to the flaw that was planted, and out to its sisters."""

import csv
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from wideroll.cli import main

ROLL = "W-2042"
WHO = ["--who", "C. Desk"]
_ENDS = ("coated_from_m", "coated_to_m", "across_from_mm", "across_to_mm")


@pytest.fixture
def plant(small_plant: Path, tmp_path: Path) -> Path:
    """A copy of the demo plant; what is large is a link, as it is never written to."""

    def copy(source: str, target: str) -> None:
        if source.endswith((".tif", ".parquet", ".zarr")):
            Path(target).hardlink_to(source)
        else:
            shutil.copy2(source, target)

    return Path(shutil.copytree(small_plant, tmp_path / "plant", copy_function=copy))


def _planted_and_sold(root: Path) -> tuple[dict[str, Any], str, float]:
    """The clearest planted spot in film that was sold, the finished roll, and how far it lies from its outer end.

    By the cut list alone: what was slit first lies outside, so coated metres fall towards the core.
    """
    truth = json.loads((root / "truth" / f"{ROLL}.json").read_text(encoding="utf-8"))
    spots = sorted((one for one in truth["marks"] if one["kind"] == "spot"), key=lambda one: one["contrast"])
    with (root / "results" / ROLL / "cut.csv").open(encoding="utf-8", newline="") as file:
        pieces = list(csv.DictReader(file))
    for spot in spots:
        for row in pieces:
            low_m, high_m, left_mm, right_mm = (float(row[name]) for name in _ENDS)
            inside = low_m + 0.5 < spot["along_m"] < high_m - 0.5 and left_mm + 3 < spot["across_mm"] < right_mm - 3
            if inside and row["parts"] == "1":
                return spot, row["label"], high_m - spot["along_m"]
    raise LookupError


def test_a_complaint_leads_to_the_planted_flaw_and_its_sisters(
    plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From what a customer saw to the planted mark, the finding, the recall list and a record that holds."""
    spot, finished, metres = _planted_and_sold(plant)

    def run(*words: object) -> str:
        capsys.readouterr()
        assert main([str(word) for word in words]) == 0
        return capsys.readouterr().out

    at = f"{metres:.1f} m from outer end"
    opened = run("complaint", "open", plant, finished, "--saw", "dark spot", "--at", at, *WHO, "--json")
    case = json.loads(opened)
    marks = [mark for one in case["trace"]["stretches"] for mark in one["marks"] if mark["inside"]]
    (found,) = [mark for mark in marks if abs(mark["across_mm"] - spot["across_mm"]) < 1.0]
    assert found["along_m"] == pytest.approx(spot["along_m"], abs=0.02)
    assert case["rolls"] == [ROLL]
    assert re.search(f"open complaints: 1 .{case['case']} dark spot", run("decide", plant, ROLL))
    run("complaint", "find", plant, 1, "ours", "--looked-at", "trace", "--why", f"mark {found['id']} lies there", *WHO)
    recall = tmp_path / "recall.csv"
    run("trace", plant, finished, "--at", at, "--sisters", "--recall", recall, *WHO)
    run("complaint", "close", plant, 1, "--outcome", "replaced; sisters called back", *WHO)
    shown = json.loads(run("complaint", "show", plant, 1, "--json"))
    assert (shown["state"], shown["finding"], shown["next"]) == ("closed", "ours", [])
    assert shown["recalls"][0]["rolls"][0] == finished
    assert recall.read_text(encoding="utf-8").count("\n") >= len(shown["recalls"][0]["rolls"])
    run("record", "verify", plant)
