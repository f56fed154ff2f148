"""The decision sheet as people see it: in a browser, narrow and wide, and on paper."""

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

ARTEFACTS = Path(__file__).parents[2] / "artefacts"
ROLLS = ["W-2041", "W-2042", "W-2043"]


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that remembers what it asked for and what went wrong."""
    context = browser.new_context()
    page = context.new_page()
    yield page
    context.close()


@pytest.mark.parametrize("roll", ROLLS)
def test_the_sheet_needs_nothing_from_outside(small_plant: Path, page: Page, roll: str) -> None:
    """The sheet is one file: opening it asks for nothing else and reports no error."""
    asked: list[str] = []
    wrong: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    sheet = (small_plant / "results" / roll / "sheet.html").as_uri()
    page.goto(sheet)
    assert [url for url in asked if not url.startswith("data:")] == [sheet]
    assert wrong == []
    ARTEFACTS.mkdir(exist_ok=True)
    page.set_viewport_size({"width": 1200, "height": 900})
    page.screenshot(path=str(ARTEFACTS / f"sheet-{roll}.png"), full_page=True)


@pytest.mark.parametrize("width", [1600, 1200, 800])
@pytest.mark.parametrize("roll", ROLLS)
def test_nothing_runs_out_of_the_sheet(small_plant: Path, page: Page, roll: str, width: int) -> None:
    """At desk and tablet width the page never has to be moved sideways, and no words leave their figure."""
    page.set_viewport_size({"width": width, "height": 900})
    page.goto((small_plant / "results" / roll / "sheet.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    outside = page.evaluate(
        """() => [...document.querySelectorAll('svg')].flatMap(svg => {
            const box = svg.getBoundingClientRect();
            return [...svg.querySelectorAll('text')].filter(t => {
                const b = t.getBoundingClientRect();
                return b.width && (b.left < box.left - 1 || b.right > box.right + 1
                    || b.top < box.top - 1 || b.bottom > box.bottom + 1);
            }).map(t => t.textContent.trim());
        })"""
    )
    assert outside == []


@pytest.mark.parametrize("roll", ROLLS)
def test_the_verdict_is_read_first(small_plant: Path, page: Page, roll: str) -> None:
    """The verdict's word stands in the first screen, and headings follow one another without gaps."""
    page.goto((small_plant / "results" / roll / "sheet.html").as_uri())
    word = {"W-2041": "RELEASE", "W-2042": "CUT OUT", "W-2043": "HOLD"}[roll]
    place = page.get_by_text(word, exact=False).first.bounding_box()
    assert place is not None
    assert place["y"] < 400
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


@pytest.mark.parametrize("roll", ROLLS)
def test_the_sheet_prints_on_a4(small_plant: Path, page: Page, roll: str) -> None:
    """Printed, the sheet is a PDF of A4 pages."""
    page.goto((small_plant / "results" / roll / "sheet.html").as_uri())
    ARTEFACTS.mkdir(exist_ok=True)
    data = page.pdf(path=str(ARTEFACTS / f"sheet-{roll}.pdf"), prefer_css_page_size=True)
    assert data.startswith(b"%PDF")
    assert b"/MediaBox [0 0 594" in data or b"/MediaBox [0 0 595" in data
