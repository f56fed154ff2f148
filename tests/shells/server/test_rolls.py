"""Rolls as they wait, a roll's decision page, and deciding from the desk."""

import csv
import html
import io
import json
import re
import shutil
from hashlib import sha256

import pytest

from wideroll.cli import main
from wideroll.store import RecordStore

ROLL = "T-1"


def _decisions(plant):
    with RecordStore(f"sqlite:///{plant / 'wideroll.db'}") as record:
        return [json.loads(row.body) | {"who": row.who} for row in record.rows() if row.act == "decision"]


def _change(plant, along="15 cm"):
    sightings = plant / "rolls" / ROLL / "examination" / "sightings.csv"
    sightings.write_text(sightings.read_text() + f"A,spot,{along},2 in,0.3 mm,no\n")


def test_the_decision_page_shows_what_the_sheet_says(desk_plant, browse):
    """Verdict, why, each criterion and the map's caption stand on the page; its figure is served."""
    page = browse(desk_plant).get(f"/rolls/{ROLL}")
    decision = json.loads((desk_plant / "results" / ROLL / "decision.json").read_text())
    assert page.status_code == 200
    assert decision["verdict"] in page.text
    for criterion in decision["criteria"]:
        assert criterion["name"] in page.text
    picture = re.search(r'<img class="drawn" src="([^"]+)"', page.text)[1]
    answer = browse(desk_plant).get(picture)
    assert answer.headers["content-type"] == "image/svg+xml"
    assert "sandbox" in answer.headers["content-security-policy"]


def test_a_table_is_the_same_as_csv(desk_plant, browse):
    """Each table's CSV link gives its heads and as many rows."""
    desk = browse(desk_plant)
    page = desk.get(f"/rolls/{ROLL}")
    links = re.findall(r'href="(/rolls/[^"]+\.csv)"', page.text)
    assert any(link.endswith("/decision/criteria.csv") for link in links)
    for link in links:
        rows = list(csv.reader(io.StringIO(desk.get(link).text)))
        assert len({len(row) for row in rows}) == 1
    assert desk.get(f"/rolls/{ROLL}/tables/decision/none.csv").status_code == 404


def test_sheets_are_printed_as_from_the_command_line(desk_plant, browse, tmp_path):
    """The decision page leads to the decision and the certificate as PDF, each the same bytes as the command's."""
    desk = browse(desk_plant)
    links = re.findall(r'href="(/rolls/[^"]+\.pdf)"', desk.get(f"/rolls/{ROLL}").text)
    assert links == [f"/rolls/{ROLL}/print/{kind}.pdf" for kind in ("decision", "certificate")]
    for link in links:
        answer = desk.get(link)
        assert answer.headers["content-type"] == "application/pdf"
        file = tmp_path / "sheet.pdf"
        assert main(["print", str(desk_plant), ROLL, link.rpartition("/")[2].removesuffix(".pdf"), str(file)]) == 0
        assert answer.content == file.read_bytes()


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        (f"/rolls/{ROLL}/print/card.pdf", 422, "there must be an action card to print"),
        (f"/rolls/{ROLL}/print/letter.pdf", 422, "kind"),
        ("/rolls/none/print/cut.pdf", 404, "a roll none"),
        (f"/rolls/{ROLL}/assess", 405, "A form of its page sends it"),
    ],
    ids=["no card", "no kind", "no roll", "by a form alone"],
)
def test_what_cannot_be_printed_or_opened_says_why(desk_plant, browse, address, status, words):
    """With its words and the way to the list of rolls."""
    answer = browse(desk_plant).get(address)
    assert answer.status_code == status
    assert words in html.unescape(answer.text)
    assert 'href="/">The list of rolls' in answer.text


@pytest.mark.parametrize("name", ["../decision.json", "..%2fdecision.json", "index.json", "none.svg"])
def test_only_figures_are_served_as_figures(desk_plant, browse, name):
    """No other file of the results can be had by the address of a figure."""
    assert browse(desk_plant).get(f"/rolls/{ROLL}/shown/{name}").status_code in {400, 404}


def test_a_roll_whose_evidence_changed_says_so(own_desk_plant, browse):
    """The list and the page name the changed file, and the decision that stands isn't shown as if it rested on it."""
    _change(own_desk_plant)
    desk = browse(own_desk_plant)
    for path in ("/", f"/rolls/{ROLL}"):
        page = desk.get(path).text
        assert "changed" in page
        assert "examination/sightings.csv" in page
    assert desk.get("/?state=changed&format=csv").text.splitlines()[1].startswith(f"{ROLL},sheet-100,changed")


