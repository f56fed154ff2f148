"""Examiners' agreement in a terminal."""

import json
import tomllib
from pathlib import Path

import pytest

HEAD = "sheet,kind,along,across,size,red,green,blue,embedded,look\n"


def row(number: int, look: str, red: str = "darker") -> str:
    """A spot at a place of its own."""
    place = f"{2 * (number % 15)} cm,{10 + 8 * (number // 15)} mm"
    return f"A,spot,{place},0.{3 + number % 5} mm,{red},darker,darker,yes,{look}\n"


@pytest.fixture
def looked(plant: Path) -> Path:
    """The plant with a sheet that two examiners looked at, one of them twice."""
    folder = plant / "rolls" / "T-1" / "examination"
    (folder / "sheets.csv").write_text("sheet,along_from,along_to,examiner\nA,1 m,1.4 m,Berta\n")
    (folder / "looks.csv").write_text("look,sheet,examiner,blind\nR1,A,Anna,yes\nR2,A,Berta,yes\n")
    rows = [row(n, "") for n in range(20)] + [row(n, "R1", "same" if n % 7 == 0 else "darker") for n in range(8, 26)]
    (folder / "sightings.csv").write_text(HEAD + "".join(rows) + "".join(row(n, "R2") for n in range(18)))
    return plant


def test_one_roll_in_words(looked: Path, run) -> None:
    """Pairs are shown by name, with what nobody noted, and lines for examiners.toml."""
    code, out, _ = run("agreement", looked, "T-1")
    text = " ".join(out.split())
    assert code == 0
    assert "1 sheet was looked at blind twice or more" in text
    assert "Berta again" in text
    assert "too few to say; needed: at least 60 marks" in " ".join(text.replace("-", " ").split())
    assert '[[examiners]] name = "Anna"' in text
    for word in ("missed", "worst", "best", "rank", "poor"):
        assert word not in text


def test_all_rolls_with_kept_scans_only(looked: Path, run) -> None:
    """Without a roll no scan is started: what isn't kept is said, and examiners are compared all the same."""
    code, out, _ = run("agreement", looked, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["schema"] == "wideroll/agreement/1"
    assert document["rolls"] == ["T-1"]
    assert {(p["first"], p["second"]): p["both"] for p in document["pairs"]} == {
        ("Anna", "Berta"): 12,
        ("Berta", "Berta"): 18,
    }
    assert document["scanner"] is None
    assert "No scan of T-1 is kept" in document["notes"][0]
    assert not (looked / "results" / "T-1" / "marks.parquet").exists()


def test_the_proposal_can_be_adopted(looked: Path, run) -> None:
    """The lines are TOML that the plant takes, and then layers are located with them."""
    before = json.loads(run("examine", looked, "T-1", "--json")[1])["sightings"]
    lines = json.loads(run("agreement", looked, "--json")[1])["examiners_toml"]
    assert {one["name"] for one in tomllib.loads(lines)["examiners"]} == {"Anna", "Berta"}
    (looked / "examiners.toml").write_text(lines)
    code, out, _ = run("examine", looked, "T-1", "--json")
    after = json.loads(out)["sightings"]
    assert code == 0
    assert [one["sighting"] for one in after] == [one["sighting"] for one in before]
    assert [one["layer"] for one in after] != [one["layer"] for one in before]


def test_looks_are_merged_wherever_marks_are_counted(looked: Path, run) -> None:
    """26 things seen in three looks are 26 in examine, and in the rates of the sheets."""
    document = json.loads(run("examine", looked, "T-1", "--json")[1])
    assert len(document["sightings"]) == 26
    differing = [one["differs"] for one in document["sightings"] if one["differs"]]
    assert differing == ["darker through red, in look R1 same"]
    counted = json.loads(run("rates", looked, "T-1", "--json")[1])["sheets"]
    whole = [one for one in counted if one["lane"] is None and one["of"]["kind"] == "spot"]
    assert max(one["per_m2"]["count"] for one in whole) == 26
    _, out, _ = run("examine", looked, "T-1")
    assert "⚠" in out
    assert "differ" in out  # a line further down in the same cell, where the terminal is narrow


def test_a_plant_without_looks_says_what_to_do(plant: Path, run) -> None:
    """Nothing to compare is no error; the mend is said."""
    code, out, _ = run("agreement", plant)
    assert code == 0
    assert "looks.csv" in out


def test_bad_input_ends_with_one_error(looked: Path, run) -> None:
    """A look that isn't listed, and a roll that isn't there, are named."""
    (looked / "rolls" / "T-1" / "examination" / "looks.csv").write_text("look,sheet,examiner,blind\nR1,A,Anna,yes\n")
    code, _, err = run("agreement", looked)
    assert code == 3
    assert "column look" in " ".join(err.split())
    assert run("agreement", looked, "T-9")[0] == 3
    assert run("agreement", looked / "rolls")[0] == 3
