"""Action cards in a browser: found, looked at, taken, closed."""

import csv
import io
import shutil
from dataclasses import replace

import pytest

from wideroll.acts.card_acts import closings_of, raise_cards, take_card
from wideroll.acts.history import events_of
from wideroll.server.jobs import jobs_of
from wideroll.server.repeats.data import mark_of
from wideroll.store import save_card
from wideroll.workflow.card_json import card_json, trial_card

ONE = replace(
    trial_card("Little Mere, line 1", "T-1"),
    number=1,
    at_m=12.0,
    first_m=3.25,
    last_m=11.5,
    across_mm=413.0,
    spacing_m=0.1257,
    marks=40,
    roller="R1 coating roll",
    probability=0.98,
    action="Look at R1 coating roll.",
)
TWO = replace(ONE, number=2, roller="=another, <b>not</b> in the table", action="Look for what turns.")


@pytest.fixture
def told(made, tmp_path):
    """The tiny plant whose roll has two cards, the second raised after the first was taken."""
    plant = shutil.copytree(made, tmp_path / "plant")
    for card in (ONE, TWO):
        save_card(plant / "results" / "T-1", card)
    raise_cards(plant, "T-1", [ONE], who="watch", now=True)
    take_card(plant, "T-1", ONE, who="D. Day")
    return plant


@pytest.fixture
def desk(told, browse):
    """The control room's browser."""
    return browse(told, who="C. Operator")


def test_the_list_shows_how_each_card_stands(desk):
    """Roller, place and who has it stand in a table; the address chooses, and CSV and JSON have what is chosen."""
    page = desk.get("/cards").text
    for words in ("R1 coating roll", "D. Day", "=another, &lt;b&gt;not&lt;/b&gt; in the table", "2 cards"):
        assert words in page
    assert "1 card," in desk.get("/cards?state=taken").text
    assert "No card is as chosen" in desk.get("/cards?state=closed").text
    rows = list(csv.DictReader(io.StringIO(desk.get("/cards?state=open&format=csv").text)))
    assert [(row["card"], row["across, mm"], row["roller"][0]) for row in rows] == [("2", "413", "'")]
    found = desk.get("/api/cards?roll=T-1").json()
    assert {(one["card"]["number"], one["state"]) for one in found["cards"]} == {(1, "taken"), (2, "open")}
    assert desk.get("/api/cards?roll=T-9").json()["cards"] == []


def test_one_card_says_what_where_and_what_can_hurt(desk):
    """The card has its words, the caution, its place in the machine and both acts; what it says is shown as text."""
    page = desk.get("/cards/T-1/1").text
    for words in ("Look at R1 coating roll.", "Stop and lock out", "diameter 40.0 mm", "98 in 100", "D. Day has it"):
        assert words in page
    assert "Take card 1 over" in page
    assert "&lt;b&gt;not&lt;/b&gt;" in desk.get("/cards/T-1/2").text
    assert desk.get("/api/cards/T-1/1").json()["card"] == card_json(ONE)
    assert "Look at R1 coating roll." in desk.get("/cards/T-1/1/sheet").text


def test_a_card_is_taken_given_back_and_closed(desk, told):
    """Each act is an event by who did it; a closed card shows what came of it, and stands nowhere as open."""
    assert "T-1/2" in desk.get("/cards/news").text
    desk.get("/cards/T-1/2")
    for act in ("take", "give-back", "take"):
        assert desk.post(f"/cards/T-1/2/{act}").status_code == 303
        desk.get("/cards/T-1/2")
    assert "T-1/2" not in desk.get("/").text.split("<main", 1)[0]
    said = {"cause": " dirt on R1 ", "done": "wiped at standstill"}
    assert desk.post("/cards/T-1/2/close", said).headers["location"] == "/cards/T-1/2"
    page = desk.get("/cards/T-1/2").text
    assert "What came of it" in page
    assert "Take card" not in page
    assert '<option value="dirt on R1">' in desk.get("/cards/T-1/1").text
    assert closings_of(told, "T-1")[2].cause == "dirt on R1"
    acts = [(event.act, event.who) for event in events_of(told, "T-1")]
    assert acts[2:] == [
        ("action card", "C. Operator"),
        ("card taken", "C. Operator"),
        ("card given back", "C. Operator"),
        ("card taken", "C. Operator"),
        ("card closed", "C. Operator"),
    ]


