"""The cut and its what-ifs from a terminal."""

import csv
import json
import threading
from pathlib import Path

import pytest

from wideroll.acts.what_if import ends_at
from wideroll.cli.waiting import waiting
from wideroll.roll import Extent
from wideroll.slitting import ByMetre, CutRules, SlitWidth, plan_cut

ROLL = "T-1"


def _files(root: Path) -> dict[Path, bytes]:
    """What is recorded; not the memory of hashes, which takes in a file once it has lain for a while."""
    return {path: path.read_bytes() for path in root.rglob("*") if path.is_file() and path.name != "inputs.json"}


def test_decide_writes_the_list_and_its_sheet(decided_plant: Path, run) -> None:
    """The list lies beside the decision as CSV, JSON and sheet, and the command says where."""
    folder = decided_plant / "results" / ROLL
    code, out, _ = run("cut", decided_plant, ROLL)
    assert code == 0
    assert f"cut list: {folder / 'cut.html'}" in out
    assert "Yield by width" in out
    order = [out.index(word) for word in ("Caution: moving web", "no lit page", "Where the knives stand", "Cut list")]
    assert order == sorted(order)
    assert "Caution" in (folder / "cut.html").read_text(encoding="utf-8")
    rows = list(csv.DictReader((folder / "cut.csv").read_text(encoding="utf-8").splitlines()))
    made = json.loads((folder / "cut.json").read_text(encoding="utf-8"))
    assert [row["label"] for row in rows] == [piece["label"] for piece in made["pieces"]]
    assert all(row["label"].startswith(f"{ROLL}/") for row in rows)


def test_a_what_if_changes_nothing_that_is_recorded(decided_plant: Path, tmp_path: Path, run) -> None:
    """The plan with the wish and its cost are shown and written elsewhere; results and record stay as they are."""
    before = _files(decided_plant)
    code, out, err = run("cut", decided_plant, ROLL, "--knife-at", "25mm", "--write", tmp_path / "if")
    assert code == 0
    assert out.startswith("What-if: this isn't the recorded plan")
    assert "a knife at 25.000 mm" in out
    assert "25mm" not in out
    assert "What the wishes cost" in out
    assert "what-if.html" in err
    assert _files(decided_plant) == before
    rows = list(csv.DictReader((tmp_path / "if" / "what-if.csv").read_text(encoding="utf-8").splitlines()))
    assert {row["status"] for row in rows} == {"what-if: not the recorded plan"}
    edges = {row[name] for row in rows for name in ("across_from_mm", "across_to_mm")}
    assert "25.000" in edges
    assert "WHAT-IF" in (tmp_path / "if" / "what-if.html").read_text(encoding="utf-8")


def test_a_wish_comes_back_as_it_was_written(decided_plant: Path, tmp_path: Path, run) -> None:
    """A place given in other units than the shop's stands as written beside the shop's, in table, sheet and error."""
    code, out, _ = run("cut", decided_plant, ROLL, "--knife-at", "63/64 in", "--write", tmp_path / "if")
    assert code == 0
    assert "a knife at 63/64 in (25.003 mm)" in out
    assert "a knife at 63/64 in (25.003 mm)" in (tmp_path / "if" / "what-if.html").read_text(encoding="utf-8")
    code, _, err = run("cut", decided_plant, ROLL, "--knife-at", "20 in")
    assert code == 3
    assert "a knife at 20 in (508.000 mm)" in err


def test_knives_too_near_to_each_other_say_why(decided_plant: Path, run) -> None:
    """Two knives with no room for a lane between them, where no row of lanes ends at the first, are explained."""
    code, _, err = run("cut", decided_plant, ROLL, "--knife-at", "25mm", "--knife-at", "28mm")
    assert code == 3
    assert "Move one of the knives. A lane must begin or end at 25.000 mm." in err
    assert "to the next knife are 3.000 mm" in err


