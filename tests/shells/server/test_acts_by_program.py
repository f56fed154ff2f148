"""What programs may do below /api by a token of the act's scope: complaints, recalls, base periods, sightings."""

import csv
import io
import json
import shutil

import pytest
from PIL import Image

from wideroll.acts.history import events_of
from wideroll.readers import PlantFolder
from wideroll.roll import Extent
from wideroll.server.complaints.body import Step
from wideroll.server.complaints.steps import STEPS
from wideroll.store import RecordStore
from wideroll.store.demo_history import history_files

SIGHTINGS = "/api/rolls/T-1/examination/sightings"
BACK = "/api/rolls/T-1/examination/take-back"
SHEET = {"sheet": "9", "along_from": "1,2", "along_to": "1.4 m", "sightings": []}
SPOT = {"kind": "spot", "along": "12,5", "across": "3 cm", "size": ".6 mm", "note": "round\nand dark"}


@pytest.fixture
def program(decided, tmp_path, make_people, desk_rules):
    """Asks the desk of a decided plant with its own token for each scope."""
    root = shutil.copytree(decided, tmp_path / "plant")
    people = make_people(root, desk_rules)
    headers = {scope: people.bearer("engineer", scope) for scope in ("read", "complain", "decide", "examine")}
    headers["both"] = people.bearer("engineer", "read", "examine")

    def ask(scope, path, document=None, **rest):
        method = "GET" if document is None and not rest else "POST"
        body = {} if document is None else {"json": document}
        return people.browser().request(method, path, headers=headers[scope], **body, **rest)

    ask.root = root
    return ask


def _finished(root):
    return json.loads((root / "results" / "T-1" / "cut.json").read_text())["pieces"][0]["label"]


def _frame():
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, "PNG")
    return out.getvalue()


def _acts(root):
    with RecordStore(f"sqlite:///{root}/wideroll.db") as record:
        return [(event.act, event.who) for event in record.events()]


def test_the_steps_of_a_case_are_those_of_the_page():
    """The description names each step that a case has, and no other."""
    assert set(Step.__args__) == set(STEPS)


def test_a_case_goes_its_way_without_a_page(program):
    """Opened, added to with a photograph, looked into, found, closed, opened again: each an event by the token."""
    number = _finished(program.root)
    opened = program("complain", "/api/complaints", {"finished": number, "saw": "a spot", "place": "0.5 m from core"})
    assert (opened.status_code, opened.json()["schema"]) == (200, "wideroll/complaint/1")
    case = f"/api/complaints/{opened.json()['case']}"
    picture = {"photos": ("frame.png", _frame(), "image/png")}
    for step, rest in (
        ("add", {"data": {"saw": "on each frame"}, "files": picture}),
        ("ask", {"json": {"samples": ["T-1/retained"]}}),
        ("look", {"json": {"sample": "T-1/retained", "saw": "the same", "there": True}}),
        ("find", {"json": {"finding": "ours", "why": "it was there", "looked_at": ["trace", "sample"]}}),
        ("close", {"json": {"outcome": "replaced"}}),
        ("reopen", {"json": {"why": "again"}}),
    ):
        answer = program("complain", f"{case}/{step}", **rest)
        assert answer.status_code == 200, (step, answer.text)
    told = program("read", case).json()
    assert [one["name"] for one in told["photos"]] == ["frame.png"]
    assert told == answer.json()
    answer = program("complain", f"{case}/ask", {"samples": ["A", "A"]}).json()
    assert answer["error"]["where"] == "samples"
    steps = [who for act, who in _acts(program.root) if act == "complaint"]
    assert len(steps) == 7
    assert all(who.startswith("Engineer A., by token t-") for who in steps)


@pytest.mark.parametrize(
    ("path", "document", "where"),
    [
        ("/api/complaints", {"finished": "T-1/9-9", "saw": "x"}, "finished"),
        ("/api/complaints", {"finished": "T-1/001-01", "saw": " "}, "saw"),
        ("/api/complaints", {"finished": 1}, "finished"),
        ("/api/complaints", {"colour": "red"}, "colour"),
        ("/api/complaints/1/sell", {}, "path.step"),
        ("/api/trace/recall", {"finished": "T-1/9-9"}, "finished"),
        ("/api/trace/recall", {"finished": "T-1/001-01", "place": "900 m from core"}, "place"),
    ],
)
def test_what_cant_be_used_is_named_by_its_field(program, path, document, where):
    """A 422 in the one shape, without the words of the command line; nothing is recorded."""
    before = _acts(program.root)
    answer = program("complain", path, document)
    error = answer.json()["error"]
    assert (answer.status_code, error["where"].removeprefix("body.")) == (422, where)
    assert "--" not in error["rule"] + error["mend"]
    assert _acts(program.root) == before


