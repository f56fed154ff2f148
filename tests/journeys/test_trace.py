"""A complaint about a finished roll of the demo plant leads to the flaw that was planted there."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from wideroll.cli import main

ROLL = "W-2042"


def _sold(root: Path, mark: dict[str, Any]) -> tuple[str, float] | None:
    """The finished roll that holds a planted mark, and how far from its outer end; None where it was cut away."""
    for piece in json.loads((root / "results" / ROLL / "cut.json").read_text(encoding="utf-8"))["pieces"]:
        extent = piece["extent"]
        along = extent["along_from_m"] < mark["along_m"] < extent["along_to_m"]
        if along and extent["across_from_mm"] < mark["across_mm"] < extent["across_to_mm"]:
            return piece["label"], extent["along_to_m"] - mark["along_m"]
    return None


def test_a_complaint_leads_to_the_planted_flaw(
    small_plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every large planted mark in film that was sold is found from its finished roll, at its coated place."""
    root = Path(
        shutil.copytree(small_plant, tmp_path / "demo", ignore=shutil.ignore_patterns("*.tif", "overview.zarr"))
    )
    planted = json.loads((root / "truth" / f"{ROLL}.json").read_text(encoding="utf-8"))["marks"]
    large = [mark for mark in planted if min(mark["length_mm"], mark["width_mm"]) >= 1.0]
    sold = [(mark, place) for mark in large if (place := _sold(root, mark)) is not None]
    assert sold
    for mark, (number, away_m) in sold[:5]:
        capsys.readouterr()
        feet, inches = divmod(away_m / 0.0254, 12)
        words = f"{int(feet)} ft {inches:.1f} in from outer end"
        assert main(["trace", str(root), number, "--at", words, "--json"]) == 0
        (stretch,) = json.loads(capsys.readouterr().out)["stretches"]
        assert stretch["roll"] == ROLL
        assert any(
            abs(one["along_m"] - mark["along_m"]) < 0.005 and abs(one["across_mm"] - mark["across_mm"]) < 2.0
            for one in stretch["marks"]
        )