def test_what_was_typed_stays_where_something_is_missing(desk, told):
    """A closing without what was done is shown again with the cause, and an error that leads to the field."""
    desk.get("/cards/T-1/1")
    answer = desk.post("/cards/T-1/1/close", {"cause": "dirt on R1", "done": " "})
    assert answer.status_code == 422
    for words in ('href="#done"', 'value="dirt on R1"', 'aria-describedby="done-wrong"', "<details", " open>"):
        assert words in answer.text
    assert closings_of(told, "T-1") == {}


def test_what_somebody_else_did_meanwhile_is_said(desk, told):
    """A card that was closed meanwhile isn't closed again: the page says by whom, and nothing is recorded."""
    desk.get("/cards/T-1/1")
    said = {"cause": "dirt", "done": "wiped"}
    assert desk.post("/cards/T-1/1/close", said).status_code == 303
    before = len(events_of(told, "T-1"))
    for act in ("close", "take", "give-back"):
        answer = desk.post(f"/cards/T-1/1/{act}", said)
        assert (answer.status_code, "C. Operator closed it" in answer.text) == (409, True)
    assert len(events_of(told, "T-1")) == before


@pytest.mark.parametrize("path", ["/cards/T-1/7", "/cards/T-9/1", "/cards/T-1/1/seen.svg"])
def test_a_card_that_isnt_there_is_not_found(desk, path):
    """No such card, roll or picture is a 404 that leads to the cards, and no name leads out of the results."""
    answer = desk.get(path)
    assert answer.status_code == 404
    assert '<a href="/cards">The list of action cards</a>' in answer.text
    assert "Errno" not in answer.text


def test_the_marks_behind_a_card_are_shown_where_a_watch_kept_them(desk, told):
    """The figure stands with its caption, its picture has an address of its own; without one the page says so."""
    assert "No picture of the marks was kept" in desk.get("/cards/T-1/1").text
    seen = told / "results" / "T-1" / "cards" / "seen"
    seen.mkdir()
    (seen / "001.svg").write_text("<svg></svg>")
    (seen / "001.json").write_text(
        '{"schema": "wideroll/card-evidence/1", "card": 1, "figure": {"file": "001.svg", "title": "marks", '
        '"caption": "Folded at 125.7 mm.", "width": 691, "height": 300, "data": []}}'
    )
    page = desk.get("/cards/T-1/1").text
    assert 'src="/cards/T-1/1/seen.svg"' in page
    assert "Folded at 125.7 mm." in page
    picture = desk.get("/cards/T-1/1/seen.svg")
    assert (picture.text, picture.headers["content-type"]) == ("<svg></svg>", "image/svg+xml")
    assert desk.get("/api/cards/T-1/1").json()["seen"]["caption"] == "Folded at 125.7 mm."


def test_one_who_only_reads_sees_cards_and_changes_nothing(told, make_people, desk_rules):
    """Without the right to act there is no bar, no button, and each act is refused."""
    people = make_people(told, desk_rules)
    reader, before = people.browser("reader"), len(events_of(told, "T-1"))
    page = reader.get("/cards/T-1/1").text
    assert "Look at R1 coating roll." in page
    assert "/cards/T-1/1/" not in page.replace("/cards/T-1/1/sheet", "")
    assert "T-1/2" not in reader.get("/cards/news").text
    assert "T-1/2" in people.browser("control-room").get("/cards/news").text
    for act in ("take", "give-back", "close"):
        answer = reader.post(f"/cards/T-1/1/{act}", "/password", {"cause": "dirt", "done": "wiped"})
        assert answer.status_code == 403
    assert len(events_of(told, "T-1")) == before


def test_a_page_that_keeps_up_to_date_by_itself_keeps_nobody_logged_in(told, make_people, desk_rules):
    """What a page asks by itself doesn't prolong a session: one who left the desk is logged out all the same."""
    people = make_people(told, desk_rules)
    left, stayed = people.browser("reader"), people.browser("reader")
    for _ in range(2):
        people.clock.ahead += 5 * 3600
        gone = left.get("/cards/news", headers={"X-Live": "1"})
        assert stayed.get("/cards/news").status_code == 200
    assert gone.headers["location"].startswith("/login")


