"""The cut page: the cut that stands, and what a wish would cost."""

import csv
import html
import io
import json
import re

import pytest

from wideroll.acts import wishing
from wideroll.cli import main
from wideroll.server.cut import wishing as asking

ROLL = "T-1"
CUT = f"/rolls/{ROLL}/cut"


def _asked(browse, plant, query):
    """The page once the planning is over."""
    return browse(plant).until(f"{CUT}?{query}", lambda answer: 'http-equiv="refresh"' not in answer.text)


def _wish(desk, **body):
    """A wish sent by a script, with the token of the page shown last."""
    desk.get(f"/rolls/{ROLL}")
    return desk.send(f"/api{CUT}/wish", body)


@pytest.fixture(scope="module")
def standing(desk_plant):
    """The cut as it stands, for machines."""
    return json.loads((desk_plant / "results" / ROLL / "cut.json").read_text())


def test_the_page_shows_the_cut_that_stands(desk_plant, browse, standing):
    """Whether it may be slit, yields and losses as recorded, a picture, and the list with as many rows as its CSV."""
    desk = browse(desk_plant)
    page = desk.get(CUT)
    assert page.status_code == 200
    assert "May be slit" in page.text
    for loss in standing["losses"]:
        assert html.escape(loss["reason"]) in page.text
    for link in re.findall(r'href="(/rolls/[^"]+/tables/cut/[^"]+\.csv)"', page.text):
        assert len({len(row) for row in csv.reader(io.StringIO(desk.get(link).text))}) == 1
    assert desk.get(re.search(r'<img class="drawn" src="([^"]+)"', page.text)[1]).status_code == 200
    assert "Record this cut" not in page.text


def test_list_sheet_and_json_are_the_recorded_files(desk_plant, browse):
    """What is carried to the slitter is byte for byte what the record names, and no script can run in it."""
    desk, results = browse(desk_plant), desk_plant / "results" / ROLL
    sheet = desk.get(f"{CUT}/sheet")
    assert sheet.content == (results / "cut.html").read_bytes()
    assert "script-src" not in sheet.headers["content-security-policy"]
    assert desk.get(f"{CUT}/list.csv").content == (results / "cut.csv").read_bytes()
    assert desk.get(f"/api{CUT}").json() == json.loads((results / "cut.json").read_text())


def test_a_wish_costs_what_the_command_says(desk_plant, browse, capsys):
    """In the address, in the shop's units or others; what stands isn't touched."""
    results = desk_plant / "results" / ROLL
    before = {path.name: path.read_bytes() for path in results.iterdir() if path.name.startswith("cut.")}
    page = _asked(browse, desk_plant, "knife=50&cross=3+3/8+ft&without=")
    capsys.readouterr()
    words = ["--knife-at", "50 mm", "--cross-cut-at", "3 3/8 ft", "--json"]
    assert main(["cut", str(desk_plant), ROLL, *words]) == 0
    price = json.loads(capsys.readouterr().out)["prices"][-1]
    assert page.status_code == 200
    assert re.search(r"a cross-cut at coated 3 3/8 ft", page.text)
    assert f"{price['net_without']:.3f}"[:4] in page.text
    for caption in ("beside the one that stands", "Yield by width, as it stands", "becomes no piece, as it stands"):
        assert caption in page.text
    assert before == {name: (results / name).read_bytes() for name in before}


def test_the_cut_with_a_wish_is_marked_as_not_to_be_slit_by(desk_plant, browse):
    """Its picture, its list and its sheet say so wherever they are found."""
    desk = browse(desk_plant)
    assert "don't slit" in _asked(browse, desk_plant, "knife=50").text
    assert "WHAT-IF" in desk.get(f"{CUT}/wish.svg?knife=50").text
    rows = list(csv.DictReader(io.StringIO(desk.get(f"{CUT}/wish.csv?knife=50").text)))
    assert {row["status"] for row in rows} == {"what-if: not the recorded plan"}
    sheet = desk.get(f"{CUT}/wish?knife=50")
    assert "This is not the recorded plan" in sheet.text
    assert "script-src" not in sheet.headers["content-security-policy"]


@pytest.mark.parametrize(
    ("query", "words", "field"),
    [
        ("knife=40&knife=41.7", "together with", "knife-2"),
        ("knife=20&knife=x", "write a number (mm)", "knife-2"),
        ("cross=1/0+in", "write a number (m)", "cross-1"),
        ("without=35+mm", "must leave a plan that is possible", "without-1"),
        ("without=70+mm", "is no width of the product", "without-1"),
        (f"knife={'1' * 90}", "write a number", "knife-1"),
        ("&".join(f"knife={n}" for n in range(10, 24)), "At most 12 wishes", "knife-1"),
    ],
)
def test_a_wish_that_cannot_be_met_or_read_is_named(desk_plant, browse, query, words, field):
    """The summary leads to its field, and all that was typed stands in the form."""
    page = _asked(browse, desk_plant, query)
    assert page.status_code == 422
    summary = page.text.split('id="wrong"')[1].split("</div>")[0]
    assert words in html.unescape(summary)
    assert f'href="#{field}"' in summary
    assert f'id="{field}"' in page.text
    for value in re.findall(r"knife=([^&]+)", query):
        assert f'name="knife" value="{value}"' in page.text


