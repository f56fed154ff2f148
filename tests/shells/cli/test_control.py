"""Charts across rolls from the command line: what people are told, and what they did wrong."""

import json
from pathlib import Path

import pytest

from wideroll.record import digest
from wideroll.store import RecordStore
from wideroll.store.demo_history import history_files


@pytest.fixture
def charted(plant: Path) -> Path:
    """The tiny plant with the demo's sixty earlier rolls, none of them decided."""
    for name, text in history_files().items():
        path = plant / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    return plant


def test_one_quantity_is_charted(charted: Path, run, tmp_path: Path) -> None:
    """Rules broken, the planted change with the batch noted there, a picture, and the same as a document."""
    figure = tmp_path / "speed.svg"
    code, out, err = run("control", charted, "Speed", "--figure", figure)
    assert (code, str(figure) in err, figure.read_text()[:4]) == (0, True, "<svg")
    assert "batch E-515" in out
    assert "Limits: mean and mean moving range of the first 20 rolls" in out
    code, out, _ = run("control", charted, "thickness", "--chart", "cusum", "--rules", "nelson", "--json")
    document = json.loads(out)
    assert (code, document["chart"], document["panels"][0]["name"]) == (0, "cusum", "thickness")


def test_all_that_is_charted_is_listed(charted: Path, run) -> None:
    """The overview says how the limits were set and what chance would break; days narrow it."""
    code, out, _ = run("control", charted)
    assert (code, "60 rolls in the history" in out, "would break about" in out) == (0, True, True)
    code, out, _ = run("control", charted, "--from", "2026-10-17", "--to", "2026-10-30", "--json")
    document = json.loads(out)
    assert (code, document["schema"]) == (0, "wideroll/control/1")
    assert all(one["rolls"] < 10 for one in document["charts"])


def test_limits_are_frozen_once_and_used(charted: Path, run) -> None:
    """A base period is recorded with its file, sets the limits from then on, and isn't frozen again."""
    words = ("--freeze", "autumn", "--from", "2026-08-03", "--to", "2026-09-10", "--because", "steady", "--who", "R")
    code, out, _ = run("control", charted, *words)
    assert (code, "25 rolls, W-1981 to W-2005" in out) == (0, True)
    with RecordStore(f"sqlite:///{charted}/wideroll.db") as record:
        (event,) = record.of_act("base period")
    assert event.body["files"] == {
        "base-periods/autumn.json": digest((charted / "base-periods" / "autumn.json").read_bytes())
    }
    assert "autumn (W-1981 to W-2005, 25 rolls)" in run("control", charted, "curl")[1]
    code, _, err = run("control", charted, *words)
    assert (code, "frozen for good" in err) == (3, True)
    code, _, err = run("control", charted, "curl", "--base", "spring")
    assert (code, "on record: autumn" in err) == (3, True)


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("sped",), 3, "must be one of: Spots"),
        (("curl", "--from", "2026-10-17"), 0, ""),
        (("curl", "--from", "2026-10-27"), 3, "10 rolls or more"),
        (("curl", "--from", "27.10.2026"), 2, "day of the calendar"),
        (("curl", "--product", "N5"), 3, "must be one of: negative-100"),
        (("--chart", "u"), 2, "needs what is charted"),
        (("--because", "x"), 2, "goes with --freeze"),
        (("--freeze", "x", "--from", "2026-08-03"), 2, "is needed with --freeze"),
        (("--freeze", "a b"), 3, "letters, digits"),
        (("--freeze", "x", "--from", "2026-08-03", "--to", "2026-08-09", "--because", "x"), 3, "10 rolls or more"),
    ],
)
def test_what_was_asked_wrongly_is_told(charted: Path, run, words, code, told) -> None:
    """One clear error, and nothing is written."""
    found, _, err = run("control", charted, *words)
    assert (found, told in " ".join(err.split())) == (code, True)
    assert not (charted / "base-periods").exists()


def test_several_products_are_not_charted_together(charted: Path, run) -> None:
    """A chart is of one product: with two in the history one must be named."""
    path = charted / "earlier.csv"
    path.write_text(f"{path.read_text()}W-9000,P-2,2026-11-09,E-1,curl,,,mm,7,\n")
    code, _, err = run("control", charted, "curl")
    assert (code, "P-2, negative-100" in err) == (3, True)
    assert run("control", charted, "curl", "--product", "negative")[0] == 0


def test_a_decided_roll_keeps_what_was_measured(decided: Path) -> None:
    """The decision's measured values hold the marks with their area and the speed of its strip, and are on record."""
    path = decided / "results" / "T-1" / "measured.json"
    values = {(one["quantity"], one["part"]): one for one in json.loads(path.read_text())["values"]}
    assert values["Marks", ""]["value"] >= 1.0
    assert values["Marks", ""]["area_m2"] == pytest.approx(0.24, rel=0.1)
    assert values["speed", ""]["value"] == pytest.approx(values["speed", "S-1"]["value"])
    with RecordStore(f"sqlite:///{decided}/wideroll.db") as record:
        assert record.last("decision", "T-1").body["outputs"]["measured.json"] == digest(path.read_bytes())


def test_a_roll_that_cannot_be_charted_is_named(decided_plant: Path, run) -> None:
    """A decided roll without a day of coating is left out, and it is said what to note."""
    code, out, err = run("control", decided_plant)
    assert (code, "No decided roll" in out, "Roll T-1 isn't in the history: when it was coated" in err) == (
        0,
        True,
        True,
    )


def test_a_gauge_is_studied(charted: Path, run) -> None:
    """Both methods, the share of the tolerance, and the same as a document."""
    file = charted / "gauge-studies" / "densitometer.csv"
    code, out, _ = run("gauge", file, "--tolerance", "0,12")
    assert (code, "the gauge is good enough" in out, "% of the tolerance: that may do" in out) == (0, True, True)
    code, out, _ = run("gauge", file, "--json")
    assert [one["method"] for one in json.loads(out)["studies"]] == ["analysis of variance", "average and range"]
    assert run("gauge", file, "--tolerance", "-1")[0] == 2


def test_causes_are_sorted(charted: Path, run) -> None:
    """What was cut out by criterion, and the causes of closed cards of the rolls asked for, the unknown last."""
    with RecordStore(f"sqlite:///{charted}/wideroll.db") as record:
        for roll, cause in (("W-1990", ""), ("W-1990", "nick"), ("W-2000", ""), ("W-9999", "nick")):
            body = {"roll": roll, "card": 1, "cause": cause, "done": "cleaned"}
            record.append("card closed", "R", "2026-11-10T08:00:00Z", "0.1.0", body)
    code, out, _ = run("pareto", charted, "--json")
    document = json.loads(out)
    assert (code, document["schema"]) == (0, "wideroll/pareto/1")
    assert [(one["cause"], one["amount"]) for one in document["closed_cards"]] == [("nick", 1.0), ("not known", 2.0)]
    amounts = [one["amount"] for one in document["cut_out_m2"]]
    assert amounts == sorted(amounts, reverse=True)
    assert "Repeating marks" in run("pareto", charted)[1]
