"""A desk over the tiny plant, and somebody who asks it without a network."""

import asyncio
import re
import shutil
import time

import httpx
import pytest

from wideroll.acts.rolls import take_in_hand
from wideroll.acts.showing import show_roll
from wideroll.server.app import create_app
from wideroll.server.desk import LOOPBACK, DeskSettings


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
