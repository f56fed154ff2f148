"""What each role comes to the desk for, from the login to the line in the record, in a browser."""

import io
import re

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import expect

PASSWORD = "grey web under lamp"
NOTE = "beside the splice"
SETTING = ("1", *["Enter"] * 4)
"""Blind, and otherwise as usual: loupe, filters, sections, densitometer."""
SCRATCH = ("8", *"12", "Enter", *"450", "Enter", "2", "Enter", *["Enter"] * 8)
"""Where it lies and how large it is; of all else nothing is said."""


@pytest.fixture(scope="module")
def desk(own_plant, desk_at, with_people):
    """The demo plant's desk with one person of each role."""
    with_people(own_plant)
    with desk_at(own_plant) as desk:
        yield desk


def _photograph():
    """A dark scratch from one place to another on grey."""
    picture = Image.new("RGB", (200, 100), (150, 150, 150))
    ImageDraw.Draw(picture).line((60, 50, 140, 50), fill=(20, 20, 20), width=3)
    file = io.BytesIO()
    picture.save(file, "PNG")
    return {"name": "scratch.png", "mimeType": "image/png", "buffer": file.getvalue()}


def _press(visit, *keys):
    """Keys one after the other, as fast as they come; a page that isn't there yet keeps them."""
    for key in keys:
        visit.page.keyboard.press(key)


def _open_by_keyboard(visit, *names):
    """One link or button after the other, by Tab and Enter alone."""
    for name in names:
        wanted = visit.page.get_by_role("link", name=name).or_(visit.page.get_by_role("button", name=name))
        before = visit.page.url
        visit.tab_to(wanted.first)
        _press(visit, "Enter")
        visit.page.wait_for_url(lambda address, before=before: address != before)


