"""decide --explain: from the verdict down to each mark, strip and file, and back."""

import json
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
import tifffile

from wideroll.acts import sealing
from wideroll.store import RecordStore

STREAK = """\
[[criteria]]
name = "Streaks"
measurand = "flaw"
subject = "scan"
kinds = ["streak"]
limit = 0.5
unit = "%"
consequence = "cut out"
guard_across = "2 mm"

[[widths]]
"""

THICKNESS = """\
[[properties]]
name = "thickness"
unit = "µm"
scatter = 0.2

[[criteria]]
name = "Thickness"
measurand = "reading"
subject = "thickness"
aim = 130
limit = 3
unit = "µm"
consequence = "hold"

[[widths]]
"""


def _nodes(tree, kind=None) -> Iterator[dict]:
    if kind in {None, tree["kind"]}:
        yield tree
    for child in tree["children"]:
        yield from _nodes(child, kind)


def _explained(run, plant, *more):
    code, out, err = run("decide", plant, "T-1", "--explain", "--json", *more)
    assert out, err
    return code, json.loads(out)


def _decision(plant):
    return json.loads((plant / "results" / "T-1" / "decision.json").read_text())


def _add_streak(plant):
    """A dark line of 2 % from 0.3 m on, and a criterion for it."""
    product = plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text().replace("[[widths]]\n", STREAK, 1))
    for number in (1, 2):
        path = plant / "rolls" / "T-1" / "scan" / f"segment-{number}.tif"
        web = tifffile.imread(path).astype(np.float64)
        web[75 if number == 1 else 0 :, 250:254] *= 0.9
        tifffile.imwrite(path, np.rint(web).astype(np.uint8), photometric="minisblack")


def _add_strip(plant):
    """A second check strip, slightly denser than the first."""
    strips = plant / "rolls" / "T-1" / "strips"
    listed = (strips / "strips.csv").read_text()
    (strips / "strips.csv").write_text(listed + "S-2,check,P1,1.5 m,2 3/8 in\n")
    rows = (strips / "readings.csv").read_text()
    own = [line.split(";") for line in rows.splitlines() if line.startswith("S-1;")]
    more = "".join(
        f"S-2;{step};{float(d.replace(',', '.')) + 0.01 + 0.001 * (int(step) % 3):.3f}\n".replace(".", ",")
        for _, step, d in own
    )
    (strips / "readings.csv").write_text(rows + more)


@pytest.fixture
def streaked(plant):
    """The tiny plant with a streak."""
    _add_streak(plant)
    return plant


@pytest.fixture
def unscanned(plant):
    """The tiny plant whose roll was never scanned."""
    folder = plant / "rolls" / "T-1" / "scan"
    for path in folder.iterdir():
        path.unlink()
    folder.rmdir()
    return plant


def _check_findings(tree, plant):
    decision = _decision(plant)
    told = sorted(_nodes(tree, "finding"), key=lambda node: node["values"]["finding"])
    assert [node["values"]["finding"] for node in told] == list(range(1, len(decision["findings"]) + 1))
    for node, finding in zip(told, decision["findings"], strict=True):
        for name in ("criterion", "limit", "found", "low", "high", "margin", "unit", "verdict", "reason", "source"):
            assert node["values"][name] == finding[name]
        assert finding["why"] in [fact["value"] for fact in node["facts"]]


def test_a_released_roll_is_explained_finding_by_finding(run, decided_plant):
    """Each finding of the decision stands once in the tree, with the decision's own numbers; the exit code stays."""
    code, tree = _explained(run, decided_plant)
    assert code == 0
    assert tree["schema"] == "wideroll/explanation/1"
    assert tree["values"]["verdict"] == "release"
    assert not list(_nodes(tree, "part"))
    _check_findings(tree, decided_plant)


