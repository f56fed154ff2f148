"""The examiner's pages: entry, drafts of one's own, sending, photographs."""

import io
import json
import re
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from wideroll.acts.examining import send_looks
from wideroll.acts.examining_files import ExaminationFiles, try_examination
from wideroll.acts.examining_lines import LookedAt, with_looks
from wideroll.errors import InputError
from wideroll.examination import FilterColour, Section
from wideroll.readers import PlantFolder
from wideroll.roll import MARK_KINDS, Extent, parse_length
from wideroll.server.examining.data import Basics, sheeted
from wideroll.server.examining.drafts import DraftSheet, Open, draft_of
from wideroll.server.examining.entering import KINDS, act_on, answer, question_of, step_back, steps_of
from wideroll.server.examining.measuring import measure
from wideroll.server.identity import Person
from wideroll.store import RecordStore, together

AIMS = "tolerance_density = 0.1\nlog_h = [-3, -2, -1.5, -1, 0]\nvisual = [0.2, 0.3, 0.8, 1.4, 2.2]\n"
FILES = {
    "plant.toml": 'name = "Little Mere, line 1"\nweb_width = "120 mm"\ndatum_edge = "drive side"\n'
    'shop_units = "inches"\nscanners = [{name = "infrared", wavelength_nm = 850}]\n',
    "products/sheet-100.toml": f"""\
film_type = "black-and-white"
sensitisation_nm = [[380, 690]]
[aims]
{AIMS}
[reference]
limit_density = 0.05
[reference.aims]
{AIMS}
[[criteria]]
name = "Spots"
measurand = "rate of marks"
subject = "sheets"
kinds = ["spot"]
limit = 20
unit = "per m²"
consequence = "hold"
[[widths]]
name = "35"
width = "34.975 mm"
tolerance = "0.025 mm"
value_per_m = 2
""",
    "rolls/T-1/roll.toml": 'product = "sheet-100"\nlength = "20 m"\n'
    'batches = [{name = "E-1", along_from = "0 m", along_to = "20 m"}]\n',
}
ROLL, BASE = "T-1", "/rolls/T-1/examination"
WHOLE = Extent(along_from_m=0.0, along_to_m=20.0, across_from_mm=0.0, across_to_mm=120.0)
SHEET = {"sheet": "7", "along_from": "5 m", "along_to": "5.3 m", "taken": "drawn"}
SETTING = {"loupe": "7", "filters": "no", "sections": "none", "densitometer": "no"}
SPOT = {"kind": "spot", "along": "5-7/8", "across": "10,5 mm", "size": ",6"}


@pytest.fixture
def plant(tmp_path):
    """A plant with one roll that nobody looked at yet."""
    for name, text in FILES.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.fixture
def desk(plant, browse):
    """Somebody alone at its desk."""
    return browse(plant, who="examiner A")


def _log(plant):
    files = PlantFolder(plant)
    return files.sighting_log(ROLL, files.sheets(ROLL, WHOLE))


def _address(sheet, end="enter"):
    return f"{BASE}/{quote(sheet)}/{end}"


def _asked(desk, sheet):
    page = desk.get(_address(sheet)).text
    found = re.search(r'name="question" value="(\w+)">\n<input type="hidden" name="sighting" value="(\d+)"', page)
    return (found[1], found[2]) if found else ("", "")


def _answer_all(desk, sheet, answers):
    """Give answers by the names of the questions, nothing for the others; ends between two sightings."""
    asked = []
    while (question := _asked(desk, sheet))[0]:
        asked.append(question[0])
        form = {"question": question[0], "sighting": question[1], "answer": answers.get(question[0], "")}
        assert desk.post(_address(sheet), form).status_code == 303, question
    return asked


def _begin(desk, **cells):
    desk.get(BASE)
    sheet = {**SHEET, **cells}
    assert desk.post(f"{BASE}/begin", sheet).status_code == 303
    _answer_all(desk, sheet["sheet"], SETTING)
    return sheet["sheet"]


def _note(desk, sheet, **answers):
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    return _answer_all(desk, sheet, {**SPOT, **answers})


def _finish(desk, sheet):
    desk.get(_address(sheet))
    assert desk.post(_address(sheet), {"go": "finish"}).status_code == 303


def _send(desk):
    page = desk.get(f"{BASE}/send").text
    mark = re.search(r'name="mark" value="(\w+)"', page)
    return desk.post(f"{BASE}/send", {"mark": mark[1] if mark else ""})