def test_a_file_that_is_no_card_hides_no_other(desk, told):
    """A roll whose card can't be read is named with its trouble, and the desk goes on."""
    (told / "results" / "T-2" / "cards").mkdir(parents=True)
    (told / "results" / "T-2" / "cards" / "001.json").write_text("{")
    page = desk.get("/cards")
    assert page.status_code == 200
    assert "001.json" in page.text
    assert "2 cards" in page.text


def test_a_plant_without_cards_says_how_they_come(made, browse):
    """Without a card the page says what raises one, and that none doesn't mean that all is well."""
    page = browse(made).get("/cards").text
    assert "wideroll watch" in page
    assert "No card doesn't mean" in page


def test_repeats_of_a_roll_show_what_is_known(own_desk_plant, browse):
    """Cards, figures and cases stand on the roll's page once they are gathered, and its JSON has the same."""
    save_card(own_desk_plant / "results" / "T-1", ONE)
    desk = browse(own_desk_plant)
    page = desk.until("/rolls/T-1/repeats", lambda answer: "being followed" not in answer.text).text
    for words in ("Card 1", "Marks that return every turn", "Rollers suspected, roll after roll"):
        assert words in page
    found = desk.get("/api/rolls/T-1/repeats").json()
    assert found["schema"] == "wideroll/roll-repeats/1"
    assert found["cases"]["searched"] == ["T-1"]
    assert [one["card"]["number"] for one in found["cards"]] == [1]


def test_where_to_look_next_is_asked_with_care(own_desk_plant, browse):
    """A question that can't be is shown again with what was typed; one for a series that isn't there says so."""
    desk = browse(own_desk_plant)
    desk.get("/rolls/T-1/repeats/next")
    answer = desk.post("/rolls/T-1/repeats/next", {"series": "1", "start": "4,5", "end": "2", "length": ""})
    assert answer.status_code == 422
    for words in ("must lie behind the start", 'href="#end"', 'value="4,5"'):
        assert words in answer.text
    address = desk.post("/rolls/T-1/repeats/next", {"series": "1"}).headers["location"]
    assert address == "/rolls/T-1/repeats/next?series=1"
    page = desk.until(address, lambda answer: "worked out" in answer.text and "http-equiv" not in answer.text).text
    assert "It could not be worked out" in page
    assert "must be a series of the roll" in page
    assert desk.get("/rolls/T-1/repeats/next.svg?series=1").status_code == 404


def test_where_to_look_next_is_shown_until_the_roll_is_searched_anew(own_desk_plant, browse):
    """A stretch advised has its words, tables, picture and sheet; after another search it isn't shown any more."""
    desk = browse(own_desk_plant)
    figure = {
        "file": "next.svg",
        "title": "marks",
        "caption": "8.00 to 9.00 m",
        "width": 691,
        "height": 200,
        "data": [],
    }
    shown = {
        "words": "Sample 8 to 9 m.",
        "caution": "Stop first.",
        "choices": None,
        "telling": ["R1: marks 5 mm apart"],
    }
    made = {**shown, "predictions": None, "figure": figure, "picture": "<svg></svg>", "sheet": "<p>sheet</p>"}
    there = {**made, "mark": mark_of(desk.app.state.desk, "T-1")}
    jobs_of(desk.app.state.desk).begin("next T-1 series=1", "it", lambda _: there).over.wait(10)
    page = desk.get("/rolls/T-1/repeats/next?series=1").text
    for words in ("Sample 8 to 9 m.", "Stop first.", "R1: marks 5 mm apart", "/rolls/T-1/repeats/next.svg?series=1"):
        assert words in page
    assert desk.get("/rolls/T-1/repeats/next.svg?series=1").text == "<svg></svg>"
    assert desk.get("/rolls/T-1/repeats/next/sheet?series=1").text == "<p>sheet</p>"
    (own_desk_plant / "results" / "T-1" / "state" / "series.json").touch()
    assert "searched anew" in desk.get("/rolls/T-1/repeats/next?series=1").text