def test_what_is_typed_is_never_run(desk_plant, browse):
    """A wish with markup in it stands on the page as text."""
    page = browse(desk_plant).get(CUT, params={"knife": '"><script>alert(1)</script>'})
    assert page.status_code == 422
    assert "<script>alert" not in page.text


def test_a_wish_is_planned_once(desk_plant, browse, monkeypatch):
    """Its page, picture, list and the same question by a script share one plan."""
    began, real = [], wishing.answer_wishes

    def counted(*rest):
        began.append(rest)
        return real(*rest)

    monkeypatch.setattr(wishing, "answer_wishes", counted)
    desk = browse(desk_plant)
    desk.until(f"{CUT}?knife=60", lambda answer: 'http-equiv="refresh"' not in answer.text)
    desk.get(f"{CUT}/wish.svg?knife=60")
    assert _wish(desk, knives=["60"]).status_code == 200
    assert len(began) == 1


def test_too_many_at_once_are_told_to_wait(desk_plant, browse, monkeypatch):
    """Planning never piles up without end."""
    monkeypatch.setattr(asking, "_MOST_WAITING", 0)
    assert browse(desk_plant).get(f"{CUT}?knife=61").status_code == 503


def test_a_script_is_told_the_price_and_both_cuts(desk_plant, browse, standing):
    """And what is wrong with a wish in the one shape of errors."""
    desk = browse(desk_plant)
    answer = _wish(desk, knives=["50 mm"]).json()
    assert answer["schema"] == "wideroll/cut-wish/1"
    assert answer["standing"] == standing
    assert answer["wished"]["what_if"] is True
    assert answer["prices"][-1]["wishes"][0]["across_mm"] == 50.0
    for body in ({"knives": ["far"]}, {"without_widths": ["35 mm"]}, {"knives": ["1 mm"] * 13}, {"more": 1}):
        refused = _wish(desk, **body)
        assert refused.status_code == 422
        assert set(refused.json()["error"]) == {"status", "where", "rule", "mend"}


def test_changed_evidence_is_said_and_no_wish_is_priced(own_desk_plant, browse):
    """The cut of the decision still stands on the page; a wish against it would be of other evidence."""
    sightings = own_desk_plant / "rolls" / ROLL / "examination" / "sightings.csv"
    sightings.write_text(sightings.read_text() + "A,spot,15 cm,2 in,0.3 mm,no\n")
    page = _asked(browse, own_desk_plant, "knife=50")
    assert page.status_code == 409
    assert "The evidence changed" in page.text
    assert "it changed since the decision" in page.text
    assert "cut-wish.js" not in page.text


def test_a_cut_for_the_order_book_takes_the_place_of_the_first(own_desk_plant, browse):
    """The page is drawn anew once another cut is recorded, and says for whom it was planned."""
    order = 'number = "O-1"\nproduct = "sheet-100"\nwidth = "35 mm"\nlength = "1 m"\nquantity = 2\nvalue = 9\n'
    (own_desk_plant / "orders.toml").write_text(f"[[orders]]\n{order}")
    product = own_desk_plant / "products" / "sheet-100.toml"
    assert main(["orders", str(own_desk_plant), "--record", "--who", "engineer A"]) == 0, product.read_text()
    desk = browse(own_desk_plant)
    page = desk.until(CUT, lambda answer: 'http-equiv="refresh"' not in answer.text)
    assert "for the order book, and recorded" in page.text
    assert "order O-1" in desk.get(f"/rolls/{ROLL}/tables/cut/pieces.csv").text


def test_an_undecided_roll_has_no_cut_yet(own_desk_plant, browse):
    """The page says when one is planned; an unknown roll isn't found."""
    new = own_desk_plant / "rolls" / "T-2"
    new.mkdir()
    new.joinpath("roll.toml").write_text((own_desk_plant / "rolls" / ROLL / "roll.toml").read_text())
    desk = browse(own_desk_plant)
    assert "No cut is planned yet" in desk.get("/rolls/T-2/cut").text
    assert desk.get("/api/rolls/T-2/cut").status_code == 404
    assert desk.get("/rolls/none/cut").status_code == 404
    assert desk.get("/rolls/T-2/cut/wish.csv?knife=50").status_code == 404