def test_what_is_entered_comes_among_the_evidence_as_it_was_entered(desk, plant):
    """One question after the other, then sent: the reader reads it, and the record names the file and the examiner."""
    sheet = _begin(desk)
    asked = _note(desk, sheet, wipes_off="no", grade="a bit", note="beside\tthe edge")
    assert asked[:4] == ["kind", "along", "across", "size"]
    assert asked[-3:] == ["grade", "note", "photograph"]
    assert "saved" in desk.get(_address(sheet) + "?saved=1").text
    assert not (plant / "rolls" / ROLL / "examination").exists()
    _finish(desk, sheet)
    assert "Send 1 sighting of 1 sheet" in desk.get(f"{BASE}/send").text
    sent = _send(desk).text
    assert "Taken in as event" in sent
    assert "changed since this page was made" not in sent  # by whoever reads it: there is nothing to load anew
    (seen,) = _log(plant).sightings
    assert (seen.kind, seen.size_mm, seen.wipes_off, seen.grade) == ("spot", 0.6, False, "a bit")
    assert (seen.place.along_m, seen.place.across_mm) == (5.0 + float(parse_length("5 7/8 in").m), 10.5)
    assert (seen.magnification, seen.note) == (7.0, "beside the edge")
    with RecordStore(f"sqlite:///{plant / 'wideroll.db'}") as record:
        (event,) = record.rows()
    assert (event.act, event.who) == ("sighting", "examiner A")
    assert "rolls/T-1/examination/sightings.csv" in json.loads(event.body)["files"]
    assert draft_of(plant, ROLL, Person(name="examiner A", roles=())).sheets == ()


def test_nothing_seen_is_said(desk, plant):
    """A sheet looked at without a sighting is listed, and the table of sightings has its header alone."""
    sheet = _begin(desk)
    page = desk.get(_address(sheet)).text
    assert "nothing seen" in page
    assert "Nothing can be sent" in desk.get(f"{BASE}/send").text
    _finish(desk, sheet)
    assert "Looked at, nothing seen" in desk.get(f"{BASE}/send").text
    _send(desk)
    assert _log(plant).entries == ()
    (listed,) = PlantFolder(plant).sheets(ROLL, WHOLE)
    assert (listed.name, listed.examiner, listed.drawn) == ("7", "examiner A", True)


@pytest.mark.parametrize(
    ("question", "typed", "says"),
    [
        ("along", "12 in", "must lie on the sheet"),
        ("along", "six", "a number and a unit"),
        ("across", "121 mm", "0 to 120 mm across"),
        ("size", "0", "greater than 0"),
        ("size", "2 m", "have room on the sheet"),
        ("kind", "<b>", "one of the answers shown"),
        ("along", "", "needs an answer"),
    ],
)
def test_an_answer_that_cannot_be_is_asked_again(desk, question, typed, says):
    """The summary leads to the field, what was typed stands in it, and the question before is kept."""
    sheet = _begin(desk)
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    while (asked := _asked(desk, sheet))[0] != question:
        desk.post(_address(sheet), {"question": asked[0], "sighting": asked[1], "answer": SPOT[asked[0]]})
    page = desk.post(_address(sheet), {"question": question, "sighting": asked[1], "answer": typed})
    assert page.status_code == 422
    assert 'href="#answer"' in page.text
    assert 'id="answer"' in page.text
    assert says.lower() in page.text.lower()
    assert "<b>" not in page.text
    assert _asked(desk, sheet)[0] == question


def test_undo_of_any_until_it_is_sent(desk, plant):
    """The first of two is undone and put back, the second changed; what is sent is what holds."""
    sheet = _begin(desk)
    _note(desk, sheet)
    _note(desk, sheet, along="3")
    for go in ("undo:1", "put-back:1", "undo:1"):
        desk.get(_address(sheet))
        desk.post(_address(sheet), {"go": go})
    assert "<s>spot at 5 7/8 in along" in desk.get(_address(sheet)).text
    desk.post(_address(sheet), {"go": "take-up:2"})
    _answer_all(desk, sheet, {**SPOT, "kind": "streak", "along": "3 in"})
    _finish(desk, sheet)
    _send(desk)
    assert [(one.kind, one.place.along_m) for one in _log(plant).sightings] == [("streak", 5.0 + 0.0762)]


