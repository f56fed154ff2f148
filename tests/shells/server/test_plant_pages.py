"""The plant's pages, and products changed at the desk in two steps."""

import json
import re
from hashlib import sha256
from html import unescape

import pytest

from wideroll.acts.products import plan_change
from wideroll.cli import main
from wideroll.readers.toml_places import line_of
from wideroll.store import RecordStore

PRODUCT = "sheet-100"
CHANGE = f"/plant/products/{PRODUCT}/change"
SAVE = f"/plant/products/{PRODUCT}/save"
METAL = "criteria.5.limit"
SPEED = "criteria.4.limit"


def _file(plant):
    return plant / "products" / f"{PRODUCT}.toml"


def _hidden(page, name):
    found = re.search(rf'<input type="hidden" name="{name}" value="([^"]*)">', page.text)
    return unescape(found[1])


def _fields(desk, **typed):
    """Look at what changes when fields are typed into the form as it is now."""
    shown = desk.get(CHANGE)
    return desk.post(CHANGE, {"way": "fields", "base": _hidden(shown, "base"), **typed})


def _text(desk, text):
    shown = desk.get(f"{CHANGE}?way=text")
    return desk.post(CHANGE, {"way": "text", "base": _hidden(shown, "base"), "text": text.replace("\n", "\r\n")})


def _save(desk, summary, **more):
    return desk.post(SAVE, {"seen": _hidden(summary, "seen"), "text": _hidden(summary, "text"), **more})


def _events(plant):
    with RecordStore(f"sqlite:///{plant / 'wideroll.db'}") as record:
        return list(record.events())


def test_each_part_of_the_plant_stands_on_its_page(plant, browse):
    """Line, rollers, last cleanings and calibrations come from their files, the overdue in words and with a shape."""
    (plant / "cleanings.csv").write_text("roller,on\nR1 coating roll,2026-01-03\nR1 coating roll,2026-02-04\n")
    (plant / "instruments.toml").write_text(
        '[[gauges]]\nname = "G-1"\nmeasures = ["thickness"]\nunit = "µm"\n'
        '[[gauges.calibrations]]\non = "2020-01-10"\nexpires = "2021-01-10"\n'
    )
    desk = browse(plant)
    page = desk.get("/plant").text
    for words in ("120 mm", "drive side", "R1 coating roll", "2026-02-04", "✖ overdue", "overdue: G-1", "none yet"):
        assert words in page
    rows = desk.get("/plant/tables/rollers.csv").text.splitlines()
    assert rows[1].endswith("2026-02-04")
    twin = desk.get("/api/plant").json()["parts"]
    assert twin["instruments"]["tables"]["instruments"][0]["calibration"] == "✖ overdue"


@pytest.mark.parametrize(
    ("name", "text", "key"),
    [("cleanings.csv", "roller,on\nR9,2026-01-03\n", "cleanings"), ("plant.toml", 'name = "x"\n', "line")],
)
def test_a_fault_of_a_file_leaves_the_other_parts(plant, browse, name, text, key):
    """Where, rule and mend of one file's fault are shown; the parts that don't need the file stay."""
    (plant / name).write_text(text)
    page = browse(plant).get("/plant")
    parts = browse(plant).get("/api/plant").json()["parts"]
    assert page.status_code == 200
    assert name in parts[key]["fault"]["where"]
    assert parts[key]["fault"]["mend"] in page.text.replace("&#39;", "'")
    assert parts["processors"]["fault"] is None
    assert '<nav aria-label="Places">' in page.text


