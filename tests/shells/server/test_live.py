"""What happens in the plant reaches open pages: in order, once each, and on from where a page was."""

import asyncio
import json
import socket
import threading
from contextlib import contextmanager
from dataclasses import replace

import httpx
import pytest
import uvicorn

from wideroll.server.access import Person
from wideroll.server.app import create_app
from wideroll.server.desk import LOOPBACK, DeskSettings
from wideroll.server.live import pages
from wideroll.server.live.hub import Hub, Told, hub_of
from wideroll.server.live.looking import Looker
from wideroll.server.live.serving import desk_server
from wideroll.store import save_card
from wideroll.workflow.card_json import trial_card

CARD = replace(trial_card("Little Mere, line 1", "T-1"), number=1, roller="R1 coating roll", action="Clean it.")
MANY = 200


@pytest.fixture
def plant(tmp_path):
    """A plant's folder with one roll and nothing found."""
    (tmp_path / "rolls" / "T-1").mkdir(parents=True)
    (tmp_path / "results" / "T-1").mkdir(parents=True)
    return tmp_path


@contextmanager
def served(plant):
    """A real desk on a port of its own: its server, its hub, and the address of what happens."""
    app = create_app(DeskSettings(root=plant, hosts=LOOPBACK, who="C. Operator"))
    hub = hub_of(app.state.desk)
    with socket.create_server((LOOPBACK[0], 0)) as listener:
        server = desk_server(uvicorn.Config(app, log_level="error"), hub)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            yield server, hub, f"http://{LOOPBACK[0]}:{listener.getsockname()[1]}/live"
        finally:
            server.should_exit = True
            thread.join(20)
            assert not thread.is_alive()


def events(lines):
    """Id, kind and data of each event, as a browser reads them."""
    event = {}
    for line in lines:
        if line:
            name, _, value = line.partition(": ")
            event[name] = value
        elif "event" in event:
            yield event.get("id"), event["event"], json.loads(event["data"])
            event = {}


def listened(address, hub, *, after="", count, told=()):
    """So many events from a place on; what is ``told`` happens once the page listens."""
    headers = {"Last-Event-ID": after} if after else {}
    with httpx.stream("GET", address, headers=headers, timeout=20) as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        found = events(answer.iter_lines())
        got = [] if after else [next(found)]
        for kind, about in told:
            hub.tell(kind, ("cards",), about)
        while len(got) < count:
            got.append(next(found))
    return got


def test_nothing_is_lost_over_a_dropped_connection(plant):
    """200 events told before, while and after a page is away come once each, in order, and the desk then ends."""
    made = [("card", {"n": n}) for n in range(MANY)]
    with served(plant) as (server, hub, address):
        first = listened(address, hub, count=51, told=made[:70])
        assert first[0][1:] == ("here", {})
        for kind, about in made[70:150]:
            hub.tell(kind, ("cards",), about)
        rest = listened(address, hub, after=first[-1][0], count=MANY - 50, told=made[150:])
        assert [data["n"] for _, _, data in [*first[1:], *rest]] == list(range(MANY))
        with httpx.stream("GET", address, timeout=20) as waiting:
            lines = waiting.iter_lines()
            assert next(lines).startswith("retry")
            server.should_exit = True
            assert [kind for _, kind, _ in events(lines)] == ["here"]


def test_a_card_that_another_process_keeps_is_told(plant):
    """A card's file that appears among the results is an event with the roller, also for one who reads on."""
    with served(plant) as (_, hub, address):
        before = hub.position
        save_card(plant / "results" / "T-1", CARD)
        ((_, kind, data),) = listened(address, hub, after=before, count=1)
        assert (kind, data["roll"], data["number"], data["roller"]) == ("card", "T-1", 1, "R1 coating roll")
        assert data["topics"] == ["cards", "roll:T-1"]


def test_one_who_was_away_too_long_loads_anew():
    """From a place that is forgotten, of an earlier start, or made up, nobody reads on as if nothing were missing."""
    hub = Hub(kept=5, run="now")
    for n in range(9):
        hub.tell("card", ("cards",), {"n": n})
    assert [one.about["n"] for one in hub.after(4)] == [4, 5, 6, 7, 8]
    assert hub.after(3) is None
    assert hub.after(9) == []
    assert hub.number_of("now-9") == 9
    for place in ("then-3", "now-10", "now--1", "now-", "", "x" * 500, "now-²"):
        assert hub.number_of(place) is None


def _asked(hub, plant, person, position, listeners):
    """All that the stream says until it waits or ends."""
    app = create_app(DeskSettings(root=plant, who="C. Operator"))
    desk = app.state.desk
    desk.parts["live"] = hub
    request = pages.Request({"type": "http", "app": app, "headers": [], "path": "/live", "query_string": b""})

    async def ask():
        return [text async for text in pages._stream(request, desk, person, position, listeners)]  # noqa: SLF001

    return asyncio.run(ask())