def test_a_step_takes_its_own_fields_alone(program):
    """What it would leave aside is refused; a body that is no JSON, too, and a case that isn't there isn't found."""
    opened = program("complain", "/api/complaints", {"finished": _finished(program.root), "saw": "a spot"}).json()
    case = f"/api/complaints/{opened['case']}"
    answer = program("complain", f"{case}/ask", {"samples": ["A"], "outcome": "none"})
    assert (answer.status_code, answer.json()["error"]["where"]) == (422, "outcome")
    answer = program("complain", f"{case}/add", content=b"{")
    assert (answer.status_code, answer.json()["error"]["where"]) == (422, "body")
    assert program("complain", f"{case}/close", {"outcome": "x"}).status_code == 422
    assert program("complain", "/api/complaints/C-99/add", {"saw": "x"}).status_code == 404


def test_a_recall_list_is_written_and_recorded(program):
    """The list lies where the answer says, the record names it and the case; an unknown case is none."""
    number = _finished(program.root)
    case = program("complain", "/api/complaints", {"finished": number, "saw": "a spot"}).json()["case"]
    assert program("complain", "/api/trace/recall", {"finished": number, "case": "C-99"}).status_code == 404
    answer = program("complain", "/api/trace/recall", {"finished": number, "case": case}).json()
    assert (answer["schema"], answer["case"], answer["rolls"][0]) == ("wideroll/recall/1", case, number)
    name = answer["list"].rpartition("/")[2]
    rows = list(csv.reader((program.root / "recalls" / name).read_text().splitlines()))
    assert len(rows) > len(answer["rolls"])
    assert program("read", f"/api/record/{answer['event']}").json()["body"]["case"] == case


def test_a_base_period_is_frozen_by_whoever_may_decide(program):
    """It is told as the record has it; a second one of its name, or days that are none, are refused."""
    for name, text in history_files().items():
        path = program.root / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    said = {"name": "autumn", "from": "2026-08-03", "to": "2026-09-10", "because": "steady"}
    answer = program("decide", "/api/trends/base-periods", said).json()
    assert (answer["schema"], answer["base"], answer["rolls"]) == ("wideroll/base-period/1", "autumn", 25)
    (kept,) = program("read", "/api/trends/base-periods").json()["base_periods"]
    assert kept == {name: value for name, value in answer.items() if name != "schema"}
    assert program("decide", "/api/trends/base-periods", said).json()["error"]["where"] == "name"
    wrong = program("decide", "/api/trends/base-periods", {**said, "from": "soon"}).json()["error"]
    assert (wrong["status"], wrong["where"]) == (422, "from")


def test_whole_looks_come_among_the_evidence(program):
    """Lines stand in the roll's tables in the examiner's name; the same sheet again is a further look, blind or not."""
    answer = program("examine", SIGHTINGS, {"sheets": [{**SHEET, "sightings": [SPOT]}]})
    assert answer.status_code == 200, answer.text
    sent = answer.json()
    assert sent["sheets"] == [{"sheet": "9", "look": None, "sightings": 1}]
    assert (len(sent["events"]), sent["trouble"]) == (1, None)
    folder = program.root / "rolls" / "T-1" / "examination"
    line = (folder / "sightings.csv").read_text().splitlines()[-1]
    for words in ("12.5 mm", "3 cm", "0.6 mm", "round and dark"):
        assert words in line
    assert ",1.2 m,1.4 m," in (folder / "sheets.csv").read_text().splitlines()[-1]
    again = {**SHEET, "blind": True, "on": "2026-11-20"}
    look = program("examine", SIGHTINGS, {"sheets": [again]}).json()["sheets"][0]["look"]
    assert program("read", SIGHTINGS).status_code == 200
    lines = (folder / "looks.csv").read_text().splitlines()
    assert lines[-1].startswith(f"{look},9,")
    assert lines[-1].endswith(",2026-11-20,yes")
    assert ",Engineer A.,drawn" in (folder / "sheets.csv").read_text().splitlines()[-1]
    last = events_of(program.root, "T-1")[-1]
    assert (last.act, last.who[:24]) == ("sighting", "Engineer A., by token t-")