def test_an_examiner_enters_a_sheet_with_the_number_pad(desk, visit):
    """A sheet is looked at, entered, undone and sent without a pointer; a mark is measured; others see it once sent."""
    one, other = visit(desk.address), visit(desk.address)
    other.log_in("engineer")
    page = one.log_in("examiner", to="/rolls/W-2043/examination")
    _open_by_keyboard(one, "Look again at sheet 1")
    _press(one, *SETTING)
    expect(page.get_by_role("heading", level=1)).to_have_text("Nothing noted yet")
    _press(one, "1", *SCRATCH)
    expect(page.get_by_role("heading", level=1)).to_have_text("Anything else?")
    one.keep("examiner-question")
    page.keyboard.type(NOTE)
    _press(one, "Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("A photograph of it?")
    _press(one, "1")
    page.wait_for_url("**/photograph")
    page.get_by_label("Photograph").set_input_files(_photograph())
    one.tab_to(page.get_by_role("button", name="Send it up"))
    _press(one, "Enter")
    page.locator("#photo[tabindex]").wait_for()
    _measure(one)
    _press(one, "Enter")
    expect(page.get_by_role("button", name="Save the sighting with its photograph")).to_be_focused()
    _press(one, "Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("1 sighting so far")
    _press(one, "3")
    expect(page.get_by_text("Sighting 1 is undone")).to_be_visible()
    one.tab_to(page.get_by_role("button", name="Put 1 back"))
    _press(one, "Enter")
    expect(page.get_by_text("Sighting 1 is put back")).to_be_visible()
    assert NOTE not in _noted(other)
    assert "In your hand" not in other.go("/rolls/W-2043/examination").content()
    _press(one, "2")
    expect(page.get_by_role("heading", level=1)).to_contain_text("is done: 1 sighting")
    _press(one, "Enter")
    page.wait_for_url("**/examination")
    _open_by_keyboard(one, "Look at them before they are sent")
    one.tab_to(page.get_by_role("button", name="Send 1 sighting of 1 sheet"))
    _press(one, "Enter")
    taken_in = re.compile(r"Taken in as event \d+ of the record, in the name of Examiner A\.")
    expect(page.get_by_text(taken_in)).to_be_visible()
    assert NOTE in _noted(other)


def _measure(visit):
    """Both ends of a millimetre and of the mark named with the arrows, and the size that comes of it."""
    page = visit.page
    visit.tab_to(page.locator("#photo"))
    _press(visit, *["Shift+ArrowLeft"] * 4, "Enter", *["Shift+ArrowRight"] * 8, "Enter")
    _press(visit, "Enter", *["Shift+ArrowLeft"] * 8, "Enter")
    assert [page.locator(f"#{name}").input_value() for name in ("ax", "bx", "cx", "dx")] == ["60", "140", "140", "60"]
    visit.tab_to(page.get_by_label("Length between them"))
    page.keyboard.type("1,6")
    _press(visit, "Enter")
    expect(page.get_by_role("status").filter(has_text="The size of the sighting is 1.6 mm")).to_be_visible()
    visit.keep("examiner-photograph")


def _noted(visit):
    """What somebody else is told of a roll's sightings once they ask for it."""
    return visit.page.request.get(f"{visit.address}/api/rolls/W-2043/examination/sightings").text()


def test_a_technician_reads_strips_out(desk, visit):
    """Curves are read at any place by pointer and by keys; what may be decided isn't offered."""
    visit = visit(desk.address)
    page = visit.log_in("technician", to="/rolls/W-2042/strips")
    place = page.locator("#read-out caption")
    slider = page.get_by_role("slider")
    visit.tab_to(slider)
    before = place.inner_text()
    _press(visit, "ArrowRight", "Shift+ArrowRight")
    assert place.inner_text() != before
    _press(visit, "Home", "n")
    assert "–" not in page.locator("#read-out tbody tr").first.inner_text()
    assert "from aim" in slider.get_attribute("aria-valuetext")
    read = place.inner_text()
    box = page.locator(".reading .field").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert place.inner_text() != read
    visit.keep("technician-strips")
    instruments = page.get_by_role("table").filter(has_text="Calibrations: true")
    expect(instruments).to_contain_text("sensitometer S-1")
    expect(instruments).to_contain_text("2026-07-01, 2026-12-31")
    visit.go("/rolls/W-2042")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("cut out")
    assert page.get_by_role("button", name="Look at the evidence").count() == 0


def test_an_engineer_releases_a_roll_by_keyboard_alone(desk, visit):
    """From the list to the sealed decision with Tab, Enter and typing; the name stands in the record."""
    sightings = desk.plant / "rolls" / "W-2041" / "examination" / "sheets.csv"
    sightings.write_text(sightings.read_text().replace("examiner A", "examiner B", 1))
    visit = visit(desk.address)
    page = visit.log_in("engineer")
    _open_by_keyboard(visit, "W-2041", "Look at the evidence")
    page.wait_for_selector("h2:has-text('Before it is sealed')", timeout=90_000)
    visit.keep("engineer-summary")
    visit.tab_to(page.get_by_label(re.compile("^Why the decision before")))
    page.keyboard.type("Sheet 1 was examiner B's.")
    visit.tab_to(page.get_by_label(re.compile("^Your password")))
    page.keyboard.type("not the password")
    visit.refused = {401, 403, 422}
    _press(visit, "Enter")
    expect(page.get_by_role("alert")).to_contain_text("There is a problem")
    expect(page.get_by_label(re.compile("^Why the decision before"))).to_have_value("Sheet 1 was examiner B's.")
    visit.tab_to(page.get_by_label(re.compile("^Your password")))
    page.keyboard.type(PASSWORD)
    visit.tab_to(page.get_by_role("button", name=re.compile("W-2041$")))
    _press(visit, "Enter")
    page.wait_for_url("**sealed=*", timeout=60_000)
    event = re.search(r"event (\d+)", page.get_by_role("status").filter(has_text="Sealed as").inner_text())[1]
    visit.keep("engineer-sealed")
    visit.go(f"/record/{event}")
    expect(page.locator("main")).to_contain_text("Engineer A.")
    expect(page.locator("main")).to_contain_text("signed by re-entered password")


def test_an_engineer_looks_along_a_segment(desk, visit):
    """Marks are stepped through, the picture moved and zoomed by keys; the address holds mark and filters."""
    visit = visit(desk.address)
    page = visit.log_in("engineer", to="/rolls/W-2042/map/1")
    visit.tab_to(page.get_by_role("application"))
    place, chosen = page.locator("#place"), page.locator("#chosen")
    expect(place).not_to_be_empty()
    _press(visit, "n")
    expect(chosen).to_contain_text("Kind")
    page.wait_for_url("**mark=*")
    _press(visit, "+", "+")
    at = re.search(r"([\d.]+) m along, ([\d.]+) mm across", chosen.inner_text())
    expect(place).to_contain_text(f"Centre {at[1]} m along, {float(at[2]):.0f} mm across")
    first = page.url
    _press(visit, "n")
    page.wait_for_url(lambda address: "mark=" in address and address.split("#")[0] != first.split("#")[0])
    _press(visit, "p")
    page.wait_for_url(lambda address: address.split("#")[0] == first.split("#")[0])
    for key in ("ArrowRight", "+", "-", "ArrowDown"):
        before = page.url
        _press(visit, key)
        page.wait_for_function("before => location.href !== before", arg=before)
    visit.keep("engineer-map")
    found = page.locator("#table caption").inner_text()
    page.get_by_label(re.compile(r"^comet \(")).check()
    page.get_by_role("button", name="Show these marks").click()
    page.wait_for_url("**kind=comet*")
    assert page.locator("#table caption").inner_text() != found
    assert set(page.locator("#table tbody td:nth-child(4)").all_inner_texts()) == {"comet"}


def test_an_engineer_asks_what_a_wish_costs(desk, visit):
    """A knife is put on the picture, dragged, and moved by a key; the answer says what it costs and isn't recorded."""
    visit = visit(desk.address)
    page = visit.log_in("engineer", to="/rolls/W-2042/cut")
    page.get_by_role("button", name="Put a knife on the picture").click()
    field = page.get_by_label(re.compile("^A knife"))
    before = float(field.input_value())
    page.mouse.wheel(0, -200)
    box = page.locator(".wishes .handle.knife path").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 30, steps=4)
    page.mouse.up()
    dragged = float(field.input_value())
    assert dragged > before
    visit.tab_to(page.get_by_role("slider"))
    _press(visit, "ArrowUp")
    wished = field.input_value()
    assert float(wished) > dragged
    _press(visit, "Enter")
    answer = page.locator("section:has(#answer)")
    answer.wait_for(timeout=90_000)
    expect(answer.locator(".finding")).to_contain_text(f"A knife at {wished}")
    visit.keep("engineer-wish", full=True)
    expect(page.get_by_text("What-if, not the recorded cut")).to_be_visible()
    page.get_by_role("link", name="Sheet of the cut with the wishes").click()
    page.wait_for_url("**/cut/wish?*")
    assert visit.objections() == []


def test_an_engineer_follows_a_complaint_to_the_coated_metre(desk, visit):
    """A complaint is opened with what is on the label and leads to where the film was coated and to its sisters."""
    visit = visit(desk.address)
    page = visit.log_in("engineer", to="/complaints/new")
    page.get_by_label("Finished roll", exact=False).first.fill("W-2042/007-33")
    page.get_by_label("What the customer saw").fill("dark spot in each frame")
    page.get_by_label("Place on the roll").fill("1.58")
    page.get_by_label("Photographs").set_input_files(_photograph())
    page.get_by_role("button", name="Open the complaint").click()
    page.wait_for_url("**/complaints/C-*")
    page.get_by_role("link", name="Trace it as it is known today").click()
    page.get_by_role("heading", name="Where it was coated").wait_for(timeout=60_000)
    expect(page.locator("main")).to_contain_text("C-0001")
    expect(page.get_by_role("heading", name="Other finished rolls at risk")).to_be_visible()
    visit.keep("engineer-trace", full=True)


def test_the_control_room_sees_a_card_at_once_and_closes_it(desk, visit, raise_card, card):
    """A card that another process raises appears on an open page; it is taken, and closed with cause and deed."""
    visit = visit(desk.address)
    page = visit.log_in("control-room", to="/cards")
    expect(page.get_by_text("No action card was raised")).to_be_visible()
    expect(page.locator("#live-state")).to_be_visible()
    raise_card(desk.plant, card)
    expect(page.locator("#news")).to_contain_text("R07 lay-on roller")
    expect(page.locator("#cards table")).to_contain_text("W-2042 / 1")
    visit.keep("control-room-news")
    visit.tab_to(page.locator("#cards").get_by_role("link", name="W-2042 / 1"))
    _press(visit, "Enter")
    page.wait_for_url("**/cards/W-2042/1")
    expect(page.get_by_role("note").first).to_contain_text("Caution")
    visit.tab_to(page.get_by_role("button", name="Take card 1"))
    _press(visit, "Enter")
    expect(page.locator("#card-state")).to_contain_text("Control Room A. has it")
    visit.tab_to(page.locator("#closing summary"))
    _press(visit, "Enter")
    visit.tab_to(page.get_by_label("Cause"))
    page.keyboard.type("grit on the roller")
    close = page.get_by_role("button", name="Close card 1 of roll W-2042")
    visit.refused = {422}
    visit.tab_to(close)
    _press(visit, "Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.get_by_label("Cause")).to_have_value("grit on the roller")
    visit.tab_to(page.get_by_label("What was done"))
    page.keyboard.type("stopped, locked out, wiped")
    visit.tab_to(close)
    _press(visit, "Enter")
    expect(page.locator("#card-state")).to_contain_text("closed")
    visit.keep("control-room-closed")


def test_a_reader_reads_everything_and_changes_nothing(desk, visit):
    """Verdict, cut and cards can be read; no page has an act but to log out; an act is refused however it is sent."""
    visit = visit(desk.address)
    page = visit.log_in("reader")
    for path in ("/", "/rolls/W-2042", "/rolls/W-2042/cut", "/cards", "/complaints"):
        visit.go(path)
        assert page.locator("table, .empty").count() >= 1
        assert page.locator("form[method=post] button").all_inner_texts() == ["Log out"], path
    token = page.locator("input[name=csrf]").first.input_value()
    for path in ("/rolls/W-2041/assess", "/cards/W-2042/1/take", "/complaints/new", "/people"):
        answer = page.request.post(f"{desk.address}{path}", form={"csrf": token}, headers={"Origin": desk.address})
        assert (answer.status, "may" in answer.text()) == (403, True), path


def test_an_administrator_adds_people_and_products(desk, visit):
    """What was typed wrongly is told at the top with a link to its field; corrected, it is taken."""
    visit = visit(desk.address)
    page = visit.log_in("administrator", to="/people")
    page.get_by_label("Name to log in with").fill("m.alder")
    page.get_by_label("Name in the record").fill("M. Alder")
    page.get_by_label("First password").fill("short")
    page.get_by_label("examiner").check()
    visit.refused = {422}
    page.get_by_role("button", name="Add the person").click()
    page.get_by_role("alert").get_by_role("link").click()
    expect(page.get_by_label("First password")).to_be_focused()
    page.keyboard.type(PASSWORD)
    page.get_by_role("button", name="Add the person").click()
    page.wait_for_url("**/people/m.alder*")
    page = visit.go("/plant/new-product?copied=negative-100")
    page.get_by_label("Name of the new product").fill("negative-200")
    page.get_by_role("button", name="Look at the new product").click()
    page.get_by_role("button", name="Save negative-200").click()
    visit.go("/plant/products/negative-200/change")
    limit = page.get_by_role("group", name=re.compile("Criterion: Scan coverage")).get_by_label("Limit")
    limit.fill("much")
    page.get_by_role("button", name="Look at what changes").click()
    visit.keep("administrator-error")
    page.get_by_role("alert").get_by_role("link").first.click()
    expect(limit).to_be_focused()
    expect(limit).to_have_value("much")
    limit.fill("0,97")
    page.get_by_role("button", name="Look at what changes").click()
    expect(page.locator("main")).to_contain_text("0.97")
    page.get_by_role("button", name="Save negative-200").click()
    page.wait_for_url("**/plant/products/negative-200*")
    assert "limit = 0.97" in (desk.plant / "products" / "negative-200.toml").read_text()