def test_one_answer_is_changed_without_going_through_all_others(desk):
    """Saved amid its questions, what is typed to the one asked counts; what can't be is refused, and stays open."""
    sheet = _begin(desk)
    _note(desk, sheet, grade="", note="at the edge")
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    assert "with what is changed" not in desk.get(_address(sheet)).text
    desk.post(_address(sheet), {"go": "leave"})
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "take-up:1"})
    for said in ("streak", "3 in"):
        name, number = _asked(desk, sheet)
        desk.post(_address(sheet), {"question": name, "sighting": number, "answer": said})
    typed = {"question": "across", "sighting": "1", "go": "save"}
    assert "with what is changed" in desk.get(_address(sheet)).text
    assert desk.post(_address(sheet), {**typed, "answer": "9 m"}).status_code == 422
    saved = desk.post(_address(sheet), {**typed, "answer": "2"})
    assert saved.headers["location"].endswith("?saved=1")
    page = desk.get(_address(sheet)).text
    assert re.search("streak at 3 in along, 2 in across; 0.6 mm.*at the edge", page)


def test_an_answer_sent_twice_counts_once(desk, plant):
    """A form that is sent again, or from a page long gone, changes nothing."""
    sheet = _begin(desk)
    _note(desk, sheet)
    for number in ("1", "2"):
        desk.post(_address(sheet), {"question": "note", "sighting": number, "answer": "late"})
    _finish(desk, sheet)
    assert "late" not in desk.get(f"{BASE}/send").text
    _send(desk)
    assert _send(desk).status_code == 409
    assert len(_log(plant).sightings) == 1


def test_the_same_thing_is_not_noted_twice(desk):
    """A second sighting of the same kind, place and size is refused before it is saved."""
    sheet = _begin(desk)
    _note(desk, sheet)
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    while (asked := _asked(desk, sheet))[0] != "photograph":
        desk.post(_address(sheet), {"question": asked[0], "sighting": asked[1], "answer": SPOT.get(asked[0], "")})
    page = desk.post(_address(sheet), {"question": "photograph", "sighting": "2", "answer": ""})
    assert page.status_code == 422
    assert "noted as sighting 1" in page.text


def test_nobody_else_sees_a_draft(plant, desk_rules, make_people):
    """Another examiner sees neither sheet nor sighting nor photograph before they are sent, by page or by API."""
    people = make_people(plant, desk_rules)
    first, second, reader = (people.browser(name) for name in ("examiner", "engineer", "reader"))
    cells = {**SHEET, "sheet": "secret sheet"}
    first.post(f"{BASE}/begin", BASE, cells)
    assert "secret sheet" in first.get(BASE).text
    assert "secret sheet" in first.get(f"/api{BASE}/draft").text
    for other in (second, reader):
        assert "secret sheet" not in other.get(BASE).text
        for path in (f"/api{BASE}", f"/api{BASE}/sightings", f"/api{BASE}/draft"):
            assert "secret sheet" not in other.get(path).text
    assert second.get(f"{BASE}/secret%20sheet/enter").status_code == 303
    assert reader.get(f"{BASE}/secret%20sheet/enter").status_code == 403
    assert reader.get(f"/api{BASE}/draft").status_code == 403


def test_a_second_examiner_adds_to_the_first(plant, desk_rules, make_people):
    """Both sent the same sheet: the first's lines stand byte for byte, the second's are a blind further look."""
    people = make_people(plant, desk_rules)
    both = [people.browser(name) for name in ("examiner", "engineer")]
    later = dict.fromkeys(("embedded", "wipes_off", "metallic", "side", "grade", "note", "photograph"), "")
    for browser in both:
        browser.post(f"{BASE}/begin", BASE, SHEET)
        forms = [{"question": question, "answer": said} for question, said in SETTING.items()]
        forms += [{"go": "another"}]
        forms += [{"question": name, "sighting": "1", "answer": said} for name, said in (SPOT | later).items()]
        for form in (*forms, {"go": "finish"}):
            assert browser.post(_address("7"), BASE, form).status_code == 303
    texts = []
    for browser in both:
        mark = re.search(r'name="mark" value="(\w+)"', browser.get(f"{BASE}/send").text)[1]
        assert browser.post(f"{BASE}/send", BASE, {"mark": mark}).status_code == 200
        texts.append((plant / "rolls" / ROLL / "examination" / "sightings.csv").read_text())
    assert texts[1].startswith(texts[0])
    assert [one.look for one in _log(plant).sightings] == ["", "L1"]
    (look,) = PlantFolder(plant).looks(ROLL, PlantFolder(plant).sheets(ROLL, WHOLE))
    assert (look.examiner, look.blind) == ("Engineer A.", True)