def test_a_photograph_is_sent_up_before_its_sighting(program):
    """It is kept for its examiner alone until a sighting names it; then it lies beside the table."""
    address = "/api/rolls/T-1/examination/photographs"
    assert program("examine", address, files={"photograph": ("a.png", b"none", "image/png")}).status_code == 422
    assert program("examine", address, data={}).json()["error"]["where"] == "photograph"
    answer = program("examine", address, files={"photograph": ("a.png", _frame(), "image/png")}).json()
    assert answer["schema"] == "wideroll/photograph/1"
    spot = {**SPOT, "photograph": answer["photograph"], "photograph_scale": "0.01 mm"}
    sent = program("examine", SIGHTINGS, {"sheets": [{**SHEET, "sightings": [spot]}]})
    assert sent.status_code == 200, sent.text
    folder = program.root / "rolls" / "T-1" / "examination"
    assert answer["photograph"] in (folder / "sightings.csv").read_text()
    assert (folder / answer["photograph"]).is_file()
    assert list((program.root / "desk" / "drafts").rglob("*.png")) == []


def test_an_examiner_who_was_shown_what_is_noted_sends_no_blind_look(program):
    """Whatever the program says: who asked for the sightings knows them."""
    both = {"sheets": [{**SHEET, "blind": True}]}
    program("examine", SIGHTINGS, both)
    folder = program.root / "rolls" / "T-1" / "examination"
    assert program("both", SIGHTINGS).status_code == 200
    program("examine", SIGHTINGS, both)
    assert (folder / "looks.csv").read_text().splitlines()[-1].endswith(",no")


def test_a_line_that_was_wrong_is_taken_back_and_stays_readable(program):
    """A further line names it, with the reason and who; the record names the file anew; nothing is taken back twice."""
    file = program.root / "rolls" / "T-1" / "examination" / "sightings.csv"
    before = file.read_text().splitlines()
    answer = program("examine", BACK, {"line": " 1 ", "why": "dust on\nthe loupe"})
    document = answer.json()
    assert (answer.status_code, document["line"], document["trouble"]) == (200, "1", None)
    assert [new.startswith(old) for new, old in zip(file.read_text().splitlines(), before, strict=False)] == [True] * 2
    log = _log(program.root)
    [(gone, by)] = log.taken_back
    assert (gone.name, log.sightings) == ("1", ())
    assert by.note.startswith("dust on the loupe (Engineer A., by token ")
    event = events_of(program.root, "T-1")[-1]
    assert (event.number, event.act, event.who[:11]) == (*document["events"], "sighting", "Engineer A.")
    for line, why, where in (("1", "x", "line"), ("9", "x", "line"), ("2", " ", "why")):
        refused = program("examine", BACK, {"line": line, "why": why})
        assert (refused.status_code, refused.json()["error"]["where"]) == (422, where)
    assert program("examine", BACK, {"line": "2", "why": "it was there"}).status_code == 200
    assert len(_log(program.root).sightings) == 1
    assert program("read", BACK, {"line": "3", "why": "x"}).status_code == 403


def _log(root):
    files = PlantFolder(root)
    whole = Extent(along_from_m=0.0, along_to_m=2.0, across_from_mm=0.0, across_to_mm=120.0)
    return files.sighting_log("T-1", files.sheets("T-1", whole))


@pytest.mark.parametrize(
    ("sheet", "where"),
    [
        ({"along_to": "1 m"}, "along_to"),
        ({"along_to": "900 m"}, "along_to"),
        ({"sheet": "..."}, "sheet"),
        ({"on": "yesterday"}, "on"),
        ({"sightings": [{**SPOT, "size": ""}]}, "10: sighting 1: size"),
        ({"sightings": [{**SPOT, "size": "much"}]}, "10: sighting 1: size"),
        ({"sightings": [{**SPOT, "kind": "elephant"}]}, "examination/sightings.csv, line"),
        ({"sightings": [{**SPOT, "look": "L1"}]}, "body.sheets.1.sightings.0.look"),
        ({"sightings": [{**SPOT, "photograph": "a.png", "photograph_scale": "0.01 mm"}]}, "photograph"),
        ({"sightings": [{**SPOT, "photograph": "../a.png", "photograph_scale": "0.01 mm"}]}, "photograph"),
    ],
)
def test_looks_that_cant_be_are_refused_whole(program, sheet, where):
    """The error says where, and no table is touched."""
    folder = program.root / "rolls" / "T-1" / "examination"
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    other = {**SHEET, "sheet": "10", "along_from": "1.5", "along_to": "1.6", **sheet}
    answer = program("examine", SIGHTINGS, {"sheets": [SHEET, other]})
    assert answer.status_code == 422
    assert where in answer.json()["error"]["where"]
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before
