"""The tour in docs/tour.md: its steps taken, and its pictures made.

``WIDEROLL_TOUR=PLANT`` takes all of it on a plant that ``make demo`` wrote, and puts the pictures into docs/tour. Else
the small plant is toured, without what journeys of the roles do anyway: map, read-out, light box, wish, trace.
"""

import io
import os
import re
import shutil
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from wideroll.server.app import routers

DOCS = Path(__file__).parents[3] / "docs"
TOUR = (DOCS / "tour.md").read_text(encoding="utf-8")
PICTURES = re.findall(r"\]\(tour/([\w-]+\.png)\)", TOUR)
MOST_BYTES = 1_000_000
COLOURS = 64
SEEN, KEPT = (1200, 720), (900, 540)
"""Pixels of the window, and of the picture that is kept of it."""
TOLD = (re.search(r"`(W-2042/\d+-\d+)`", TOUR)[1], re.search(r"`([\d.]+)` m", TOUR)[1])
"""The finished roll and the place on it that are traced."""
PLANT = os.environ.get("WIDEROLL_TOUR")


@pytest.fixture(scope="module")
def toured(request, tmp_path_factory):
    """The plant, and where its pictures go."""
    if PLANT is None:
        return request.getfixturevalue("own_plant"), DOCS.parent / "artefacts" / "desk" / "tour"
    return shutil.copytree(PLANT, tmp_path_factory.mktemp("tour") / "demo"), DOCS / "tour"


@pytest.fixture
def take(toured):
    """Takes a picture of what is seen from a place of the page on, of few colours."""
    folder = toured[1]

    def take(page, name, place="main"):
        page.locator(place).first.evaluate("one => scrollTo(0, one.getBoundingClientRect().top + scrollY - 12)")
        seen = Image.open(io.BytesIO(page.screenshot()))
        folder.mkdir(parents=True, exist_ok=True)
        kept = seen.convert("RGB").resize(KEPT, Image.Resampling.LANCZOS)
        kept.quantize(COLOURS, dither=Image.Dither.NONE).save(folder / name, optimize=True)

    return take


def test_the_tour_names_what_is_there():
    """Each picture lies there, small and each shown once; each page named is one of the desk."""
    there = {path.name for path in (DOCS / "tour").iterdir()}
    assert (len(PICTURES), set(PICTURES)) == (len(there), there)
    for name in PICTURES:
        with Image.open(DOCS / "tour" / name) as picture:
            assert (picture.mode, picture.size) == ("P", KEPT), name
    assert sum(path.stat().st_size for path in (DOCS / "tour").iterdir()) < MOST_BYTES
    routes = [one for router in routers() for one in router.routes if "GET" in one.methods]
    named = re.findall(r"`(/[^`?]*)", TOUR)
    assert named
    assert [path for path in named if not any(one.path_regex.fullmatch(path) for one in routes)] == []


def test_the_tour_can_be_taken(toured, take, desk_at, visit):
    """What the tour says to do can be done in its order, and shows what it says."""
    with desk_at(toured[0]) as desk:
        visit = visit(desk.address, viewport=dict(zip(("width", "height"), SEEN, strict=True)))
        for step in (_rolls, _verdict, _mark, _roller, _strip, _sheet, _wish, _trace, _record):
            if PLANT is not None or step not in {_mark, _strip, _sheet, _wish, _trace}:
                step(visit, take)


def _rolls(visit, take):
    page = visit.go("/")
    assert page.locator("tbody th a").all_inner_texts() == ["W-2043", "W-2042", "W-2041"]
    expect(page.get_by_role("row", name="W-2043")).to_contain_text("process run P-313 is void")
    take(page, "rolls.png", "body")


def _verdict(visit, take):
    page = visit.settled("/rolls/W-2042")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("cut out")
    expect(page.get_by_role("heading", name="What was not looked at")).to_be_visible()
    take(page, "verdict.png", "main h1")


def _mark(visit, take):
    page = visit.settled("/rolls/W-2042/map/1")
    page.get_by_role("application").focus()
    page.keyboard.press("n")
    expect(page.locator("#chosen")).to_contain_text("Kind")
    page.keyboard.press("+")
    page.wait_for_url("**mark=*")
    page.wait_for_load_state("networkidle")
    take(page, "mark.png", "#viewer")


def _roller(visit, take):
    page = visit.settled("/rolls/W-2042/repeats")
    expect(page.locator("table").first).to_contain_text("R07 lay-on roller")
    take(page, "roller.png", "h2:has-text('What returns')")


def _strip(visit, take):
    page = visit.settled("/rolls/W-2042/strips")
    page.get_by_role("slider").focus()
    page.keyboard.press("n")
    take(page, "strips.png", "#curves")


def _sheet(visit, take):
    page = visit.settled("/rolls/W-2042/examination")
    page.get_by_role("button", name="Look again at sheet 1").click()
    page.wait_for_url("**/enter")
    for key in ("1", *["Enter"] * 4, "1"):
        page.keyboard.press(key)
    expect(page.get_by_role("heading", level=1)).to_have_text("What is it?")
    take(page, "sheet.png", "body")
    page.keyboard.press("1")
    expect(page.get_by_role("heading", level=1)).to_have_text("How far along the sheet?")


def _wish(visit, take):
    page = visit.settled("/rolls/W-2042/cut")
    page.get_by_label(re.compile("^A knife")).fill("612,5")
    page.keyboard.press("Enter")
    page.locator("section:has(#answer)").wait_for(timeout=90_000)
    take(page, "wish.png", "#answer")


def _trace(visit, take):
    page = visit.go("/trace")
    page.get_by_label("Finished roll", exact=False).first.fill(TOLD[0])
    page.get_by_label("Place on it").fill(TOLD[1])
    page.get_by_role("button", name="Trace", exact=True).click()
    page.get_by_role("heading", name="Where it was coated").wait_for(timeout=60_000)
    take(page, "trace.png", "h2:has-text('Where it was coated')")


def _record(visit, take):
    del take
    page = visit.go("/record")
    expect(page.locator("table")).to_contain_text("decided: cut out")
    visit.go("/record/verify")
    expect(page.get_by_role("button", name="Prove the record")).to_be_visible()
