"""Every page of the desk: for everybody who reads it, light and dark, narrow, on paper, and without scripts."""

import io

import pytest
from PIL import Image
from playwright.sync_api import expect
from pypdf import PdfReader

from wideroll.cli import main
from wideroll.server.app import routers

ROLL = "/rolls/W-2042"
SHEET = f"{ROLL}/examination/sheet%201"
MOST_SCRIPT_BYTES = 150_000
PAGES = {
    "/": ["/", "/?state=not+decided&waits=examiner"],
    "/rolls/{roll}": [ROLL],
    "/rolls/{roll}/sheet": [f"{ROLL}/sheet"],
    "/rolls/{roll}/decide": [f"{ROLL}/decide"],
    "/login": ["/login?next=/cards"],
    "/password": ["/password"],
    "/rolls/{roll}/cut": [f"{ROLL}/cut"],
    "/rolls/{roll}/cut/sheet": [f"{ROLL}/cut/sheet"],
    "/rolls/{roll}/strips": [f"{ROLL}/strips"],
    "/complaints": ["/complaints"],
    "/complaints/new": ["/complaints/new"],
    "/complaints/{case}": ["/complaints/C-0001"],
    "/complaints/{case}/{step}": ["/complaints/C-0001/find"],
    "/trace": ["/trace", "/trace?finished=W-2042/007-33&place=1.58&end=outer+end", "/trace?finished=none"],
    "/trends": ["/trends"],
    "/trends/chart": ["/trends/chart?what=speed"],
    "/trends/causes": ["/trends/causes"],
    "/trends/gauges": ["/trends/gauges?study=densitometer"],
    "/trends/base-periods": ["/trends/base-periods"],
    "/record": ["/record"],
    "/record/verify": ["/record/verify"],
    "/record/checkpoints": ["/record/checkpoints"],
    "/record/{number}": ["/record/1"],
    "/cards": ["/cards"],
    "/cards/{roll}/{number}": ["/cards/W-2042/1"],
    "/cards/{roll}/{number}/sheet": ["/cards/W-2042/1/sheet"],
    "/rolls/{roll}/repeats": [f"{ROLL}/repeats"],
    "/rolls/{roll}/repeats/next": [f"{ROLL}/repeats/next", f"{ROLL}/repeats/next?series=1"],
    "/rolls/{roll}/map": [f"{ROLL}/map"],
    "/rolls/{roll}/map/{number}": [f"{ROLL}/map/1"],
    "/rolls/{roll}/examination": [f"{ROLL}/examination"],
    "/rolls/{roll}/examination/{sheet}/enter": [f"{SHEET}/enter"],
    "/rolls/{roll}/examination/{sheet}/photograph": [f"{SHEET}/photograph"],
    "/rolls/{roll}/examination/send": [f"{ROLL}/examination/send"],
    "/people": ["/people"],
    "/people/log": ["/people/log"],
    "/people/{name}": ["/people/examiner"],
    "/plant": ["/plant"],
    "/plant/products": ["/plant/products"],
    "/plant/products/{product}": ["/plant/products/negative-100"],
    "/plant/products/{product}/change": [
        "/plant/products/negative-100/change",
        "/plant/products/negative-100/change?way=text",
    ],
    "/plant/new-product": ["/plant/new-product?copied=negative-100"],
    "/help": ["/help"],
    "/api": ["/api"],
}
NO_PAGES = {
    *("/rolls/{roll}/shown/{name}", "/rolls/{roll}/tables/{page_name}/{key}.csv", "/live"),
    *("/rolls/{roll}/cut/list.csv", "/rolls/{roll}/print/{kind}.pdf", "/rolls/{roll}/cut/wish.svg"),
    *("/rolls/{roll}/cut/wish.csv", "/rolls/{roll}/strips/now/{name}", "/complaints/{case}/photographs/{number}"),
    *("/trace/picture.svg", "/trace/recall.csv", "/trace/recalls/{name}", "/trends/chart.svg", "/trends/causes.svg"),
    *("/record/bundle.zip", "/cards/news", "/cards/{roll}/{number}/seen.svg", "/rolls/{roll}/repeats/cases.csv"),
    *("/rolls/{roll}/repeats/next.svg", "/rolls/{roll}/segments/{number}/{layer}/{level}/{x_y}.png"),
    *("/rolls/{roll}/segments/{number}/still.svg", "/rolls/{roll}/overview.svg", "/rolls/{roll}/marks/{mark}/chip.png"),
    *("/scale-of-greys.svg", "/rolls/{roll}/examination/{table}.csv", "/rolls/{roll}/examination/drafts/{name}"),
    *("/rolls/{roll}/examination/photographs/{name}", "/login/provider", "/login/provider/back", "/people/tokens"),
    *("/plant/tables/{key}.csv", "/plant/products/{product}/tables/{key}.csv", "/api/openapi.json"),
    # The sheet of a wish is looked at where one is asked for; where to look next needs a sheet only where several
    # rollers may have made a series, which the demo plant has none of.
    *("/rolls/{roll}/cut/wish", "/rolls/{roll}/repeats/next/sheet"),
}
ADDRESSES = [address for addresses in PAGES.values() for address in addresses]
REFUSED = {"/trace?finished=none": 422}
WITHOUT_SCRIPTS = ["/", ROLL, f"{ROLL}/map/1", f"{ROLL}/cut", f"{ROLL}/strips", f"{ROLL}/examination", f"{SHEET}/enter"]
ON_PAPER = {ROLL: "CUT OUT", f"{ROLL}/cut": "MAY BE SLIT", "/cards/W-2042/1": "R07 lay-on roller"}
_WIDE = """() => [...document.querySelectorAll('body *')].filter(one =>
    one.getBoundingClientRect().right > innerWidth + 1 && !one.closest('.wide, .photo, .glass, pre')
    && getComputedStyle(one).position !== 'absolute').map(one => `${one.tagName}.${one.className}`).slice(0, 5)"""


