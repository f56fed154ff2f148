"""Traces and complaints at the desk."""

import csv
import io
import json
import shutil
from urllib.parse import urlencode

import polars as pl
import pytest
from PIL import Image

from wideroll.server.soon import Answers
from wideroll.store import RecordStore


@pytest.fixture(scope="module")
def plant(decided, tmp_path_factory):
    """The tiny plant decided, for all tests here that change nothing of it but the record's end."""
    return shutil.copytree(decided, tmp_path_factory.mktemp("past") / "plant")


@pytest.fixture(scope="module")
def spot(plant):
    """The finished roll with the plant's one spot, how far from its outer end, and the mark."""
    mark = pl.read_parquet(plant / "results" / "T-1" / "marks.parquet").row(0, named=True)
    for piece in json.loads((plant / "results" / "T-1" / "cut.json").read_text())["pieces"]:
        extent = piece["extent"]
        along = extent["along_from_m"] <= mark["along_m"] < extent["along_to_m"]
        if along and extent["across_from_mm"] <= mark["across_mm"] < extent["across_to_mm"]:
            return piece["label"], extent["along_to_m"] - mark["along_m"], mark
    raise AssertionError


@pytest.fixture(scope="module")
def question(spot):
    """The address of the trace of that spot; a number without a unit is in the shop's."""
    return urlencode({"finished": spot[0], "place": f"{spot[1]:.3f}", "end": "outer end"})


def _shown(visitor, address):
    return visitor.until(address, lambda answer: 'http-equiv="refresh"' not in answer.text)


def _events(plant):
    with RecordStore(f"sqlite:///{plant}/wideroll.db") as record:
        return list(record.events())


def _frame(colour="red"):
    out = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, "PNG")
    return out.getvalue()


def test_a_place_leads_to_its_mark(browse, plant, spot, question):
    """The address alone gives mark, decision, pictures and tables; for machines it is the command's document."""
    visitor = browse(plant)
    page = _shown(visitor, f"/trace?{question}")
    assert page.status_code == 200
    assert spot[2]["id"] in page.text
    assert 'href="/record/4"' in page.text
    assert "once after the slitter" in page.text  # the end that was measured from hangs on it
    drawn = visitor.get(f"/trace/picture.svg?{question}&key=picture-1-1")
    assert drawn.headers["content-type"] == "image/svg+xml"
    assert "sandbox" in drawn.headers["content-security-policy"]
    assert visitor.get(f"/trace/picture.svg?{question}&key=none").status_code == 404
    table = visitor.get(f"/trace?{question}&format=csv&table=table-1-1").text
    assert spot[2]["id"] in table
    found = visitor.get(f"/api/trace?{question}").json()
    assert found["schema"] == "wideroll/trace/1"
    assert [one["id"] for one in found["stretches"][0]["marks"]] == [spot[2]["id"]]
    assert found["sisters"]["finished"] == spot[0]


def test_a_coated_place_leads_to_the_finished_roll(browse, plant, spot):
    """A place of the wide roll names the one finished roll that holds it, and where; comma or point."""
    visitor, mark = browse(plant), spot[2]
    asked = {"roll": "T-1", "along": f"{mark['along_m']:.3f}".replace(".", ","), "across": f"{mark['across_mm']:.1f}"}
    page = visitor.get(f"/trace?{urlencode(asked)}")
    assert f"finished={urlencode({'': spot[0]})[1:]}&amp;place={spot[1]:.3f}" in page.text
    (found,) = visitor.get(f"/api/trace/coated?{urlencode(asked)}").json()["finished"]
    assert (found["finished"], found["from_outer_m"]) == (spot[0], pytest.approx(spot[1], abs=1e-3))
    everywhere = visitor.get("/api/trace/coated?roll=T-1&along=0.8").json()["finished"]
    assert len(everywhere) > 1
    assert all(one["edge_mm"] is None for one in everywhere)


@pytest.mark.parametrize(
    ("asked", "field", "status"),
    [
        ({"finished": "T-1/9-9"}, "finished", 422),
        ({"finished": "T-1/001-01", "place": "<b>far</b>"}, "place", 422),
        ({"finished": "T-1/001-01", "place": "900 m"}, "place", 422),
        ({"roll": "none", "along": "2"}, "roll", 422),
        ({"roll": "T-1"}, "along", 422),
    ],
)
def test_a_question_that_has_no_answer_is_shown_again(browse, plant, asked, field, status):
    """What was typed stands there still, and the summary leads to the field; machines get the one shape."""
    answer = _shown(browse(plant), f"/trace?{urlencode(asked)}")
    assert answer.status_code == status
    assert f'<a href="#{field}">' in answer.text
    assert "<b>far" not in answer.text
    for name, value in asked.items():
        shown = value.replace("<", "&lt;").replace(">", "&gt;")
        assert f'name="{name}" value="{shown}"' in answer.text


def test_machines_are_told_the_same(browse, plant):
    """A question that can't be answered is a 422 in the one shape."""
    answer = browse(plant).get("/api/trace?finished=nothing")
    assert (answer.status_code, set(answer.json()["error"])) == (422, {"status", "where", "rule", "mend"})


def test_a_recall_list_is_written_once_it_is_asked_for(browse, plant, spot, question):
    """Looking at the list records nothing; writing it names who, and the file is the one that the record names."""
    visitor, before = browse(plant, who="C. Desk"), len(_events(plant))
    looked = visitor.get(f"/trace/recall.csv?{question}")
    assert next(csv.DictReader(io.StringIO(looked.text)))["finished_roll"] == spot[0]
    assert len(_events(plant)) == before
    _shown(visitor, f"/trace?{question}")
    asked = {"finished": spot[0], "place": f"{spot[1]:.3f}", "end": "outer end"}
    answer = visitor.post("/trace/recall", asked)
    assert answer.status_code == 303
    event = _events(plant)[-1]
    assert (event.act, event.who, event.body["finished"]) == ("recall", "C. Desk", spot[0])
    (name,) = event.body["outputs"]
    assert visitor.get(f"/trace/recalls/{name}").text == looked.text
    assert name in _shown(visitor, answer.headers["location"].partition("#")[0]).text
    assert visitor.get("/trace/recalls/recall-none.csv").status_code == 404


