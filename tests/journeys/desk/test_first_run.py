"""The desk on its first day: where nothing is yet it says what to do next, to one person who works alone."""

import pytest
from playwright.sync_api import expect

PLANT = 'name = "Little Mere, line 1"\nweb_width = "1380 mm"\ndatum_edge = "drive side"\n'
AIMS = "tolerance_density = 0.1\nlog_h = [-3, -2, -1.5, -1, 0]\nvisual = [0.2, 0.3, 0.8, 1.4, 2.2]\n"
PRODUCT = f"""\
film_type = "black-and-white"
sensitisation_nm = [[380, 690]]
[aims]
{AIMS}
[reference]
limit_density = 0.05
[reference.aims]
{AIMS}
[[criteria]]
name = "Spots"
measurand = "rate of marks"
subject = "sheets"
kinds = ["spot"]
limit = 20
unit = "per m²"
consequence = "hold"
[[widths]]
name = "35"
width = "34.975 mm"
tolerance = "0.025 mm"
value_per_m = 2
"""
SAYS = {
    "/": "First the plant needs a product",
    "/cards": "start it beside the machine with wideroll watch",
    "/complaints": "is opened with the number on the roll's label",
    "/record": "The first take-in, decision or complaint makes the record",
    "/trends": "Each decision puts what was measured there",
    "/trends/gauges": "A study is a table gauge-studies/NAME.csv",
    "/plant": "Repeats can't be traced to a roller before plant.toml lists them",
    "/plant/products": "Make the first from the text of its file",
    "/people": "As soon as somebody is added, everybody logs in",
}
MET_ONLY_HERE = ("/", "/plant", "/people")
"""Where the page of an empty plant has what no other has."""


@pytest.fixture(scope="module")
def desk(tmp_path_factory, desk_at):
    """The desk of a plant that has its first file and nothing else."""
    root = tmp_path_factory.mktemp("first") / "plant"
    root.mkdir()
    (root / "plant.toml").write_text(PLANT, encoding="utf-8")
    with desk_at(root) as desk:
        yield desk


def test_an_empty_plant_says_what_to_do_next(desk, visit):
    """Each place of the desk says what would fill it, to everybody who reads it, and that no login is needed."""
    visit = visit(desk.address)
    for path, words in SAYS.items():
        page = visit.go(path)
        expect(page.locator("main .empty").filter(has_text=words).or_(page.get_by_text(words)).first).to_be_visible()
        assert path not in MET_ONLY_HERE or visit.objections() == [], path
    expect(page.get_by_text("W. Cedar, alone at this machine: no login is needed")).to_be_visible()


def test_the_first_roll_appears_by_itself(desk, visit):
    """By the links of the first page a product is made; the roll whose pattern it then shows appears by itself."""
    visit = visit(desk.address)
    page = visit.go("/")
    page.get_by_role("link", name="make one").click()
    page.get_by_label("Name of the new product").fill("sheet-100")
    page.locator("#text").fill(PRODUCT)
    page.get_by_role("button", name="Look at the new product").click()
    page.get_by_role("button", name="Save sheet-100").click()
    page.wait_for_url("**/plant/products/sheet-100*")
    page = visit.go("/")
    pattern = page.locator("main pre").inner_text()
    assert pattern.startswith('product = "sheet-100"')
    roll = desk.plant / "rolls" / "E-1"
    roll.mkdir(parents=True)
    (roll / "roll.toml").write_text(pattern, encoding="utf-8")
    expect(page.get_by_role("link", name="E-1")).to_be_visible()
    visit.keep("first-run")
    page.get_by_role("link", name="E-1").click()
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("not decided")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Still missing")
    assert visit.objections() == []
