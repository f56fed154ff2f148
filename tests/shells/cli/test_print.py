"""Sheets as PDF from the command line: of what the record holds, and of nothing else."""

import io
import json
from dataclasses import replace

import pytest

from wideroll.record import digest
from wideroll.store import RecordStore, save_card
from wideroll.workflow.card_json import trial_card

pypdf = pytest.importorskip("pypdf")
pytest.importorskip("typst")

ROLL = "T-1"


def _read(path):
    return pypdf.PdfReader(io.BytesIO(path.read_bytes()), strict=True)


def _text(path):
    pages = " ".join(page.extract_text() for page in _read(path).pages)
    return " ".join(pages.replace("\u200b", "").split())


def _verdict(plant):
    return json.loads((plant / "results" / ROLL / "decision.json").read_bytes())["verdict"]


def _last(plant):
    with RecordStore(f"sqlite:///{plant}/wideroll.db") as record:
        return list(record.events())[-1]


def test_the_certificate_carries_the_decision_and_names_its_event(run, decided, tmp_path):
    """Of a released roll there is a certificate with decision.json attached, to the byte, and its event's digest."""
    assert _verdict(decided) in {"release", "cut out"}
    code, out, err = run("print", decided, ROLL, "certificate", tmp_path / "c.pdf")
    assert code == 0
    assert "certificate:" in out
    assert "Nothing was added to the record." in err
    sealed = (decided / "results" / ROLL / "decision.json").read_bytes()
    assert _read(tmp_path / "c.pdf").attachments["decision.json"][0] == sealed
    said = _text(tmp_path / "c.pdf").replace(" ", "")
    assert _last(decided).digest in said
    assert digest(sealed) in said


@pytest.mark.parametrize("kind", ["certificate", "decision", "cut"])
def test_a_sheet_printed_twice_is_one_file_and_no_act(run, decided, tmp_path, kind):
    """Printing again gives the same bytes, wherever they go, and adds no event."""
    before = _last(decided)
    prints = []
    for name in ("one.pdf", "two.pdf"):
        code, out, _ = run("print", decided, ROLL, kind, tmp_path / name, "--json")
        assert code == 0
        prints.append(json.loads(out))
    assert prints[0]["schema"] == "wideroll/print/1"
    assert prints[0]["sha256"] == prints[1]["sha256"] == digest((tmp_path / "two.pdf").read_bytes())
    assert _read(tmp_path / "one.pdf").metadata.creation_date.isoformat() == before.when_utc
    assert _last(decided) == before


def test_nothing_is_printed_of_a_roll_that_is_not_decided(run, plant, tmp_path):
    """Without a decision in the record there is an error that says how to make one, and no file."""
    code, _, err = run("print", plant, ROLL, "decision", tmp_path / "d.pdf")
    assert code == 3
    assert f"wideroll decide {plant} {ROLL}" in " ".join(err.split())
    assert not (tmp_path / "d.pdf").exists()


def test_nothing_is_printed_of_a_decision_on_other_evidence(run, decided_plant, tmp_path):
    """When a reading changed since, the standing decision isn't shown as if it rested on it."""
    readings = decided_plant / "rolls" / ROLL / "strips" / "readings.csv"
    readings.write_text(readings.read_text().replace("0,2", "0,3", 1))
    code, _, err = run("print", decided_plant, ROLL, "certificate", tmp_path / "c.pdf")
    assert code == 3
    assert "decided on other evidence" in err
    assert not (tmp_path / "c.pdf").exists()


@pytest.mark.parametrize("name", ["decision.json", "state/decision.json", "cut.json"])
def test_nothing_is_printed_from_a_file_that_was_changed(run, decided_plant, tmp_path, name):
    """A result that isn't the one the record names is an error of the record, and names file and event."""
    path = decided_plant / "results" / ROLL / name
    path.write_bytes(path.read_bytes().replace(b"release", b"Release", 1))
    code, _, err = run("print", decided_plant, ROLL, "certificate", tmp_path / "c.pdf")
    assert code == 4
    assert name in err
    assert "event 4" in err
    assert not (tmp_path / "c.pdf").exists()


def test_cards_are_printed_without_a_decision(run, plant, tmp_path):
    """A card can be carried to the machine before anything is decided; one is chosen by its number."""
    card = replace(trial_card("Little Mere, line 1", ROLL), number=1, roller="R1 coating roll", action="Clean it.")
    for one in (card, replace(card, number=2, action="Clean it again.")):
        save_card(plant / "results" / ROLL, one)
    assert run("print", plant, ROLL, "card", tmp_path / "all.pdf")[0] == 0
    assert len(_read(tmp_path / "all.pdf").pages) == 2
    assert run("print", plant, ROLL, "card", tmp_path / "two.pdf", "--card", 2)[0] == 0
    assert "Clean it again." in _text(tmp_path / "two.pdf")
    code, _, err = run("print", plant, ROLL, "card", tmp_path / "no.pdf", "--card", 3)
    assert code == 3
    assert "1, 2" in err


def test_a_card_tells_by_which_events_it_was_raised_and_closed(run, plant, tmp_path):
    """What the record says of a card stands on it, with cause and what was done."""
    save_card(plant / "results" / ROLL, replace(trial_card("Little Mere, line 1", ROLL), number=1, roller="R1"))
    said = {"roll": ROLL, "card": 1}
    with RecordStore(f"sqlite:///{plant}/wideroll.db") as record:
        record.append("action card", "watch", "2026-03-01T08:00:00Z", "0.1.0", said)
        record.append(
            "card closed", "M. Fitter", "2026-03-01T09:00:00Z", "0.1.0", said | {"cause": "dirt", "done": "wiped"}
        )
        record.append("card closed", "X. Other", "2026-03-01T10:00:00Z", "0.1.0", said | {"card": 2, "done": "other"})
    assert run("print", plant, ROLL, "card", tmp_path / "c.pdf")[0] == 0
    text = _text(tmp_path / "c.pdf")
    assert "event 1, 2026-03-01 08:00 UTC" in text
    assert "M. Fitter, 2026-03-01 09:00 UTC, event 2" in text
    assert "wiped" in text
    assert "other" not in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("decision", "sheet.html"), "must end in .pdf"),
        (("letter", "sheet.pdf"), "letter"),
        (("cut", "sheet.pdf", "--card", "1"), "--card"),
    ],
)
def test_misuse_is_told(run, decided, tmp_path, monkeypatch, words, told):
    """A file of another kind, a sheet that there isn't, and a card's number without a card are wrong usage."""
    monkeypatch.chdir(tmp_path)
    code, _, err = run("print", decided, ROLL, *words)
    assert code == 2
    assert told in err
    assert not list(tmp_path.iterdir())


def test_there_is_no_card_where_none_was_raised(run, decided, tmp_path):
    """A roll without cards gives an error and no empty sheet."""
    code, _, err = run("print", decided, ROLL, "card", tmp_path / "c.pdf")
    assert code == 3
    assert "action card" in err
    assert not (tmp_path / "c.pdf").exists()