def _listed(plant, sightings="sheet;kind;along;across;size\r\n# by hand\r\n1;spot;0,5 in;1 in;0,3 mm\r\n"):
    folder = plant / "rolls" / ROLL / "examination"
    folder.mkdir()
    (folder / "sheets.csv").write_text("sheet,along_from,along_to,examiner\n1,1 m,1.3 m,examiner B\n")
    (folder / "sightings.csv").write_bytes(sightings.encode())
    return folder


def test_lines_kept_by_hand_stay_as_they_are(desk, plant):
    """Separators, remarks, line ends and decimal commas of a table stay; what it lacks is added at the right."""
    folder = _listed(plant)
    sheet = _begin(desk)
    _note(desk, sheet, side="base")
    _finish(desk, sheet)
    _send(desk)
    lines = (folder / "sightings.csv").read_bytes().decode().split("\r\n")
    assert lines[1] == "# by hand"
    assert lines[2].startswith("1;spot;0,5 in;1 in;0,3 mm")
    assert [one.side for one in _log(plant).sightings] == [None, "base"]


def test_who_was_shown_what_was_noted_looks_no_longer_blind(desk, plant):
    """It is kept back until asked for; a look begun afterwards is written down as not blind."""
    _listed(plant)
    assert "What was noted, line by line" not in desk.get(BASE).text
    assert desk.get(f"{BASE}/sightings.csv").status_code == 404
    desk.get(BASE)
    desk.post(f"{BASE}/show")
    assert "What was noted, line by line" in desk.get(BASE).text
    assert "12.7" in desk.get(f"{BASE}/sightings.csv").text
    sheet = _begin(desk, sheet="1", along_from="1 m", along_to="1.3 m")
    _finish(desk, sheet)
    _send(desk)
    (look,) = PlantFolder(plant).looks(ROLL, PlantFolder(plant).sheets(ROLL, WHOLE))
    assert (look.sheet, look.examiner, look.blind) == ("1", "examiner A", False)


def test_a_line_is_taken_back_on_the_page(desk, plant):
    """Offered once it is seen what was noted; what is wrong is told with what was typed, and nothing is written."""
    _listed(plant)
    assert "Take the line back" not in desk.get(BASE).text
    desk.post(f"{BASE}/show")
    assert "Take the line back" in desk.get(BASE).text
    answer = desk.post(f"{BASE}/take-back", {"line": "7", "why": "a <hair>"})
    assert answer.status_code == 422
    assert 'href="#line"' in answer.text
    assert 'value="a &lt;hair&gt;"' in answer.text
    assert _log(plant).taken_back == ()
    assert desk.post(f"{BASE}/take-back", {"line": "1", "why": "a <hair>"}).status_code == 303
    page = desk.get(BASE).text
    assert "Lines taken back" in page
    assert "a &lt;hair&gt; (examiner A)" in page


def test_what_is_changed_meanwhile_by_hand_is_kept_or_nothing_is_sent(desk, plant):
    """A line added by hand stays; a fault refuses the sending, names its line, and the draft waits."""
    folder = _listed(plant)
    sheet = _begin(desk)
    _note(desk, sheet)
    _finish(desk, sheet)
    sightings = folder / "sightings.csv"
    whole = sightings.read_bytes()
    sightings.write_bytes(whole + b"1;spot;9 in;far\r\n")
    refused = _send(desk)
    assert refused.status_code == 409
    assert "line 4" in refused.text
    assert sightings.read_bytes() == whole + b"1;spot;9 in;far\r\n"
    assert "can't be read" in desk.get(BASE).text
    sightings.write_bytes(whole + b"1;streak;9 in;1 in;1 mm\r\n")
    assert _send(desk).status_code == 200
    assert [one.kind for one in _log(plant).sightings] == ["spot", "streak", "spot"]


