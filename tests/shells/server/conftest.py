"""Desks over the tiny plant and with people, and somebody who asks them without a network."""

import asyncio
import itertools
import re
import secrets
import shutil
import time

import httpx
import pytest

from wideroll.acts.rolls import take_in_hand
from wideroll.acts.showing import show_roll
from wideroll.people import (
    ROLES,
    Cost,
    DeskDatabase,
    DeskFile,
    Hand,
    Lengths,
    add_person,
    make_token,
    open_session,
    read_log,
)
from wideroll.server.app import create_app
from wideroll.server.desk import LOOPBACK, DeskSettings
from wideroll.server.entrance import Entrance

PASSWORD = "grey web under lamp"
_TOKEN = re.compile(r'name="csrf" value="([0-9a-f]+)"')
_CHEAP = Cost(rounds=1, memory_kib=8, threads=1)


class Browser:
    """Asks a desk; the cookies and the hidden field of forms are kept as a browser would."""

    def __init__(self, plant, *, who="engineer A", **settings):
        self.app = create_app(DeskSettings(root=plant, hosts=(*LOOPBACK, "testserver"), who=who, **settings))
        self.cookies = httpx.Cookies()
        self._csrf = ""

    def request(self, method, path, **rest):
        """One request and its answer; redirects aren't followed."""

        async def ask():
            transport = httpx.ASGITransport(app=self.app)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://testserver", cookies=self.cookies
            ) as client:
                answer = await client.request(method, path, **rest)
                self.cookies = client.cookies
                return answer

        answer = asyncio.run(ask())
        if found := re.search(r'name="csrf" value="([^"]+)"', answer.text):
            self._csrf = found[1]
        return answer

    def get(self, path, **rest):
        """One page."""
        return self.request("GET", path, **rest)

    def post(self, path, data=None, **rest):
        """A form sent from the page that was shown last."""
        headers = {"Origin": "http://testserver", **rest.pop("headers", {})}
        return self.request("POST", path, data={"csrf": self._csrf, **(data or {})}, headers=headers, **rest)

    def send(self, path, document):
        """JSON sent by a script of the page that was shown last."""
        headers = {"Origin": "http://testserver", "X-CSRF": self._csrf}
        return self.request("POST", path, json=document, headers=headers)

    def until(self, path, done, most_s=60.0):
        """A page once what it waits for is over."""
        ends = time.monotonic() + most_s
        while not done(answer := self.get(path)):
            assert time.monotonic() < ends, answer.text
            time.sleep(0.1)
        return answer


@pytest.fixture
def browse():
    """Makes a browser at the desk of a plant."""
    return Browser


@pytest.fixture(scope="session")
def desk_plant(decided, tmp_path_factory):
    """The tiny plant decided, with its pages drawn; not to be changed."""
    root = shutil.copytree(decided, tmp_path_factory.mktemp("desk") / "plant")
    show_roll(take_in_hand(root, "T-1"))
    return root


@pytest.fixture
def own_desk_plant(desk_plant, tmp_path):
    """The same of the test's own."""
    return shutil.copytree(desk_plant, tmp_path / "plant")


class Clock:
    """Goes on by a second at each look, and by as much as it is told."""

    def __init__(self):
        """At a moment of no matter."""
        self._now = itertools.count(1_790_000_000)
        self.ahead = 0

    def __call__(self):
        """Now."""
        return next(self._now) + self.ahead


class Visitor:
    """Keeps cookies and asks one desk; ``loop`` is its own, so that it may be used from plain tests."""

    def __init__(self, app, *, base_url="http://127.0.0.1:8642", client=("127.0.0.1", 50000)):
        self._transport = httpx.ASGITransport(app=app, client=client, raise_app_exceptions=False)
        self._base = base_url
        self.cookies = httpx.Cookies()

    def request(self, method, path, **rest):
        """One request and its answer; no redirect is followed."""

        async def ask():
            async with httpx.AsyncClient(
                transport=self._transport, base_url=self._base, cookies=self.cookies
            ) as client:
                answer = await client.request(method, path, **rest)
                self.cookies = client.cookies
                return answer

        return asyncio.run(ask())

    def get(self, path, **rest):
        """One page."""
        return self.request("GET", path, **rest)

    def token(self, page):
        """The token of the forms of a page."""
        return _TOKEN.search(self.get(page).text)[1]

    def post(self, path, page, data=None, **rest):
        """Send the form of a page."""
        return self.request("POST", path, data={"csrf": self.token(page), **(data or {})}, **rest)

    def log_in(self, name, password=PASSWORD, **rest):
        """Log in by the form."""
        return self.post("/login", "/login", {"name": name, "password": password, **rest})


class People:
    """A desk whose people are named as their roles."""

    def __init__(self, root, rules):
        root.joinpath("results").mkdir(exist_ok=True)
        self.root, self.rules, self.clock = root, rules, Clock()
        self.database = DeskDatabase(root / "desk.db")
        self.database.change("PRAGMA synchronous = OFF")
        hand = Hand(who="somebody", address="command", now_s=self.clock())
        self.hand = hand
        for role in ("administrator", *(role for role in ROLES if role != "administrator")):
            name = role.replace(" ", "-")
            shown = f"{role.title()} A."
            add_person(self.database, hand, name=name, shown=shown, roles=[role], password=PASSWORD, cost=rules.cost)
        self.app = create_app(DeskSettings(root=root, hosts=LOOPBACK, who="W. Cedar", rules=rules))
        self.entrance = Entrance(root=root, rules=rules, clock=self.clock)
        self.entrance.database().change("PRAGMA synchronous = OFF")
        self.app.state.desk.parts["entrance"] = self.entrance

    def browser(self, name=None, **rest):
        """A browser, with a session of somebody when a name is given."""
        browser = Visitor(self.app, **rest)
        if name is not None:
            lengths, now_s = self.rules.lengths, self.clock()
            secret = open_session(self.database, name, how="password", lengths=lengths, now_s=now_s)
            browser.cookies.set("wideroll-8642-session", secret, domain="127.0.0.1")
        return browser

    def bearer(self, name, *scopes, days=7):
        """The header of a new token of somebody."""
        token = f"t-{secrets.token_hex(4)}"
        made = make_token(self.database, self.hand, name=token, person=name, scopes=scopes, days=days)
        return {"Authorization": f"Bearer {made}"}

    def log(self, kind="refused"):
        """The log's lines of a kind, the newest first."""
        return read_log(self.database, kind=kind)


@pytest.fixture
def desk_rules():
    """What desk.toml would say: passwords that are cheap to work out, and small bodies."""
    lengths = Lengths(idle_s=8 * 3600, whole_s=24 * 3600)
    return DeskFile(cost=_CHEAP, lengths=lengths, form_bytes=20_000, upload_bytes=200_000)


@pytest.fixture
def make_people():
    """What makes a desk with one person of each role."""
    made = []

    def make(root, rules):
        made.append(People(root, rules))
        return made[-1]

    yield make
    for one in made:
        one.database.close()


@pytest.fixture
def people(tmp_path, desk_rules, make_people):
    """A desk with one person of each role."""
    return make_people(tmp_path, desk_rules)


@pytest.fixture
def alone(tmp_path, desk_rules):
    """A browser at a desk where nobody has a name yet, and the desk's application."""
    (tmp_path / "results").mkdir()
    app = create_app(DeskSettings(root=tmp_path, hosts=LOOPBACK, who="W. Cedar", rules=desk_rules))
    return Visitor(app)
