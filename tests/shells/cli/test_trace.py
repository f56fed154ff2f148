"""trace: from a finished roll to its film, by a record that is proven first."""

import csv
import json
import shutil

import polars as pl
import pytest

from wideroll.store import RecordStore


@pytest.fixture(scope="module")
def traced(decided, tmp_path_factory):
    """The decided tiny plant, for traces, which keep their table in it."""
    return shutil.copytree(decided, tmp_path_factory.mktemp("traced") / "plant")


@pytest.fixture(scope="module")
def spot(traced):
    """The finished roll that holds the plant's one spot, and how far from its outer end."""
    mark = pl.read_parquet(traced / "results" / "T-1" / "marks.parquet").row(0, named=True)
    for piece in json.loads((traced / "results" / "T-1" / "cut.json").read_text())["pieces"]:
        extent = piece["extent"]
        along = extent["along_from_m"] <= mark["along_m"] < extent["along_to_m"]
        if along and extent["across_from_mm"] <= mark["across_mm"] < extent["across_to_mm"]:
            return piece["label"], extent["along_to_m"] - mark["along_m"], mark
    raise AssertionError


def test_a_spot_on_a_finished_roll_is_the_scans_mark(traced, spot, run):
    """The place that a customer would measure leads to the mark, its decision and its batch."""
    number, away_m, mark = spot
    code, out, _ = run("trace", traced, number, "--at", f"{away_m:.3f} m from outer end", "--json")
    found = json.loads(out)
    (stretch,) = found["stretches"]
    assert code == 0
    assert found["schema"] == "wideroll/trace/1"
    assert [one["id"] for one in stretch["marks"]] == [mark["id"]]
    assert stretch["batches"] == ["E-1"]
    assert stretch["at_m"] == pytest.approx(mark["along_m"], abs=1e-3)
    assert (traced / stretch["marks"][0]["chip"]).is_file()
    assert (found["decision"]["event"], found["decision"]["verdict"]) == (4, "release")
    assert found["sisters"] is None


def test_people_read_it_as_facts_and_tables(traced, spot, run):
    """Roll, batch, who decided and the mark stand in the text."""
    number, away_m, mark = spot
    _, out, _ = run("trace", traced, number, "--at", f"{away_m:.3f} m")
    for words in (
        f"finished roll: {number}",
        "coated: roll T-1",
        "batch: E-1",
        "event 4 of a record that holds",
        mark["id"],
    ):
        assert words in out


def test_the_interval_can_be_given(traced, spot, run):
    """--within takes the place of the rule."""
    _, out, _ = run("trace", traced, spot[0], "--at", "0.5 m", "--within", "10 cm", "--json")
    found = json.loads(out)
    assert found["to_m"] - found["from_m"] == pytest.approx(0.2)
    assert found["half_widths"] == []


def test_a_second_trace_takes_the_kept_table(traced, spot, run):
    """While record and files are the same, the table isn't written again; it may be removed."""
    run("trace", traced, spot[0])
    path = traced / "results" / "finished.parquet"
    before = path.stat().st_mtime_ns
    run("trace", traced, spot[0])
    assert path.stat().st_mtime_ns == before
    content = path.read_bytes()
    path.unlink()
    run("trace", traced, spot[0])
    assert path.read_bytes() == content


def test_the_page_is_whole_in_itself(traced, spot, run, tmp_path):
    """Maps, tables and the crop stand in one file, the same bytes twice, with no outside address."""
    pages = [tmp_path / name for name in ("a.html", "b.html")]
    for page in pages:
        run("trace", traced, spot[0], "--sisters", "--page", page)
    text = pages[0].read_text()
    assert text == pages[1].read_text()
    assert text.count("<svg") == 2
    assert "data:image/png;base64," in text
    assert "https://" not in text


def test_a_recall_list_is_recorded(decided_plant, spot, run, tmp_path):
    """The list names the finished rolls at risk, the record names the list, and neither is written over."""
    path = tmp_path / "recall.csv"
    words = ("trace", decided_plant, spot[0], "--at", "0.1 m", "--recall", path, "--who", "C. Plaints")
    code, _, err = run(*words)
    assert code == 0
    assert "event 5 of the record" in err
    rows = list(csv.DictReader(path.read_text().splitlines()))
    assert rows[0]["finished_roll"] == spot[0]
    with RecordStore(f"sqlite:///{decided_plant / 'wideroll.db'}") as record:
        event = list(record.events())[-1]
        assert record.verify().intact
    assert (event.act, event.who) == ("recall", "C. Plaints")
    assert event.body["rolls"] == [row["finished_roll"] for row in rows]
    code, _, err = run(*words)
    assert code == 3
    assert "isn't written over" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("T-9/001-01",), "must be the number of one finished roll"),
        (("T-1/001-01", "--at", "99 m"), "must lie within its"),
        (("T-1/001-01", "--at", "somewhere"), "--at"),
        (("T-1/001-01", "--at", "1 m", "--within", "0 m"), "--within: must be above 0"),
        (("T-1/001-01", "--recall", "list.txt"), "--recall: the list is a .csv file"),
    ],
)
def test_what_can_not_be_traced_is_refused(traced, run, words, said):
    """One clear error, and nothing is written."""
    code, out, err = run("trace", traced, *words)
    assert (code, out) == (3, "")
    assert said in err


def test_before_anything_is_decided_there_is_nothing_to_trace(plant, run):
    """The error says what makes a cut list."""
    code, _, err = run("trace", plant, "T-1/001-01")
    assert code == 3
    assert "wideroll decide" in err


@pytest.mark.parametrize("name", ["cut.json", "marks.parquet", "decision.json", "state/scan.json"])
def test_a_changed_file_stops_the_trace(decided_plant, spot, run, name):
    """A sealed file that isn't the one that the record names is named, with exit code 4."""
    path = decided_plant / "results" / "T-1" / name
    path.write_bytes(path.read_bytes() + b" ")
    code, out, err = run("trace", decided_plant, spot[0])
    assert (code, out) == (4, "")
    assert name in err


def test_a_changed_reading_is_told(decided_plant, spot, run):
    """What people wrote after the decision is shown, with the word that it isn't what was decided on."""
    path = decided_plant / "rolls" / "T-1" / "examination" / "sightings.csv"
    path.write_text(path.read_text().replace("0.4 mm", "0.5 mm"))
    _, out, _ = run("trace", decided_plant, spot[0])
    assert "sightings.csv isn't what the decision was made from" in out


def test_handling_before_the_slitter_moves_the_coated_place(decided_plant, spot, run):
    """Of a roll that was wound over first, the film at the outer end was coated at the other end."""
    before = json.loads(run("trace", decided_plant, spot[0], "--json")[1])["stretches"][0]["extent"]
    folder = decided_plant / "rolls" / "T-1"
    (folder / "handling.toml").write_text('[[steps]]\ndid = "wound over"\n')
    after = json.loads(run("trace", decided_plant, spot[0], "--json")[1])["stretches"][0]
    assert after["extent"]["along_from_m"] == pytest.approx(2.0 - before["along_to_m"])
    assert not after["reversed"]
    (folder / "handling.toml").write_text('[[steps]]\ndid = "cut out"\nfrom = "0 m"\nto = "1.9 m"\n')
    code, _, err = run("trace", decided_plant, spot[0])
    assert code == 3
    assert "must hold every piece of its cut list" in err