def test_a_crash_while_sending_is_finished_afterwards(desk, plant, monkeypatch):
    """Between two files nothing is taken for evidence by mistake; the next who comes finishes it, and once only."""
    sheet = _begin(desk)
    _note(desk, sheet)
    _finish(desk, sheet)
    real = together.write_whole

    def dies(path, data):
        if path.name == "sheets.csv":
            raise KeyboardInterrupt
        real(path, data)

    monkeypatch.setattr(together, "write_whole", dies)
    with pytest.raises(KeyboardInterrupt):
        send_looks(
            plant,
            ROLL,
            [LookedAt(**SHEET, blind=True, on="2026-11-20", noted=({**SPOT, "along": "1 in", "size": "1 mm"},))],
            who="examiner A",
        )
    with pytest.raises(InputError):
        _log(plant)
    monkeypatch.undo()
    desk.get(BASE)
    assert len(_log(plant).sightings) == 1
    assert not list((plant / "desk" / "sending").iterdir())


def test_sheets_listed_before_anybody_looked_are_sent_together(plant):
    """A table of sightings would say of the others that nothing was seen on them."""
    folder = _listed(plant)
    (folder / "sightings.csv").unlink()
    one = LookedAt(**SHEET, blind=True, on="2026-11-20")
    with pytest.raises(InputError, match="all at once"):
        send_looks(plant, ROLL, [one], who="examiner B")
    assert not (folder / "sightings.csv").exists()
    both = [one, LookedAt(sheet="1", along_from="1 m", along_to="1.3 m", blind=True, on="2026-11-20")]
    assert [sent.look for sent in send_looks(plant, ROLL, both, who="examiner B").sheets] == ["", ""]


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ({"along_from": "19.9 m", "along_to": "20.2 m"}, "lies on the roll"),
        ({"along_from": "5.3 m", "along_to": "5 m"}, "ends after it starts"),
        ({"along_from": "1.1 m", "along_to": "1.4 m"}, "1 does"),
        ({"sheet": "1"}, "listed at another place"),
        ({"sheet": " "}, "needs a name"),
        ({"across_from": "1 m"}, "ends after it starts"),
        ({"along_from": "soon"}, "a number and a unit"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(desk, plant, cells, says):
    """The form says why, and keeps what was typed."""
    _listed(plant)
    desk.get(BASE)
    page = desk.post(f"{BASE}/begin", {**SHEET, **cells})
    assert page.status_code == 422
    assert says in page.text
    assert 'id="wrong"' in page.text


def test_the_plan_is_asked_for_in_the_address(desk):
    """As many sheets as a proof needs, or as many and as long as the address says; nonsense is said to be."""
    assert "prove at most 20 marks" in desk.get(BASE).text
    page = desk.get(f"{BASE}?length=12+in&count=4").text
    assert page.count('name="along_from" value') == 4 + 1
    assert desk.get(f"{BASE}?count=many").status_code == 422
    assert desk.get(f"{BASE}?length=long").status_code == 422


def _picture(kind="PNG", mode="RGB", size=(400, 300)):
    image = Image.new(mode, size, (200, 190, 180) if mode == "RGB" else 200)
    ImageDraw.Draw(image).ellipse((150, 100, 250, 200), fill=(120, 160, 150) if mode == "RGB" else 20)
    out = io.BytesIO()
    image.save(out, kind, **({"exif": b"Exif\0\0MM\0*\0\0\0\x08\0\0"} if kind == "JPEG" else {}))
    return out.getvalue()


def _send_up(desk, sheet, data):
    desk.get(_address(sheet, "photograph"))
    return desk.post(_address(sheet, "photograph"), {"go": "send-up"}, files={"photograph": ("a.png", data)})


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
def test_a_photograph_is_measured_and_sent(desk, plant, kind):
    """It is kept as a plain PNG; its scale and the mark's size come from points on it, and the reader takes it."""
    sheet = _begin(desk)
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    assert _send_up(desk, sheet, _picture(kind)).status_code == 303
    page = desk.get(_address(sheet, "photograph")).text
    picture = re.search(r'<img src="([^"]+)"', page)[1]
    assert desk.get(picture).content.startswith(b"\x89PNG")
    assert b"Exif" not in desk.get(picture).content
    points = {"ax": "0", "ay": "0", "bx": "400", "by": "0", "cx": "150", "cy": "150", "dx": "250", "dy": "150"}
    measured = {"go": "measure", "length": "8", **points}
    assert desk.post(_address(sheet, "photograph"), measured).status_code == 303
    name = picture.rpartition("/")[2]
    _answer_all(desk, sheet, {**SPOT, "size": "", "photograph": name} | {"size": "2 mm"})
    _finish(desk, sheet)
    _send(desk)
    (seen,) = _log(plant).sightings
    assert (seen.photograph, seen.photograph_mm_per_pixel, seen.size_mm) == (name, 0.02, 2.0)
    assert PlantFolder(plant).photograph(ROLL, name).pixels.shape == (300, 400, 3)
    assert desk.get(f"{BASE}/photographs/{name}").status_code == 200
    desk.get(BASE)
    desk.post(f"{BASE}/show")
    assert f'href="{BASE}/photographs/{name}"' in desk.get(BASE).text
    assert desk.get(picture).status_code == 404


@pytest.mark.parametrize("data", [b"", b"<svg onload='1'/>", _picture(mode="L"), _picture()[:500]])
def test_what_is_no_photograph_is_refused(desk, data):
    """Nothing is kept of it, and the page says what it must be."""
    sheet = _begin(desk)
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    page = _send_up(desk, sheet, data)
    assert page.status_code == 422
    assert 'href="#photograph"' in page.text


def test_a_photograph_without_scale_does_not_pass(desk):
    """The question is asked again, as the tables need the scale."""
    sheet = _begin(desk)
    desk.get(_address(sheet))
    desk.post(_address(sheet), {"go": "another"})
    _send_up(desk, sheet, _picture())
    while (asked := _asked(desk, sheet))[0] != "photograph":
        desk.post(_address(sheet), {"question": asked[0], "sighting": asked[1], "answer": SPOT.get(asked[0], "")})
    name = re.search(r'name="answer" value="([^"]+)"', desk.get(_address(sheet)).text)[1]
    for said, why in ((name, "needs a scale"), ("other.png", "must be the one sent up")):
        page = desk.post(_address(sheet), {"question": "photograph", "sighting": "1", "answer": said})
        assert page.status_code == 422
        assert why in page.text.lower()


@pytest.mark.parametrize("name", ["..%2f..%2fT-1.json", "sightings.csv", "none.png", "%2e%2e"])
def test_only_photographs_are_served(desk, plant, name):
    """No other file can be had by the address of one."""
    _listed(plant)
    for folder in ("photographs", "drafts"):
        assert desk.get(f"{BASE}/{folder}/{name}").status_code in {400, 404}


@pytest.mark.parametrize(
    ("typed", "where"),
    [
        ({"per_pixel": ""}, "per_pixel"),
        ({"per_pixel": "0"}, "per_pixel"),
        ({"ax": "1", "ay": "1", "bx": "1", "by": "1", "length": "1"}, "ax"),
        ({"ax": "1", "ay": "1", "bx": "", "by": "1", "length": "1"}, "bx"),
        ({"ax": "1", "ay": "1", "bx": "9", "by": "1", "length": "ten"}, "length"),
        ({"per_pixel": "1", "cx": "x", "cy": "1", "dx": "2", "dy": "3"}, "cx"),
    ],
)
def test_a_measurement_that_cannot_be_names_its_field(typed, where):
    """So that the summary can lead there."""
    with pytest.raises(InputError) as caught:
        measure(typed)
    assert caught.value.where == where


def test_the_kinds_asked_for_are_those_of_a_marks_table():
    """The pages know them by heart, as asking the room for them would load it."""
    assert KINDS == MARK_KINDS


_INCH = st.builds(lambda n, d: f"{n}-{1}/{d}", st.integers(0, 10), st.sampled_from([2, 4, 8, 16, 64]))
_ALONG = st.one_of(_INCH, st.integers(0, 299).map(lambda mm: f"{mm / 10:g} mm"), st.just("2,25"))
_YES_NO = st.sampled_from(["yes", "no", ""])
_SEEN = st.sampled_from(["darker", "lighter", "same", ""])
_ENTRY = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(MARK_KINDS),
        "along": _ALONG,
        "across": st.integers(0, 1199).map(lambda tenths: f"{tenths / 10:g}mm"),
        "size": st.integers(1, 500).map(lambda n: f"{n / 100}".replace(".", ",")),
        **{str(colour): _SEEN for colour in FilterColour},
        **{section.value.replace(" ", "_"): _YES_NO for section in Section},
        "embedded": _YES_NO,
        "wipes_off": _YES_NO,
        "metallic": st.sampled_from(["yes", ""]),
        "side": st.sampled_from(["emulsion", "base", ""]),
        "grade": st.text(max_size=8),
        "note": st.text(max_size=40),
        "density_red": st.one_of(st.just(""), st.integers(-300, 300).map(lambda n: f"{n / 100}")),
        "density_green": st.just("0,1"),
        "density_blue": st.just("-.2"),
        "density_uncertainty": st.just("0.01"),
        "photograph": st.just(""),
    }
)