def test_a_case_goes_from_step_to_step(browse, plant, spot):
    """Opened with a photograph and a place, asked, looked at, found, closed and opened again, all by one name."""
    visitor = browse(plant, who="C. Desk")
    assert "No complaint was opened yet" in visitor.get("/complaints").text
    frame = _frame()
    visitor.get("/complaints/new")
    typed = {"finished": spot[0], "saw": "<i>dark</i> spot", "place": f"{spot[1]:.2f}", "reference": "K 77"}
    opened = visitor.post("/complaints/new", typed, files=[("photos", ("../frame.png", frame, "image/png"))])
    assert (opened.status_code, opened.headers["location"]) == (303, "/complaints/C-0001")
    page = visitor.get("/complaints/C-0001").text
    assert "&lt;i&gt;dark&lt;/i&gt; spot" in page
    assert spot[2]["id"] in page
    sent = visitor.get("/complaints/C-0001/photographs/1?size=sent")
    assert (sent.content, sent.headers["content-disposition"][:10]) == (frame, "attachment")
    assert visitor.get("/complaints/C-0001/photographs/1").headers["content-type"] == "image/jpeg"
    assert visitor.get("/complaints/C-0001/photographs/2").status_code == 404
    for step, said in (
        ("ask", {"samples": "T-1 sheet 3\n\n"}),
        ("look", {"sample": "T-1 sheet 3", "saw": "the same", "there": "yes"}),
        ("find", {"finding": "ours", "why": "it lies there", "looked_at": ["trace", "sample"]}),
        ("close", {"outcome": "replaced"}),
        ("reopen", {"why": "a second one came"}),
    ):
        page = visitor.get("/complaints/C-0001").text
        assert f'href="/complaints/C-0001/{step}"' in page
        assert step not in {"look", "close", "reopen"} or f'class="button" href="/complaints/C-0001/{step}"' in page
        visitor.get(f"/complaints/C-0001/{step}")
        assert visitor.post(f"/complaints/C-0001/{step}", said).status_code == 303
    case = visitor.get("/api/complaints/C-0001").json()
    assert [one["step"] for one in case["steps"]] == ["opened", "asked", "looked", "found", "closed", "reopened"]
    assert {one["who"] for one in case["steps"]} == {"C. Desk"}
    assert "C-0001" in visitor.get("/complaints?state=not+closed&roll=T-1&words=DARK").text
    assert visitor.get("/complaints?state=closed&format=csv").text.count("\n") == 1


def test_what_cant_be_taken_is_said_and_kept(browse, plant, spot):
    """Nothing is added, each fault stands at its field, and no word that was typed is lost."""
    visitor, before = browse(plant), len(_events(plant))
    visitor.get("/complaints/new")
    typed = {"finished": spot[0], "saw": "", "reference": "K 78"}
    answer = visitor.post("/complaints/new", typed)
    assert (answer.status_code, 'href="#saw"' in answer.text, 'value="K 78"' in answer.text) == (422, True, True)
    answer = visitor.post(
        "/complaints/new", typed | {"saw": "spots"}, files=[("photos", ("a.png", b"no picture", "image/png"))]
    )
    assert (answer.status_code, 'href="#photos"' in answer.text, "spots</textarea>" in answer.text) == (422, True, True)
    assert "--" not in answer.text.partition("<main")[2].partition("</main>")[0]
    assert len(_events(plant)) == before
    assert visitor.get("/complaints/C-0099").status_code == 404
    assert visitor.get("/complaints/..%2f..").status_code in {400, 404}


def test_a_photograph_that_was_changed_isnt_shown(browse, decided, tmp_path, spot):
    """What is kept must be what was sent."""
    plant = shutil.copytree(decided, tmp_path / "plant")
    visitor = browse(plant)
    visitor.get("/complaints/new")
    visitor.post(
        "/complaints/new",
        {"finished": spot[0], "saw": "spots"},
        files=[("photos", ("a.png", _frame(), "image/png"))],
    )
    (kept,) = (plant / "complaints" / "C-0001").iterdir()
    kept.write_bytes(_frame("blue"))
    assert visitor.get("/complaints/C-0001/photographs/1").status_code == 404


def test_only_who_may_complain_writes(people):
    """A reader reads cases and traces, and can neither open one nor recall."""
    reader = people.browser("reader")
    (people.root / "plant.toml").write_text('name = "N"\n')
    assert reader.get("/trace").status_code == 200
    assert reader.get("/complaints/new").status_code == 403
    for path in ("/complaints/new", "/trace/recall"):
        assert reader.post(path, "/trace", {"finished": "T-1/001-01"}).status_code == 403


def test_what_takes_long_is_waited_for_once():
    """The second who asks gets the same answer; one that failed is tried again; only the last are kept."""
    answers, asked = Answers(), []

    def find():
        asked.append(1)
        return len(asked)

    assert answers.ask("a", find).value == 1
    assert answers.ask("a", find).value == 1

    def fail():
        asked.append(1)
        raise ValueError("no")

    for _ in range(2):
        with pytest.raises(ValueError, match="no"):
            answers.ask("b", fail)
    assert len(asked) == 3
    for number in range(60):
        answers.ask(number, lambda: 0)
    assert answers.ask("a", find).value == 4