def test_a_new_roll_waits_for_its_evidence(own_desk_plant, browse):
    """An undecided roll stands first in the list, with what isn't there yet and who sees to it."""
    new = own_desk_plant / "rolls" / "T-2"
    new.mkdir()
    shutil.copy(own_desk_plant / "rolls" / ROLL / "roll.toml", new)
    desk = browse(own_desk_plant)
    rows = list(csv.DictReader(io.StringIO(desk.get("/?format=csv").text)))
    assert [row["roll"] for row in rows] == ["T-2", ROLL]
    assert rows[0]["missing"] == "no scan; no readings of strips; no examined sheets"
    assert "not decided" in desk.get("/rolls/T-2").text
    assert desk.get("/rolls/T-3").status_code == 404


def test_a_roll_is_taken_in_hand_and_given_back(own_desk_plant, browse):
    """Who has it stands in the list until it is given back."""
    desk = browse(own_desk_plant)
    desk.get(f"/rolls/{ROLL}")
    assert desk.post(f"/rolls/{ROLL}/take").status_code == 303
    assert "engineer A has it" in desk.get(f"/rolls/{ROLL}").text
    assert desk.post(f"/rolls/{ROLL}/give-back").status_code == 303
    assert "nobody has it" in desk.get(f"/rolls/{ROLL}").text


def test_a_decision_is_looked_at_before_it_is_sealed(own_desk_plant, browse):
    """The summary seals nothing; the button does, in the name of whoever pressed it, and says why it supersedes."""
    _change(own_desk_plant)
    before = _decisions(own_desk_plant)
    desk = browse(own_desk_plant)
    desk.get(f"/rolls/{ROLL}")
    assert desk.post(f"/rolls/{ROLL}/assess").headers["location"] == f"/rolls/{ROLL}/decide"
    summary = desk.until(f"/rolls/{ROLL}/decide", lambda page: "Before it is sealed" in page.text)
    assert _decisions(own_desk_plant) == before
    assert f"<li>changed: rolls/{ROLL}/examination/sightings.csv</li>" in summary.text
    fingerprint = re.search(r'name="fingerprint" value="(\w+)"', summary.text)[1]
    assert re.search(rf"<button>\w+ roll {ROLL}", summary.text)
    sent = desk.post(f"/rolls/{ROLL}/decide", {"fingerprint": fingerprint, "why": "one more sighting"})
    assert sent.status_code == 303
    done = desk.until(f"/rolls/{ROLL}/decide", lambda page: page.status_code == 303)
    assert "sealed=" in done.headers["location"]
    last = _decisions(own_desk_plant)[-1]
    assert len(_decisions(own_desk_plant)) == len(before) + 1
    assert last["who"] == "engineer A"
    assert any("one more sighting" in reason for reason in last["because"])
    assert main(["record", "verify", str(own_desk_plant)]) == 0
    page = desk.get(f"/rolls/{ROLL}").text
    assert "criterion" in page
    event = desk.get(re.search(r'by engineer A, .+?: <a href="(/record/\d+)">', page)[1]).text
    sealed = sha256((own_desk_plant / "results" / ROLL / "decision.json").read_bytes()).hexdigest()
    assert re.search(rf">decision.json</th>\s*<td>{sealed}</td>", event)


def test_what_was_not_looked_at_is_not_sealed(own_desk_plant, browse):
    """When the evidence changes between the summary and the button, nothing is sealed and the page says so."""
    _change(own_desk_plant)
    before = _decisions(own_desk_plant)
    desk = browse(own_desk_plant)
    desk.get(f"/rolls/{ROLL}")
    desk.post(f"/rolls/{ROLL}/assess")
    summary = desk.until(f"/rolls/{ROLL}/decide", lambda page: "Before it is sealed" in page.text)
    fingerprint = re.search(r'name="fingerprint" value="(\w+)"', summary.text)[1]
    assert desk.post(f"/rolls/{ROLL}/decide", {"fingerprint": "0" * 64}).status_code == 409
    _change(own_desk_plant, "12 cm")
    desk.post(f"/rolls/{ROLL}/decide", {"fingerprint": fingerprint})
    page = desk.until(f"/rolls/{ROLL}/decide", lambda page: "came to nothing" in page.text)
    assert "what is sealed is what was looked at" in page.text
    assert _decisions(own_desk_plant) == before
