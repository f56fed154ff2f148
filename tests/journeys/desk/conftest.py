"""Desks at work, a browser that reaches them, and pages that report all that goes wrong in them."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Locator,
    Page,
    Request,
    Response,
    expect,
)

from wideroll.acts.rolls import take_in_hand
from wideroll.acts.showing import show_roll
from wideroll.people import ROLES, Cost, DeskDatabase, Hand, add_person
from wideroll.store import save_card
from wideroll.workflow import ActionCard
from wideroll.workflow.card_json import trial_card

ARTEFACTS = Path(__file__).parents[3] / "artefacts" / "desk"
expect.set_options(timeout=15_000)
AXE = next((Path(__file__).parent / "vendor").glob("axe-core-*/axe.min.js")).read_text(encoding="utf-8")
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
_CHECK = """rules => {
    const seen = {};
    for (const row of document.querySelectorAll('tbody tr')) {
        const built = [row.closest('table').className, ...[...row.querySelectorAll('*')].map(
            one => [one.tagName, one.className, one.textContent === '', ...one.getAttributeNames()].join())].join();
        seen[built] = (seen[built] ?? 0) + 1;
        row.toggleAttribute('data-as-others', seen[built] > 2);
    }
    return axe.run({exclude: ['[data-as-others]', 'svg > *']}, {runOnly: rules, resultTypes: ['violations']}).then(
        found => found.violations.map(
            one => `${one.id}: ${one.nodes.map(node => `${node.target} ${node.failureSummary}`).join(' | ')}`));
}"""
"""Left out are rows of tables that are built as two before them, as they can't fare otherwise and there are many, and
the parts of drawings, which count by the words that the whole drawing has.
"""
PASSWORD = "grey web under lamp"
_TELLS = """addEventListener('securitypolicyviolation', one => {
    console.error(`policy: ${one.violatedDirective} ${one.blockedURI}`);
})"""
_STATUS = "Failed to load resource: the server responded with a status of"
_ROLL = "W-2042"


class Visit:
    """One person's page. ``done`` fails for whatever went wrong since it was opened."""

    def __init__(self, context: BrowserContext, address: str) -> None:
        self.address, self.wrong = address, []
        self.refused: set[int] = set()
        self._here: set[str] = set()
        self._sent: dict[str, int] = {}
        context.add_init_script(_TELLS)
        self.page: Page = context.new_page()
        self.page.set_default_timeout(15_000)
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.wrong.append(f"script: {error}"))
        self.page.on("request", self._asked)
        self.page.on("requestfailed", self._failed)
        self.page.on("response", self._answered)

    def _said(self, message: ConsoleMessage) -> None:
        # Refusals come by ``_answered``, which knows those that a journey looks for.
        if message.type in {"error", "warning"} and not message.text.startswith(_STATUS):
            self.wrong.append(f"{self.page.url}: {message.type}: {message.text}")

    def _asked(self, request: Request) -> None:
        if request.resource_type == "script":
            self._here.add(request.url)
        if not request.url.startswith((f"{self.address}/", "data:", "blob:")):
            self.wrong.append(f"{self.page.url} asks {request.url}")

    def _failed(self, request: Request) -> None:
        # A page that is left, or looks elsewhere, gives up what it still waits for.
        if request.failure != "net::ERR_ABORTED":
            self.wrong.append(f"{request.method} {request.url}: {request.failure}")

    def _answered(self, answer: Response) -> None:
        if answer.status >= 400 and answer.status not in self.refused:
            self.wrong.append(f"{answer.status} {answer.request.method} {answer.url}")
        if answer.request.resource_type == "script":
            self._sent[answer.url] = int(answer.headers["content-length"])

    def script_bytes(self) -> int:
        """What was sent of scripts for the page that was opened last, also what was kept since an earlier one."""
        return sum(self._sent[address] for address in self._here)

    def go(self, path: str) -> Page:
        """Open a page of the desk."""
        self._here.clear()
        self.page.goto(f"{self.address}{path}")
        return self.page

    def settled(self, path: str) -> Page:
        """A page once nothing of it is waited for any more."""
        ends = time.monotonic() + 60
        while (page := self.go(path)).locator("meta[name=again]").count():
            assert time.monotonic() < ends, f"{path} waits for something that doesn't come"
            time.sleep(0.5)
        return page

    def log_in(self, name: str, *, to: str = "/") -> Page:
        """By the form, to which a page leads that was asked for without a login; that page then follows."""
        page = self.go(to)
        page.get_by_label("Name").fill(name)
        page.get_by_label("Password").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url(lambda address: "/login" not in address)
        return page

    def tab_to(self, wanted: Locator, *, most: int = 200) -> None:
        """By Tab alone, as somebody without a pointer comes there; each stop on the way is visible."""
        for _ in range(most):
            if wanted.evaluate("one => one === document.activeElement"):
                return
            self.page.keyboard.press("Tab")
        pytest.fail(f"{self.page.url}: the keyboard never comes to {wanted}")

    def objections(self, *rules: str) -> list[str]:
        """What the page fails of WCAG 2.2 AA and of what is good practice, or of some rules alone."""
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(AXE)
        return list(self.page.evaluate(_CHECK, list(rules or TAGS)))

    def keep(self, name: str, *, full: bool = False) -> None:
        """A picture of the page among the artefacts."""
        ARTEFACTS.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=str(ARTEFACTS / f"{name}.png"), full_page=full)

    def keep_paper(self, name: str) -> bytes:
        """The page on paper among the artefacts."""
        ARTEFACTS.mkdir(parents=True, exist_ok=True)
        return self.page.pdf(path=str(ARTEFACTS / f"{name}.pdf"), prefer_css_page_size=True)

    def done(self) -> None:
        """Nothing went wrong."""
        assert self.wrong == []