def test_a_change_says_what_it_does_and_is_recorded(decided_plant, browse, capsys):
    """A comma is a point; what changes and the stale roll are shown; the file keeps all else; the event names it."""
    desk, before = browse(decided_plant), _file(decided_plant).read_text()
    summary = _fields(desk, **{SPEED: "0,25"})
    assert summary.status_code == 200
    assert re.search(r"criteria, Speed, limit</th><td>0.3</td><td>0.25</td>", summary.text)
    assert "1 roll is" in summary.text
    assert ">T-1</a>" in summary.text
    assert _file(decided_plant).read_text() == before
    saved = _save(desk, summary)
    assert saved.status_code == 303
    after = _file(decided_plant).read_text()
    assert after == before.replace("limit = 0.3\n", "limit = 0.25\n")
    last = _events(decided_plant)[-1]
    assert (last.act, last.who) == ("take-in", "engineer A")
    assert last.body["files"] == {f"products/{PRODUCT}.toml": sha256(after.encode()).hexdigest()}
    assert last.body["changes"] == ["criteria, Speed, limit: 0.3 → 0.25"]
    assert "decide it again" in desk.get(saved.headers["location"]).text
    assert main(["record", "verify", str(decided_plant)]) == 4
    assert f"event {last.number}, take-in by engineer A" in capsys.readouterr().err
    # put back as it was, the decision holds again
    again = _fields(desk, **{SPEED: "0.3"})
    assert "hold again" in again.text


def test_the_next_decision_knows_the_change(decided_plant, browse):
    """What the desk recorded isn't taken in a second time."""
    desk = browse(decided_plant)
    _save(desk, _fields(desk, **{SPEED: "0.25"}))
    before = len(_events(decided_plant))
    assert main(["take-in", str(decided_plant), "T-1"]) == 0
    assert len(_events(decided_plant)) == before