def test_a_place_that_is_forgotten_is_told_to_load_anew(plant, monkeypatch):
    """The stream says so and gives the place to go on from; one who may listen no longer is told that it ended."""
    hub = Hub(kept=3, run="now")
    for n in range(9):
        hub.tell("card", ("cards",), {"n": n})
    monkeypatch.setattr(pages, "_HEARTBEAT_S", 0.01)
    monkeypatch.setattr(pages, "person_of", lambda _: None)
    listeners = pages._Listeners()  # noqa: SLF001
    said = _asked(hub, plant, Person(name="R. Eader", roles=("reader",)), "now-2", listeners)
    assert said[1] == "id: now-9\nevent: reload\ndata: {}\n\n"
    assert said[-1].startswith("event: ended")
    assert (listeners.all, listeners.each) == (0, {})


def test_nothing_is_told_to_one_whose_session_ended(plant, monkeypatch):
    """Who listens is looked up again before something is told, if that is some time ago: then it ends without it."""
    hub = Hub(run="now")
    hub.tell("card", ("cards",), {"roller": "R1"}, may="act")
    monkeypatch.setattr(pages, "_FRESH_S", 0.0)
    monkeypatch.setattr(pages, "person_of", lambda _: None)
    said = _asked(hub, plant, Person(name="C. Operator", roles=("control room",)), "now-0", pages._Listeners())  # noqa: SLF001
    assert [text for text in said if "R1" in text] == []
    assert said[-1].startswith("event: ended")


def test_readers_learn_that_cards_changed_and_no_more():
    """What a card says goes to those who may act; others learn which pages it changes."""
    told = Told(number=1, kind="card", topics=("cards",), about={"roller": "R1"}, may="act")
    assert told.words(Person(name="A", roles=("control room",))) == ("card", '{"topics": ["cards"], "roller": "R1"}')
    assert told.words(Person(name="B", roles=("reader",))) == ("changed", '{"topics": ["cards"]}')


def test_too_many_listeners_are_asked_to_come_later(plant, browse):
    """One who has many pages open gets no more streams, and is told to close some."""
    desk = browse(plant, who="C. Operator")
    parts = desk.app.state.desk.parts
    parts["listeners"] = pages._Listeners(all=12, each={"C. Operator": 12})  # noqa: SLF001
    answer = desk.get("/live")
    parts["looker"].stop()
    assert (answer.status_code, "close some" in answer.text) == (429, True)


def test_each_change_is_told_once_with_what_it_touches(plant):
    """Cards one by one in order, a decision, evidence and the record; the same look again tells nothing."""
    hub = Hub(run="now")
    looker = Looker(plant, plant / "results", hub)
    save_card(plant / "results" / "T-1", CARD)
    looker.look()
    assert hub.position == "now-0"
    for number in (3, 2):
        save_card(plant / "results" / "T-1", replace(CARD, number=number))
    (plant / "results" / "T-1" / "decision.json").write_text("{}")
    (plant / "rolls" / "T-1" / "examination").mkdir()
    (plant / "rolls" / "T-1" / "examination" / "sheets.csv").write_text("sheet\n")
    (plant / "rolls" / "T-2").mkdir()
    (plant / "wideroll.db").write_bytes(b"events")
    looker.look()
    told = [(one.kind, one.topics, one.about.get("number")) for one in hub.after(0)]
    assert told == [
        ("card", ("cards", "roll:T-1"), 2),
        ("card", ("cards", "roll:T-1"), 3),
        ("decision", ("rolls", "roll:T-1"), None),
        ("evidence", ("rolls", "roll:T-1"), None),
        ("evidence", ("rolls", "roll:T-2"), None),
        ("record", ("record",), None),
    ]
    looker.look()
    assert len(hub.after(0)) == len(told)


def test_reading_the_record_is_no_news(plant):
    """Whoever opens the record to read it doesn't make pages ask again, which would go on for ever."""
    from wideroll.acts.card_acts import closings_of, take_card  # noqa: PLC0415

    (plant / "plant.toml").write_text(
        'name = "Little Mere, line 1"\nweb_width = "120 mm"\ndatum_edge = "drive side"\n', encoding="utf-8"
    )
    save_card(plant / "results" / "T-1", CARD)
    hub = Hub(run="now")
    looker = Looker(plant, plant / "results", hub)
    looker.look()
    take_card(plant, "T-1", CARD, who="C. Operator")
    looker.look()
    assert [one.kind for one in hub.after(0)] == ["record"]
    closings_of(plant, "T-1")
    looker.look()
    assert len(hub.after(0)) == 1
