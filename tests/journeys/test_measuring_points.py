"""Points on a photograph by click and by keys: what is named stays until its field is gone to."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

import wideroll.server

SCRIPT = Path(wideroll.server.__file__).parent / "static" / "measure.js"
POINTS = ["ax", "ay", "bx", "by", "cx", "cy", "dx", "dy"]
FIELDS = "".join(f'<input id="{name}" name="{name}">' for name in [*POINTS, "length", "per_pixel"])
PAGE = f"""<form onsubmit="return false"><div id="photo" data-columns="400" data-rows="300">
<svg viewBox="0 0 400 300" width="400" height="300"></svg></div>
<button type="button" id="larger">+</button><button type="button" id="smaller">-</button><p id="next-point"></p>
{FIELDS}<button name="go" value="measure">Measure</button></form>"""


@pytest.fixture(scope="module")
def photograph(browser: Browser) -> Page:
    """A photograph of 400 by 300 pixels with its fields, as the page of a sighting has them."""
    return browser.new_page()


@pytest.fixture
def page(photograph: Page) -> Page:
    """The page with nothing named yet."""
    photograph.set_content(PAGE)
    photograph.add_script_tag(content=f"{{{SCRIPT.read_text(encoding='utf-8')}}}")
    return photograph


def _click(page: Page, column: int, row: int) -> None:
    page.locator("svg").click(position={"x": column, "y": row})


def _values(page: Page) -> list[str]:
    return [page.input_value(f"#{name}") for name in POINTS]


def _in_focus(page: Page) -> str:
    return str(page.evaluate("document.activeElement.id || document.activeElement.value"))


def test_the_fifth_click_moves_no_point(page: Page) -> None:
    """With four points named, a click or Enter doesn't move the first: a wrong scale would be a wrong size."""
    for column, row in ((20, 280), (380, 280), (180, 150), (220, 150)):
        _click(page, column, row)
    named = _values(page)
    assert named == ["20", "280", "380", "280", "180", "150", "220", "150"]
    assert _in_focus(page) == "length"
    _click(page, 100, 100)
    page.keyboard.press("Enter")
    assert _values(page) == named
    assert "All points are named" in page.inner_text("#next-point")


def test_a_point_is_named_again_from_its_field(page: Page) -> None:
    """Its field gone to, one click names that point alone; then what is lacking comes next."""
    page.fill("#per_pixel", "0.02")
    for column, row in ((180, 150), (220, 150)):
        page.locator("#per_pixel").blur()
        _click(page, column, row)
    assert _values(page) == ["", "", "", "", "180", "150", "220", "150"]
    assert _in_focus(page) == "measure"
    page.focus("#dx")
    _click(page, 240, 150)
    assert _values(page) == ["", "", "", "", "180", "150", "240", "150"]