def test_a_cut_out_streak_is_followed_to_the_scan(run, streaked):
    """The part that is cut out leads to its finding, that to the streak's own record, and that to the scan's files."""
    code, tree = _explained(run, streaked)
    assert code == 0
    (part,) = _nodes(tree, "part")
    assert part["values"]["verdict"] == "cut out"
    (flaw,) = _nodes(part, "flaw")
    (finding,) = _nodes(part, "finding")
    assert [flaw["values"][name] for name in ("value", "low", "high")] == [
        finding["values"][name] for name in ("found", "low", "high")
    ]
    facts = {fact["name"]: fact["value"] for fact in flaw["facts"]}
    assert facts["scan"] == "segment-1.tif, segment-2.tif"
    _check_findings(tree, streaked)


def test_a_hold_without_a_scan_says_what_is_missing(run, unscanned):
    """Without a scan the chain of each held finding ends at what is missing and what mends it."""
    code, tree = _explained(run, unscanned)
    assert code == 10
    held = [node for node in _nodes(tree, "finding") if node["values"]["verdict"] == "hold"]
    assert {node["values"]["criterion"] for node in held} >= {"Scan coverage", "Marks"}
    for node in held:
        gone = list(_nodes(node, "missing"))
        assert gone
        assert all(fact["value"] for one in gone for fact in one["facts"])
    assert not list(_nodes(tree, "mark"))
    _check_findings(tree, unscanned)


def test_every_mark_named_is_in_the_table_of_marks(run, decided_plant):
    """Marks listed under a rate are as many as were counted, are in marks.parquet, and lie in the file named."""
    _, tree = _explained(run, decided_plant)
    table = pl.read_parquet(decided_plant / "results" / "T-1" / "marks.parquet")
    rates = [node for node in _nodes(tree, "evidence") if "count" in node["values"]]
    assert rates
    for node in rates:
        marks = list(_nodes(node, "mark"))
        assert len(marks) == node["values"]["count"] == sum(count for count, _ in node["values"]["parts"])
        for mark in marks:
            values = mark["values"]
            assert table.filter(pl.col("id") == values["id"])["along_m"].to_list() == [values["along_m"]]
            first = values["along_m"] < 300 * 0.004
            assert values["file"] == f"rolls/T-1/scan/segment-{1 if first else 2}.tif"


def test_a_reading_is_the_weighed_mean_of_the_strips_under_it(run, plant):
    """The weights of a reading's strips add up to 1 and, times their deviations, to what was found."""
    _add_strip(plant)
    _, tree = _explained(run, plant, "--about", "speed")
    (finding,) = _nodes(tree, "finding")
    (reading,) = _nodes(finding, "reading")
    strips = [node["values"] for node in _nodes(reading, "strip")]
    assert [one["strip"] for one in strips] == ["S-1", "S-2"]
    assert sum(one["weight"] for one in strips) == pytest.approx(1.0)
    assert sum(one["weight"] * one["value"] for one in strips) == pytest.approx(finding["values"]["found"])


def test_every_reading_of_every_strip_is_there(run, decided_plant):
    """Each strip of strips.csv stands with all its steps, a check strip's said to be used or left out."""
    _, tree = _explained(run, decided_plant)
    (room,) = (node for node in _nodes(tree, "group") if node["title"] == "Strips and their readings")
    strips = {node["values"]["strip"]: node for node in _nodes(room, "strip")}
    assert set(strips) == {"S-1", "ref-1"}
    for node in strips.values():
        assert len(list(_nodes(node, "step"))) == 21
    read = [float(row.split(";")[2].replace(",", ".")) for row in _readings(decided_plant, "S-1")]
    steps = list(_nodes(strips["S-1"], "step"))
    assert sorted(step["values"]["density"] for step in steps) == sorted(read)
    assert all(isinstance(step["values"]["used"], bool) for step in steps)


def _readings(plant, strip):
    rows = (plant / "rolls" / "T-1" / "strips" / "readings.csv").read_text().splitlines()
    return [row for row in rows if row.startswith(f"{strip};")]


def test_a_measured_property_leads_to_its_lines(run, plant):
    """A reading of a measured property stands over the values it comes from, each with its line."""
    product = plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text().replace("[[widths]]\n", THICKNESS, 1))
    rows = ("thickness,130.1,µm,0.5 m,50 mm,-,2026-11-20", "thickness,129.9,µm,1.5 m,50 mm,-,2026-11-20")
    head = "property,value,unit,along,across,instrument,on"
    (plant / "rolls" / "T-1" / "properties.csv").write_text("\n".join((head, *rows)) + "\n")
    _, tree = _explained(run, plant, "--about", "thickness")
    (reading,) = _nodes(tree, "reading")
    measured = [node["values"] for node in _nodes(reading, "measurement")]
    assert [(one["line"], one["value"]) for one in measured] == [(2, 130.1), (3, 129.9)]
    assert reading["values"]["value"] == pytest.approx(130.0)