class RunningDesk:
    """A desk in a process of its own."""

    def __init__(self, plant: Path, who: str) -> None:
        self.plant = plant
        words = [sys.executable, "-m", "wideroll", "desk", str(plant), "--port", "0", "--who", who]
        self._process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        said = self._process.stdout.readline()
        found = re.search(r"http://\S+(?=/ )", said)
        assert found, said + self._process.stderr.read()
        self.address = found[0]

    def end(self) -> None:
        """As Ctrl-C does; it leaves as one that was told to, without a word of trouble."""
        self._process.send_signal(signal.SIGINT)
        _, troubles = self._process.communicate(timeout=30)
        assert (self._process.returncode, troubles) == (130, "")


def _copied(source: str, target: str) -> None:
    # Nobody writes a raster of a scan; all else is the desk's own to change.
    if source.endswith(".tif"):
        os.link(source, target)
    else:
        shutil.copy2(source, target)


@pytest.fixture(scope="session")
def card() -> ActionCard:
    """One that a watch would raise."""
    return replace(
        trial_card("Skerrow Head coating works, line 2", _ROLL),
        number=1,
        at_m=12.0,
        first_m=3.25,
        last_m=11.5,
        across_mm=613.0,
        spacing_m=0.7481,
        marks=12,
        roller="R07 lay-on roller",
        probability=0.98,
        action="Look at R07 lay-on roller.",
    )


@pytest.fixture(scope="session")
def shown_plant(small_plant: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small demo plant with the pages of one roll drawn; not to be changed."""
    root = tmp_path_factory.mktemp("shown") / "demo"
    shutil.copytree(small_plant, root, copy_function=_copied)
    show_roll(take_in_hand(root, _ROLL))
    return root


@pytest.fixture(scope="module")
def own_plant(shown_plant: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same of a module's own."""
    root = tmp_path_factory.mktemp("own") / "demo"
    return Path(shutil.copytree(shown_plant, root, copy_function=_copied))


@pytest.fixture(scope="session")
def desk_at() -> Callable:
    """Makes a desk at work for as long as it is needed."""

    @contextmanager
    def desk_at(plant: Path, who: str = "W. Cedar") -> Iterator[RunningDesk]:
        desk = RunningDesk(plant, who)
        yield desk
        desk.end()

    return desk_at


@pytest.fixture(scope="session")
def with_people() -> Callable[[Path], None]:
    """Gives a plant's desk one person of each role, called by it, and one who has them all."""

    def with_people(plant: Path) -> None:
        (plant / "desk.toml").write_text("[password]\nrounds = 1\nmemory_mib = 8\nthreads = 1\n", encoding="utf-8")
        database = DeskDatabase(plant / "desk.db")
        hand = Hand(who="somebody", address="command", now_s=int(time.time()))
        people = {role.replace(" ", "-"): [role] for role in sorted(ROLES, key=lambda role: role != "administrator")}
        for name, roles in (people | {"all-round": list(ROLES)}).items():
            shown, cost = f"{name.replace('-', ' ').title()} A.", Cost(rounds=1, memory_kib=8192, threads=1)
            add_person(database, hand, name=name, shown=shown, roles=roles, password=PASSWORD, cost=cost)
        database.close()

    return with_people


@pytest.fixture(scope="session")
def raise_card() -> Callable[[Path, ActionCard], None]:
    """Keeps a card as a watch does, beside the desk's process."""

    def raise_card(plant: Path, card: ActionCard) -> None:
        save_card(plant / "results" / _ROLL, card)

    return raise_card


@contextmanager
def _visits(browser: Browser) -> Iterator[Callable[..., Visit]]:
    opened: list[tuple[BrowserContext, Visit]] = []

    def visit(address: str, **settings: object) -> Visit:
        context = browser.new_context(**{"viewport": {"width": 1400, "height": 900}, "locale": "en-GB", **settings})
        opened.append((context, Visit(context, address)))
        return opened[-1][1]

    yield visit
    for context, one in opened:
        context.close()
        one.done()


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[..., Visit]]:
    """Opens a page of somebody with cookies of their own; at the end nothing may have gone wrong in any."""
    with _visits(browser) as visit:
        yield visit


@pytest.fixture(scope="module")
def visitor(browser: Browser) -> Iterator[Callable[..., Visit]]:
    """The same for people who stay for all of a module's tests."""
    with _visits(browser) as visit:
        yield visit