def _entered(entries):
    """A sheet with entries answered as the pages ask."""
    about = sheeted(
        Basics(roll=ROLL, whole=WHOLE, inches=True, datum_edge="drive side", grades=(), loupe=""),
        sheet := DraftSheet(**SHEET, setting={"loupe": "", "filters": "yes", "sections": "all", "densitometer": "yes"}),
    )

    def steps(moved):
        return steps_of(moved, about, shown=False, before={})

    for entry in entries:
        sheet = act_on(sheet, "another", 0)
        try:
            while sheet.open is not None:
                asked = question_of(sheet, steps(sheet)).name
                said = entry[asked]
                sheet = answer(sheet, steps(sheet), name=asked, text=said, now_utc="", again=steps)
        except InputError:  # the same thing twice
            sheet = act_on(sheet, "leave", 0)
    return sheet


@settings(max_examples=12)
@given(st.lists(_ENTRY, min_size=1, max_size=4), st.sampled_from([",", ";", "\t"]))
def test_what_was_entered_is_what_is_read(entries, separator):
    """Whatever is entered, the reader reads each sighting with just these answers."""
    sheet = _entered(entries)
    before = f"sheet{separator}kind{separator}along{separator}across{separator}size\n"
    looked = LookedAt(**SHEET, blind=True, on="2026-11-20", noted=tuple(one.cells for one in sheet.noted))
    kept = ExaminationFiles(folder=Path("examination"), whole=WHOLE, texts={"sightings.csv": before})
    _, texts = with_looks(kept, [looked], "examiner A")
    log = try_examination(kept, texts, more=len(sheet.noted))
    assert len(log.sightings) == len(sheet.noted)
    for seen, noted in zip(log.sightings, sheet.noted, strict=True):
        cells = noted.cells
        assert (seen.kind, seen.size_mm) == (cells["kind"], float(parse_length(cells["size"]).mm))
        assert seen.place.along_m == 5.0 + float(parse_length(cells["along"]).m)
        assert seen.place.across_mm == float(parse_length(cells["across"]).mm)
        assert {str(colour): said.value for colour, said in seen.through.items()} == {
            str(colour): cells[str(colour)] for colour in FilterColour if str(colour) in cells
        }
        shows = {section.value.replace(" ", "_"): "yes" if said else "no" for section, said in seen.shows_in.items()}
        assert shows == {name: said for name, said in cells.items() if name in shows or name.endswith("_separation")}
        assert (seen.note, seen.grade) == (cells.get("note", ""), cells.get("grade", ""))
        assert (seen.embedded, seen.wipes_off) == tuple(
            {"yes": True, "no": False}.get(cells.get(name)) for name in ("embedded", "wipes_off")
        )
        assert (seen.side, seen.metallic) == (cells.get("side"), cells.get("metallic") == "yes")
        assert (seen.density is None) == ("density_red" not in cells)


@settings(max_examples=25)
@given(st.lists(st.sampled_from(["answer", "back"]), max_size=40))
def test_back_and_forth_loses_no_answer(moves):
    """However often somebody goes back, what was answered stands there again."""
    about = sheeted(
        Basics(roll=ROLL, whole=WHOLE, inches=True, datum_edge="drive side", grades=("A", "B"), loupe=""),
        sheet := DraftSheet(**SHEET, setting=SETTING, open=Open(number=1, at="kind")),
    )
    given_answers = {**SPOT, "grade": "B", "wipes_off": "yes"}

    def steps(moved):
        return steps_of(moved, about, shown=False, before={})

    for move in moves:
        if sheet.open is None:
            break
        asked = question_of(sheet, steps(sheet)).name
        before = dict(sheet.open.answers)
        if move == "back":
            sheet = step_back(sheet, steps(sheet))
            assert sheet.open.answers == before
        else:
            said = given_answers.get(asked, "")
            sheet = answer(sheet, steps(sheet), name=asked, text=said, now_utc="", again=steps)
            held = sheet.open.answers if sheet.open is not None else sheet.noted[0].cells
            assert {name: cell for name, cell in before.items() if cell}.items() <= held.items()