def test_files_and_record_are_those_of_the_decision(run, decided_plant):
    """The files with their hashes are the decision's inputs, and the event is the record's last decision."""
    _, tree = _explained(run, decided_plant)
    decision = _decision(decided_plant)
    inputs = {node["values"]["name"]: node["values"] for node in _nodes(tree, "input")}
    assert {name: one["hash"] for name, one in inputs.items()} == decision["inputs"]
    assert all(one["size_bytes"] == (decided_plant / name).stat().st_size for name, one in inputs.items())
    assert tree["values"]["fingerprint"] == decision["fingerprint"]
    with RecordStore(f"sqlite:///{decided_plant / 'wideroll.db'}") as store:
        *_, last = store.events()
    (entry,) = _nodes(tree, "record entry")
    assert entry["values"]["digest"] == last.digest
    assert entry["values"]["outputs"] == last.body["outputs"]


def test_a_kept_decision_is_explained_like_a_new_one(run, plant):
    """The explanation of a decision just made is, byte for byte, that of the same decision taken from disk."""
    new, kept = (run("decide", plant, "T-1", "--explain") for _ in range(2))
    assert new[:2] == kept[:2]


def test_another_decision_is_not_explained(run, decided_plant, monkeypatch):
    """Where the same inputs give another decision than the one on record, nothing is explained: exit code 4."""
    assess = sealing.assess_roll

    def otherwise(desk):
        found = assess(desk)
        return replace(found, decision=replace(found.decision, why="All is well."))

    monkeypatch.setattr(sealing, "assess_roll", otherwise)
    code, out, err = run("decide", decided_plant, "T-1", "--explain")
    assert (code, out) == (4, "")
    assert "byte by byte" in err


def test_about_shows_only_the_criteria_named(run, decided_plant):
    """--about takes criteria whose name contains the text, in capitals or not."""
    _, tree = _explained(run, decided_plant, "--about", "MARK")
    assert {node["values"]["criterion"] for node in _nodes(tree, "finding")} == {"Marks"}


def test_about_nothing_known_is_a_usage_error(run, plant):
    """A text that no criterion's name contains is refused with their names, before anything is decided."""
    code, out, err = run("decide", plant, "T-1", "--explain", "--about", "bubbles")
    assert (code, out) == (2, "")
    assert "Usable strips per batch" in err
    assert not (plant / "results" / "T-1" / "decision.json").exists()


def test_about_goes_with_explain(run, plant):
    """--about alone is a usage error, before anything is decided."""
    code, _, err = run("decide", plant, "T-1", "--about", "marks")
    assert code == 2
    assert "--explain" in err
    assert not (plant / "results" / "T-1" / "decision.json").exists()


def test_marks_that_no_criterion_names_are_shown(run, plant):
    """A finding about a kind that the product doesn't name leads to the marks of that kind."""
    product = plant / "products" / "sheet-100.toml"
    text = product.read_text()
    start = text.index('[[criteria]]\nname = "Marks"')
    product.write_text(text[:start] + text[text.index("[[criteria]]", start + 1) :])
    code, tree = _explained(run, plant)
    assert code == 10
    silent = [node for node in _nodes(tree, "finding") if node["values"]["reason"] == "not-judged"]
    assert silent
    for node in silent:
        assert len(list(_nodes(node, "mark"))) == node["values"]["found"]


def test_the_outline_can_be_read_without_a_terminal(run, streaked):
    """The outline is plain text whose lines fit, with the part, the finding, its rule and the record."""
    code, out, _ = run("decide", streaked, "T-1", "--explain")
    assert code == 0
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 120
    for words in ("T-1: CUT OUT", "Part 1, ", "rule: the whole interval", "Event 4 of the record"):
        assert words in out
