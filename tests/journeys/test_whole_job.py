"""The whole job on the demo plant, as a user would do it, compared with the truth that the program never reads."""

import csv
import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from wideroll.cli import main

GOOD, FLAWED, SLOW = "W-2041", "W-2042", "W-2043"
CODES = {"release": 0, "cut out": 0, "hold": 10, "reject": 11}


def _json(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8"))


def _decision(root: Path, roll: str) -> Any:
    return _json(root / "results" / roll / "decision.json")


def _truth(root: Path, roll: str) -> Any:
    return _json(root / "truth" / f"{roll}.json")


def _run(capsys: pytest.CaptureFixture[str], words: Sequence[str]) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    return code, out, err


@pytest.mark.parametrize("roll", [GOOD, FLAWED, SLOW])
def test_the_verdict_agrees_with_the_truth(small_plant: Path, roll: str) -> None:
    """Each roll's verdict is the one its planted faults deserve."""
    assert _decision(small_plant, roll)["verdict"] == _truth(small_plant, roll)["verdict"]


@pytest.mark.parametrize("roll", [GOOD, FLAWED, SLOW])
def test_the_exit_code_carries_the_verdict(small_plant: Path, capsys: pytest.CaptureFixture[str], roll: str) -> None:
    """A script learns the outcome from the exit code."""
    code, _, err = _run(capsys, ["decide", small_plant, roll])
    assert code == CODES[_truth(small_plant, roll)["verdict"]]
    assert "Nothing was stale" in err


def test_the_roller_behind_the_marks_is_named(small_plant: Path) -> None:
    """The first series' likeliest candidate is the roller that was made to print."""
    truth = _truth(small_plant, FLAWED)
    series = _decision(small_plant, FLAWED)["series"]
    assert [s["candidates"][0]["roller"] for s in series] == [truth["roller"]]
    assert series[0]["candidates"][0]["probability"] > 0.9
    assert series[0]["across_mm"] == pytest.approx(truth["roller_across_mm"], abs=2.0)


def test_no_piece_lies_in_a_flaw(small_plant: Path) -> None:
    """No piece holds the streak or the roller's lane, and none of first quality the dirty stretch."""
    truth = _truth(small_plant, FLAWED)
    streak = truth["streaks"][0]
    dirty_from, dirty_to = truth["dirty_stretch_m"]
    spotted = [m["along_m"] for m in truth["marks"] if m["cause"] == "dirty stretch"]
    pieces = _json(small_plant / "results" / FLAWED / "cut.json")["pieces"]
    assert pieces
    for piece in pieces:
        box = piece["extent"]
        over_streak = box["across_from_mm"] < streak["across_mm"] < box["across_to_mm"]
        assert not (over_streak and box["along_to_m"] > streak["along_from_m"])
        assert not (box["across_from_mm"] < truth["roller_across_mm"] < box["across_to_mm"])
        overlap = min(box["along_to_m"], dirty_to) - max(box["along_from_m"], dirty_from)
        inside = [s for s in spotted if box["along_from_m"] < s < box["along_to_m"]]
        dirty = overlap > 0 and len(inside) >= 0.1 * len(spotted)
        assert not dirty or piece["quality"] == "second"


def test_the_streak_lane_is_kept_until_the_streak_starts(small_plant: Path) -> None:
    """Film beside and before the streak is saved: some piece covers the streak's place across before its start."""
    streak = _truth(small_plant, FLAWED)["streaks"][0]
    pieces = _json(small_plant / "results" / FLAWED / "cut.json")["pieces"]
    assert any(
        p["extent"]["across_from_mm"] < streak["across_mm"] < p["extent"]["across_to_mm"]
        and p["extent"]["along_to_m"] <= streak["along_from_m"]
        for p in pieces
    )


def test_the_streak_s_grade_holds_nothing_beyond_the_streak(small_plant: Path) -> None:
    """The streak is graded too bad on each sheet it crosses, and only where the scanner saw it."""
    graded = [f for f in _decision(small_plant, FLAWED)["findings"] if f["criterion"] == "Streak grade"]
    streak = _truth(small_plant, FLAWED)["streaks"][0]
    assert graded
    for finding in graded:
        assert (finding["verdict"], finding["reason"]) == ("hold", "above-limit")
        assert finding["extent"]["along_from_m"] == pytest.approx(streak["along_from_m"] - 0.5, abs=0.3)


def test_an_expired_gauge_holds_the_roll(small_plant: Path) -> None:
    """The adhesion of the last roll was measured after the gauge's calibration had expired: void evidence holds it."""
    adhesion = [f for f in _decision(small_plant, SLOW)["findings"] if f["criterion"] == "Adhesion"]
    assert {(f["verdict"], f["reason"]) for f in adhesion} == {("hold", "evidence-void")}


def test_looks_photograph_and_undo_are_told(small_plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``examine --history`` tells a contradiction and the line taken back; ``agreement`` compares the two examiners."""
    code, out, _ = _run(capsys, ["examine", small_plant, FLAWED, "--json"])
    document = json.loads(out)
    assert code == 0
    assert len(document["taken_back"]) == 1
    assert any(one["layer"]["contradiction"] for one in document["sightings"])
    assert [one["photograph"]["refused"] for one in document["sightings"] if one["photograph"]] == [""]
    code, out, _ = _run(capsys, ["agreement", small_plant, "--json"])
    pairs = {(pair["first"], pair["second"]) for pair in json.loads(out)["pairs"]}
    assert pairs == {("examiner A", "examiner A"), ("examiner A", "examiner B")}


def test_the_slow_batch_is_cut_out_and_the_void_run_named(small_plant: Path) -> None:
    """The batch off aim is a region to cut out; the strips of the void run are named for repetition."""
    truth = _truth(small_plant, SLOW)
    decision = _decision(small_plant, SLOW)
    void = [run for run in decision["process_runs"] if not run["usable"]]
    assert [run["run"] for run in void] == truth["void_runs"]
    assert all(any(strip in missing["why"] for missing in decision["missing"]) for strip in void[0]["void_strips"])
    speed = [f for f in decision["findings"] if f["criterion"] == "Speed" and f["verdict"] == "cut out"]
    worst = max(speed, key=lambda finding: abs(finding["found"]))
    assert worst["low"] <= truth["slow_log_h"] <= worst["high"]


def test_rarities_are_named_for_what_they_are(small_plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The comet and the hole are found where they were planted, and named so; the band with its period and swing."""
    planted = {m["kind"]: m for m in _truth(small_plant, FLAWED)["marks"] if m["kind"] in {"comet", "hole"}}
    marks = pl.read_parquet(small_plant / "results" / FLAWED / "marks.parquet")
    for kind, mark in planted.items():
        (found,) = marks.filter(pl.col("kind") == kind).iter_rows(named=True)
        assert found["along_m"] == pytest.approx(mark["along_m"], abs=0.006)
        assert found["across_mm"] == pytest.approx(mark["across_mm"], abs=1.0)
    code, out, _ = _run(capsys, ["scan", small_plant, SLOW, "--json"])
    (band,) = json.loads(out)["bands"]
    assert (code, band["period_mm"]) == (0, pytest.approx(_truth(small_plant, SLOW)["band_mm"], rel=0.002))


def test_places_are_the_encoders_where_the_web_slowed(small_plant: Path) -> None:
    """On the roll whose web ran slower for a while, marks lie where they were planted all the same."""
    planted = pl.DataFrame([{k: m[k] for k in ("along_m", "across_mm")} for m in _truth(small_plant, SLOW)["marks"]])
    marks = pl.read_parquet(small_plant / "results" / SLOW / "marks.parquet")
    assert marks.height > 3
    for along_m, across_mm in marks.select("along_m", "across_mm").iter_rows():
        near = planted.filter(
            (pl.col("along_m") - along_m).abs() < 0.002, (pl.col("across_mm") - across_mm).abs() < 2.0
        )
        assert near.height >= 1


def test_the_cut_list_runs_from_the_tail(small_plant: Path) -> None:
    """The slitter's metres count from the tail and the list is in the order the slitter meets the web."""
    length = _decision(small_plant, FLAWED)["length_m"]
    with (small_plant / "results" / FLAWED / "cut.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        assert float(row["slitter_from_m"]) == pytest.approx(length - float(row["coated_to_m"]), abs=2e-3)
    ends = [float(row["coated_to_m"]) for row in rows]
    runs = [row["piece"].split("-")[0] for row in rows]
    first_of_run = {run: max(e for e, r in zip(ends, runs, strict=True) if r == run) for run in dict.fromkeys(runs)}
    assert list(first_of_run.values()) == sorted(first_of_run.values(), reverse=True)


def _times(root: Path) -> dict[Path, int]:
    """When each file was changed; not the memory of hashes, which takes in a file once it has lain for a while."""
    return {p: p.stat().st_mtime_ns for p in root.rglob("*") if p.is_file() and p.name != "inputs.json"}


def test_a_second_demo_does_only_what_is_stale(small_plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Run again on the same plant, demo computes nothing anew and changes no file."""
    files = _times(small_plant)
    code, out, err = _run(capsys, ["demo", small_plant, "--small"])
    assert code == 0
    assert "scan" not in [line.split(" ")[0] for line in err.splitlines()]
    assert err.count("Nothing was stale") == 3
    assert _times(small_plant) == files
    assert f"{FLAWED}: cut out" in out


def test_only_what_changed_is_done_again(small_plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """After a new strip reading the decision is made anew, but the web isn't scanned again."""
    root = tmp_path / "plant"
    shutil.copytree(small_plant, root)
    readings = root / "rolls" / GOOD / "strips" / "readings.csv"
    text = readings.read_text(encoding="utf-8")
    lines = text.splitlines()
    cells = lines[3].split(",")
    lines[3] = ",".join([*cells[:2], f"{float(cells[2]) + 0.01:.2f}", *cells[3:]])
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    code, _, err = _run(capsys, ["decide", root, GOOD])
    assert code == 0
    assert "scan" not in err
    assert "Nothing was stale" not in err


def test_the_same_input_gives_the_same_bytes(
    small_plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Decided again from nothing, every result file has the same bytes."""
    root = tmp_path / "plant"
    shutil.copytree(small_plant, root)
    shutil.rmtree(root / "results")
    _run(capsys, ["decide", root, SLOW])
    for name in ("decision.json", "cut.json", "cut.csv", "sheet.html", "marks.parquet"):
        mine, theirs = root / "results" / SLOW / name, small_plant / "results" / SLOW / name
        assert mine.read_bytes() == theirs.read_bytes(), name


@pytest.mark.parametrize("command", ["scan", "strips", "examine", "repeats", "decide", "cut"])
def test_each_command_speaks_json(small_plant: Path, capsys: pytest.CaptureFixture[str], command: str) -> None:
    """``--json`` prints exactly one document with its schema, and nothing else on standard output."""
    _, out, _ = _run(capsys, [command, small_plant, FLAWED, "--json"])
    document = json.loads(out)
    assert document["schema"].startswith("wideroll/")


def test_what_is_not_proven_does_not_look_so(small_plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A stretch that is released though its interval reaches past the limit says so, as does what the cut judges."""
    stretch = next(f for f in _decision(small_plant, GOOD)["findings"] if f["criterion"] == "Spots in a stretch")
    assert stretch["found"] <= stretch["limit"] < stretch["high"]
    _, out, _ = _run(capsys, ["decide", small_plant, GOOD])
    sheet = (small_plant / "results" / GOOD / "sheet.html").read_text(encoding="utf-8")
    assert out.count("not shown to be above") == 1
    assert out.count("judged when cut") == 1  # 16 marks on the roll and at most 1 in a finished one
    assert sheet.count("not shown to be above") == 2  # in the table and in that of all findings


def test_the_demo_speaks_json(small_plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``demo --json`` prints one document with each roll's verdict, and all else on standard error."""
    code, out, err = _run(capsys, ["demo", small_plant, "--small", "--json"])
    assert code == 0
    found = {roll["roll"]: roll["verdict"] for roll in json.loads(out)["rolls"]}
    assert found == {roll: _truth(small_plant, roll)["verdict"] for roll in (GOOD, FLAWED, SLOW)}
    assert "$ wideroll decide" in err


def test_the_record_holds_each_decision(small_plant: Path) -> None:
    """Every decision is an event of an intact chain."""
    from wideroll.store import RecordStore  # noqa: PLC0415

    with RecordStore(f"sqlite:///{small_plant / 'wideroll.db'}") as record:
        assert record.verify().intact
        events = [event for event in record.events() if event.act == "decision"]
    decided = {str(event.body["roll"]): event.body["verdict"] for event in events}
    assert decided == {roll: _truth(small_plant, roll)["verdict"] for roll in (GOOD, FLAWED, SLOW)}


@pytest.mark.parametrize(
    ("folder", "wanted"),
    [("scan", "scan"), ("examination", "sheets"), ("strips", "strips")],
)
def test_a_roll_that_lacks_evidence_is_held(
    small_plant: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], folder: str, wanted: str
) -> None:
    """Without scan, sheets or strips a good roll is on hold, and the finding says what is missing."""
    root = tmp_path / "plant"
    shutil.copytree(small_plant, root)
    shutil.rmtree(root / "rolls" / GOOD / folder)
    code, _, _ = _run(capsys, ["decide", root, GOOD])
    assert code == CODES["hold"]
    held = [f["why"] for f in _decision(root, GOOD)["findings"] if f["verdict"] == "hold"]
    assert any(wanted in why for why in held)