@pytest.fixture(scope="module")
def desk(own_plant, desk_at, with_people, raise_card, card):
    """A desk with something on each of its pages."""
    with_people(own_plant)
    raise_card(own_plant, card)
    opened = ("complaint", "open", str(own_plant), "W-2042/007-33", "--saw", "dark spot", "--who", "C. Agent")
    assert main([*opened, "--at", "1.58 m from outer end"]) == 0
    with desk_at(own_plant) as desk:
        yield desk


@pytest.fixture(scope="module")
def all_round(desk, visitor):
    """Somebody with every role, who has a sheet in hand with a sighting that can be photographed."""
    visit = visitor(desk.address)
    visit.log_in("all-round")
    page = visit.settled(f"{ROLL}/repeats")
    page.get_by_role("button", name="Work out where to look next").click()
    page.wait_for_url("**/next?series=1")
    page = visit.go(f"{ROLL}/examination")
    page.get_by_role("button", name="Look again at sheet 1").click()
    page.wait_for_url("**/enter")
    for key in ("1", *["Enter"] * 4, "1", "1", *"12", "Enter", *"450", "Enter", ",", "6", "Enter"):
        page.keyboard.press(key)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Through the red filter")
    page = visit.go(f"{SHEET}/photograph")
    picture = io.BytesIO()
    Image.new("RGB", (200, 100), (150, 150, 150)).save(picture, "PNG")
    photograph = {"name": "spot.png", "mimeType": "image/png", "buffer": picture.getvalue()}
    page.get_by_label("Photograph").set_input_files(photograph)
    page.get_by_role("button", name="Send it up").click()
    page.locator("#photo").wait_for()
    return visit


@pytest.fixture(scope="module")
def without_scripts(desk, visitor):
    """The same with scripts blocked."""
    visit = visitor(desk.address, java_script_enabled=False)
    visit.log_in("all-round")
    return visit


def _settled(visit, address):
    """A page with nothing to wait for, and nothing known against it yet."""
    visit.wrong.clear()
    visit.refused = {REFUSED[address]} if address in REFUSED else set()
    return visit.settled(address)


def test_every_page_is_looked_at():
    """A new address of the desk is either looked at here or named among those that aren't pages."""
    there = {
        route.path
        for router in routers()
        for route in router.routes
        if "GET" in route.methods and not route.path.startswith("/api/")
    }
    assert there | {"/api/openapi.json"} == set(PAGES) | NO_PAGES


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_page_is_for_everybody(all_round, address):
    """Nothing to object to by WCAG 2.2 AA, light or dark; nothing to be moved sideways at 400 %; little script."""
    page = _settled(all_round, address)
    assert all_round.objections() == []
    page.emulate_media(color_scheme="dark")
    always_light = page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "light"
    dark = [] if always_light else all_round.objections("color-contrast")
    page.set_viewport_size({"width": 320, "height": 640})
    wide = page.evaluate("document.documentElement.scrollWidth")
    beyond = page.evaluate(_WIDE) if wide > 320 else []
    page.set_viewport_size({"width": 1400, "height": 900})
    page.emulate_media(color_scheme="light")
    assert dark == []
    assert (wide, beyond) == (320, [])
    assert all_round.script_bytes() < MOST_SCRIPT_BYTES
    all_round.done()


@pytest.mark.parametrize("address", WITHOUT_SCRIPTS)
def test_a_page_needs_no_scripts(all_round, without_scripts, address):
    """With scripts blocked the verdict, every table and the same acts are there."""
    shown = "main :is(h1, .verdict .word, caption, form[method=post] button):visible:not(#read-out *)"
    with_scripts = _settled(all_round, address).locator(shown).all_inner_texts()
    page = _settled(without_scripts, address)
    blocked = page.locator(shown).all_inner_texts()
    assert blocked
    assert blocked == with_scripts
    without_scripts.done()


@pytest.mark.parametrize(("address", "words"), ON_PAPER.items(), ids=list(ON_PAPER))
def test_a_page_prints(all_round, address, words):
    """On paper the verdict stands first, every table that isn't folded is there, and nothing that can't be pressed."""
    page = _settled(all_round, address)
    page.emulate_media(media="null")
    paper = all_round.keep_paper(f"paper{address.replace('/', '-')}")
    pages = [one.extract_text() for one in PdfReader(io.BytesIO(paper)).pages]
    assert words.lower() in pages[0].lower()
    page.emulate_media(media="print")
    assert page.locator("caption:not(details *):visible").count() == page.locator("caption:not(details *)").count()
    assert page.locator("form:visible, nav:visible").count() == 0
    page.emulate_media(media="null")