def test_a_row_of_lanes_ends_where_widths_and_knife_step_say() -> None:
    """Lanes of 10 and 7.5 mm from an edge trim of 5 mm on a step of 2 mm end where sums of them reach, else nowhere."""
    widths = tuple(
        SlitWidth(name=str(wide), width_mm=wide, tolerance_mm=0.1, finish=ByMetre(value_per_m=1.0))
        for wide in (10.0, 7.5)
    )
    web = Extent(along_from_m=0.0, along_to_m=50.0, across_from_mm=0.0, across_to_mm=60.0)
    rules = CutRules(edge_trim_mm=5.0, knife_step_mm=2.0)
    plan = plan_cut(web, avoid=[], widths=widths, rules=rules)
    ends = {
        round(5.0 + 2.0 * step + 10.0 * tens + 7.5 * others, 3)
        for step in range(26)
        for tens in range(6)
        for others in range(7)
        if tens + others
    }
    for place in (0.5 * half for half in range(11, 110)):
        assert ends_at(plan, place) == (place in ends), place


def test_waiting_is_told_on_a_terminal_only(monkeypatch, capsys) -> None:
    """What is quickly done says nothing; what takes longer says on a terminal what goes on, and elsewhere nothing."""
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    with waiting("planning"):
        pass
    assert capsys.readouterr().err == ""
    told, said = threading.Event(), []
    monkeypatch.setattr("wideroll.cli.waiting._AFTER_S", 0.0)
    monkeypatch.setattr("wideroll.cli.waiting.tell", lambda text: (said.append(text), told.set()))
    with waiting("planning", alone=False):
        assert told.wait(10.0)
    assert said == ["planning …"]
    monkeypatch.setattr("sys.stderr.isatty", lambda: False)
    with waiting("planning"):
        assert not any(isinstance(thread, threading.Timer) for thread in threading.enumerate())


def test_a_what_if_as_json_prices_each_wish(decided_plant: Path, run) -> None:
    """The document is a what-if with each wish's price and, with several, that of all; the costs are differences."""
    words = ["--knife-at", "0,98425 in", "--cross-cut-at", "1m"]
    code, out, _ = run("cut", decided_plant, ROLL, *words, "--json")
    assert code == 0
    made = json.loads(out)
    assert made["what_if"] is True
    assert [len(price["wishes"]) for price in made["prices"]] == [1, 1, 2]
    assert all(p["cost"] == pytest.approx(p["net_without"] - p["net_with"]) for p in made["prices"])
    assert made["prices"][-1]["net_with"] == pytest.approx(made["net"])
    recorded = json.loads((decided_plant / "results" / ROLL / "cut.json").read_text(encoding="utf-8"))
    assert made["prices"][0]["net_without"] == pytest.approx(recorded["net"])
    assert not any(piece["extent"]["along_from_m"] < 1.0 < piece["extent"]["along_to_m"] for piece in made["pieces"])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--knife-at", "25"], "a length is a number and a unit"),
        (["--knife-at", "500mm"], "500"),
        (["--cross-cut-at", "9m"], "9"),
        (["--without-width", "17 mm"], "17 mm"),
        (["--without-width", "35 mm"], "no lane of 35 mm"),
    ],
)
def test_a_wish_that_cannot_be_met_is_named(decided_plant: Path, run, words: list[str], says: str) -> None:
    """A wish that can't be read, lies off the web, or leaves no plan ends with 3 and is named; nothing is shown."""
    before = _files(decided_plant)
    code, out, err = run("cut", decided_plant, ROLL, *words)
    assert (code, out) == (3, "")
    assert err.startswith("Error: ")
    assert says in err
    assert _files(decided_plant) == before


def test_only_a_what_if_is_written_elsewhere(decided_plant: Path, tmp_path: Path, run) -> None:
    """Without a wish there is nothing to write to a folder: wrong usage, and no folder."""
    code, _, err = run("cut", decided_plant, ROLL, "--write", tmp_path / "if")
    assert code == 2
    assert "goes with a wish" in err
    assert not (tmp_path / "if").exists()


def test_the_list_is_in_the_shops_units(plant: Path, run) -> None:
    """With shop_units = "inches" the list's columns are in feet and inches, and so is the table."""
    path = plant / "plant.toml"
    path.write_text('shop_units = "inches"\n' + path.read_text())
    code, out, _ = run("cut", plant, ROLL)
    assert code == 0
    assert "slitter, ft" in out
    head = (plant / "results" / ROLL / "cut.csv").read_text(encoding="utf-8").splitlines()[0]
    assert "slitter_from_ft" in head
    assert "across_from_in" in head