@pytest.mark.parametrize(
    ("key", "typed", "said"),
    [
        (SPEED, "-0.3", "limit"),
        (SPEED, "0.3 log H", "must be a number"),
        (SPEED, "1.000,5", "must be a number"),
        (SPEED, "", "must not be empty"),
        (METAL, "2", "forbidden has the limit 0"),
        ("widths.1.width", "34.975", "a number and a unit"),
        ("widths.1.tolerance", "40 mm", "must be less than the width"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_typed_is_lost(plant, browse, key, typed, said):
    """The summary of errors leads to the field, which still holds what was typed; nothing is saved."""
    before = _file(plant).read_text()
    page = _fields(browse(plant), **{key: typed, "criteria.2.limit": "150"})
    assert page.status_code == 422
    assert said in page.text.replace("&#39;", "'")
    assert f'<a href="#{key}">' in page.text
    assert f'name="{key}" value="{typed}"' in page.text
    assert 'name="criteria.2.limit" value="150"' in page.text
    assert _file(plant).read_text() == before


def test_a_wrong_text_is_led_to_its_line(plant, browse):
    """A comma for a point in the text is a fault of that line; the text stays in the form."""
    text = _file(plant).read_text().replace("limit = 0.3\n", "limit = 0,3\n")
    page = _text(browse(plant), text)
    assert page.status_code == 422
    assert f"Line {text.splitlines().index('limit = 0,3') + 1}: " in page.text
    assert "limit = 0,3\n" in page.text


def test_two_tabs_lose_nothing(plant, browse):
    """The second to save sees what the first changed, with its own typing laid over the file as it is now."""
    one, two = browse(plant, who="engineer A"), browse(plant, who="engineer B")
    base = _hidden(two.get(CHANGE), "base")
    late = two.post(CHANGE, {"way": "fields", "base": base, "criteria.2.limit": "150"})
    _save(one, _fields(one, **{SPEED: "0.25"}))
    refused = two.post(SAVE, {"seen": _hidden(late, "seen"), "text": _hidden(late, "text")})
    assert refused.status_code == 409
    assert "limit = 150" in refused.text
    assert "limit = 0.25" in _file(plant).read_text()
    merged = two.post(CHANGE, {"way": "fields", "base": base, "criteria.2.limit": "150", SPEED: "0.3"})
    assert merged.status_code == 409
    assert f'name="{SPEED}" value="0.25"' in merged.text
    assert 'name="criteria.2.limit" value="150"' in merged.text


def test_a_criterion_isnt_lost_by_accident(plant, browse):
    """One that a new text lacks is ticked to go, or nothing is saved."""
    desk, before = browse(plant), _file(plant).read_text()
    text = re.sub(r'\[\[criteria\]\]\nname = "Metal".*?(?=\[\[widths)', "", before, flags=re.DOTALL)
    summary = _text(desk, text)
    assert "Take out Metal" in summary.text
    refused = _save(desk, summary)
    assert refused.status_code == 422
    assert _file(plant).read_text() == before
    assert _save(desk, summary, **{"taken-out": "Metal"}).status_code == 303
    assert "Metal" not in _file(plant).read_text()


def test_a_new_product_is_begun_from_a_copy(plant, browse):
    """It has a name of its own, is looked at, saved and listed; a script in it is shown as text."""
    desk, script = browse(plant), "<script>alert(1)</script>"
    copied = desk.get(f"/plant/new-product?copied={PRODUCT}")
    assert 'name = "Metal"' in copied.text.replace("&#34;", '"')
    text = f"# {script}\n" + _file(plant).read_text().replace('"Marks"', f'"{script}"')
    for name in (PRODUCT, "../elsewhere", "a b", ""):
        assert desk.post("/plant/new-product", {"name": name, "text": text}).status_code == 422
    summary = desk.post("/plant/new-product", {"name": "sheet-200", "text": text})
    assert (
        desk.post("/plant/products/sheet-200/save", {"seen": "", "text": _hidden(summary, "text")}).status_code == 303
    )
    assert _events(plant)[-1].body["changes"] == ["a new product"]
    for path in ("", "/change", "/change?way=text"):
        page = desk.get(f"/plant/products/sheet-200{path}")
        assert page.status_code == 200
        assert script not in page.text
    assert [one["product"] for one in desk.get("/api/products").json()["products"]] == [PRODUCT, "sheet-200"]


def test_only_engineers_and_administrators_change_products(people):
    """Others see no button, and are refused."""
    (people.root / "products").mkdir()
    _file(people.root).write_text('film_type = "?"\n')
    for role, status in (("reader", 403), ("technician", 403), ("engineer", 200), ("administrator", 200)):
        desk = people.browser(role)
        assert desk.get(CHANGE).status_code == status
        assert ("/change" in desk.get(f"/plant/products/{PRODUCT}").text) == (status == 200)


def test_a_plant_with_nothing_says_what_to_do(tmp_path, browse):
    """Without products, rolls, cleanings or instruments each page names what comes next."""
    (tmp_path / "plant.toml").write_text('name = "Little Mere"\nweb_width = "120 mm"\ndatum_edge = "drive side"\n')
    desk = browse(tmp_path)
    for path, words in (
        ("/", "No roll is here yet"),
        ("/plant", "instruments.toml"),
        ("/", "/plant/new-product"),
        ("/plant/products", "/plant/new-product"),
        ("/help", "without a login"),
    ):
        page = desk.get(path)
        assert page.status_code == 200
        assert words in page.text
    assert desk.get("/api/products").json()["products"] == []
    assert desk.get("/record/bundle.zip").status_code == 404


def test_line_ends_and_comments_stay(plant, browse):
    """A file with other line ends keeps them; comments beside a changed value stay."""
    text = _file(plant).read_text().replace("limit = 0.3\n", "limit = 0.3 # as agreed\n")
    _file(plant).write_bytes(text.replace("\n", "\r\n").encode())
    desk = browse(plant)
    assert _save(desk, _fields(desk, **{SPEED: "0.25"})).status_code == 303
    assert b"limit = 0.25 # as agreed\r\n" in _file(plant).read_bytes()


def test_lines_are_found_within_lists(plant):
    """Tables of tables are counted within their own."""
    text = "[[a]]\n[[a.b]]\nx = 1\n[[a]]\n[[a.b]]\nx = 2\n[[a.b]]\nx = 3\n"
    assert line_of(text, ("a", 2, "b", 2, "x")) == 8
    assert json.dumps([one.line for one in plan_change(plant, PRODUCT, "x = 1").faults]) != "[]"
