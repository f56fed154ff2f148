"""The marks that are asked for: one by one, in bins that add up, as a table, and stepped through."""

import csv
import io
import re

import numpy as np
import polars as pl
import pytest
from PIL import Image


def _ask(browser, query, roll="L-1"):
    answer = browser.get(f"/api/rolls/{roll}/marks?{query}")
    assert answer.status_code == 200
    return answer.json()


def _slow(viewed, **limits):
    """Ids of the marks within limits, looked at one by one."""
    rows = pl.read_parquet(viewed / "results" / "L-1" / "marks.parquet").to_dicts()
    for row in rows:
        row["size_mm"] = max(row["length_mm"], row["width_mm"])
    for name, test in limits.items():
        rows = [row for row in rows if test(row[name])]
    return sorted(row["id"] for row in rows)


@pytest.mark.parametrize(
    ("query", "limits"),
    [
        ("from_m=10&to_m=11", {"along_m": lambda v: 10 <= v < 11}),
        (
            "from_m=10&to_m=12&from_mm=40&to_mm=80",
            {"along_m": lambda v: 10 <= v < 12, "across_mm": lambda v: 40 <= v < 80},
        ),
        ("size_from_mm=1,9", {"size_mm": lambda v: v >= 1.9}),
        ("from_m=5&to_m=7&kind=comet", {"along_m": lambda v: 5 <= v < 7, "kind": lambda v: v == "comet"}),
        (
            "from_m=5&to_m=6&kind=comet&kind=spot&size_to_mm=1",
            {"along_m": lambda v: 5 <= v < 6, "kind": lambda v: v != "scratch", "size_mm": lambda v: v <= 1},
        ),
        ("to_m=2&source=%3Cb%3Esecond%3C/b%3E", {"along_m": lambda v: v < 2, "source": lambda v: v[0] == "<"}),
        ("lane=2&lane_mm=40&to_m=5", {"along_m": lambda v: v < 5, "across_mm": lambda v: 40 <= v < 80}),
        ("polarity=bright&to_m=3", {"along_m": lambda v: v < 3, "polarity": lambda v: v == "bright"}),
        ("source=nobody", {"source": lambda v: v == "nobody"}),
    ],
)
def test_filters_choose_as_they_say(browser, viewed, query, limits):
    """Every filter gives just the marks that a look at each of them gives."""
    found = _ask(browser, query)
    assert not found["binned"]
    assert sorted(mark["id"] for mark in found["marks"]) == _slow(viewed, **limits)
    assert (found["found"], found["of"]) == (len(found["marks"]), 12_000)


@pytest.mark.parametrize("query", ["", "from_m=12&to_m=30", "kind=spot&from_mm=20&to_mm=150.5", "lane=1&lane_mm=60"])
def test_bins_add_up_to_the_table(browser, query):
    """Each bin holds as many marks as lie in it one by one, no mark lies in two, and none is missing."""
    found, counts = _ask(browser, query), {}
    rows = list(csv.DictReader(io.StringIO(browser.get(f"/api/rolls/L-1/marks?{query}&format=csv").text)))
    assert found["binned"]
    assert sum(one["count"] for one in found["bins"]) == found["found"] == len(rows)
    cell = found["cell"]
    for row in rows:
        key = (float(row["along_m"]) // cell["m"], float(row["across_mm"]) // cell["mm"])
        counts.setdefault(key, []).append(row)
    assert len(counts) == len(found["bins"]) < 4_000
    for one in found["bins"]:
        mine = counts[one["from_m"] // cell["m"], one["from_mm"] // cell["mm"]]
        assert one["count"] == len(mine)
        assert one["dark"] == sum(row["polarity"] == "dark" for row in mine)
        assert one["clearest"] == max(mine, key=lambda row: float(row["snr"]))["id"]


def test_few_enough_are_told_one_by_one(browser):
    """Up to 2,000 marks come singly, above that in bins."""
    counts = [_ask(browser, f"to_m={to_m}") for to_m in (9.5, 10.5)]
    assert [(one["found"] > 2_000, one["binned"]) for one in counts] == [(False, False), (True, True)]
    everything = browser.get("/api/rolls/L-1/marks?to_m=10.5&rows=all").json()
    assert len(everything["marks"]) == everything["found"] == counts[1]["found"]


@pytest.mark.parametrize(
    ("query", "where"),
    [
        ("from_m=head", "from_m"),
        ("size_from_mm=-1", "size_from_mm"),
        ("to_mm=nan", "to_mm"),
        ("from_m=1e999", "from_m"),
        ("lane=0", "lane"),
        ("lane=9&lane_mm=40", "lane"),
        ("lane=1", "lane"),
        ("lane=1&lane_mm=0", "lane"),
        ("sort=rule", "sort"),
        ("page=1.5", "page"),
    ],
)
def test_what_cant_be_asked_is_refused(browser, query, where):
    """A value that makes no sense is refused with its field, for machines and on the page alike."""
    answer = browser.get(f"/api/rolls/L-1/marks?{query}")
    assert answer.status_code == 422
    assert answer.json()["error"]["where"] == where
    page = browser.get(f"/rolls/L-1/map/1?{query}")
    assert page.status_code == 422
    assert "There is a problem" in page.text


def test_stepping_meets_every_mark_once(browser):
    """From the first on, next goes through all that are asked for in order, and back again; then there is no more."""
    query = "from_m=47&to_m=47.4&kind=comet"
    wanted = [mark["id"] for mark in _ask(browser, query)["marks"]]
    for back, order in (("", wanted), ("&back=yes", wanted[::-1])):
        seen, after = [], ""
        while (found := browser.get(f"/api/rolls/L-1/marks/next?{query}&after={after}{back}").json())["mark"]:
            seen.append(found["mark"]["id"])
            after = seen[-1]
            assert found["of"] == len(wanted)
            assert found["number"] == wanted.index(after) + 1
        assert seen == order
    assert len(wanted) > 10


def test_a_mark_is_told_in_words_with_its_page(browser):
    """One mark has its facts, a sentence, and the page of the segment it lies in, which shows it without scripts."""
    mark = _ask(browser, "from_m=55&to_m=55.2")["marks"][0]
    told = browser.get(f"/api/rolls/L-1/marks/{mark['id']}").json()["mark"]
    assert told["segment"] == 2
    assert told["words"].startswith(f"{mark['kind']}, {mark['polarity']}, ")
    page = browser.get(told["page"]).text
    chosen = page.split('id="chosen"')[1].split("</section>")[0]
    assert f"{mark['along_m']:.3f} m along" in chosen
    assert "hidden" not in page.split('id="chosen"')[1].split(">")[0]


def test_the_table_stands_beside_the_picture_without_scripts(browser):
    """The page alone has a still picture with words, a table with heads and units, and its twins as CSV and JSON."""
    page = browser.get("/rolls/L-1/map/1?kind=spot&sort=-size_mm").text
    still = page.split('<figure id="still">')[1].split("</figure>")[0]
    assert re.search(r'<img[^>]+alt="From 0.00 to 4', still)
    assert "hidden" not in still
    sizes = [max(float(v) for v in one) for one in re.findall(r">([\d.]+) × ([\d.]+)</td>", page)]
    assert len(sizes) == 50
    assert sizes == sorted(sizes, reverse=True)
    assert 'aria-sort="descending"' in page
    twins = {name: re.search(f'href="([^"]+)">These marks as {name}', page)[1] for name in ("CSV", "JSON")}
    rows, told = (browser.get(address.replace("&amp;", "&")) for address in (twins["CSV"], twins["JSON"]))
    counted = int(re.search(r"<caption>([\d,]+) marks", page)[1].replace(",", ""))
    assert len(rows.text.splitlines()) - 1 == told.json()["found"] == counted
    assert {row["kind"] for row in told.json()["marks"]} == {"spot"}


def test_pages_of_the_table_hold_each_mark_once(browser):
    """Leafing through the pages meets every mark of the segment that is asked for once."""
    base, seen = "/rolls/L-1/map/2?size_from_mm=1.9", []
    first = browser.get(base).text
    pages = int(re.search(r"Page 1 of (\d+)", first)[1])
    for number in range(1, pages + 1):
        seen += re.findall(r'data-mark="(m\d+)" href', browser.get(f"{base}&page={number}").text)
    assert len(seen) == len(set(seen)) == int(re.search(r"<caption>(\d+) marks", first)[1])
    assert pages > 1


def test_names_in_the_table_are_text(browser):
    """A source's name that looks like markup is shown as it is, and nothing typed comes back as markup."""
    page = browser.get("/rolls/L-1/map/1?size_from_mm=%22%3E%3Cscript%3E&mark=%3Cscript%3E").text
    assert "&lt;b&gt;second&lt;/b&gt;" in page
    assert "<b>second" not in page
    assert "<script>" not in page


def test_what_was_typed_stays(browser):
    """A field that can't be used keeps what was typed, and the summary leads to it."""
    page = browser.get("/rolls/L-1/map/1?size_from_mm=big&size_to_mm=1,5").text
    assert 'href="#size_from_mm"' in page
    assert re.search(r'id="size_from_mm"[^>]*value="big"[^>]*aria-invalid="true"', page)
    assert re.search(r'id="size_to_mm"[^>]*value="1,5"', page)


def test_a_roll_without_a_scan_says_so(own_plant, at):
    """A roll that wasn't scanned has a page that says what to do; its marks and tiles are not found."""
    folder = own_plant / "rolls" / "N-1"
    folder.mkdir(parents=True)
    (folder / "roll.toml").write_text('product = "sheet-100"\nlength = "10 m"\n')
    browser = at(own_plant)
    page = browser.get("/rolls/N-1/map")
    assert page.status_code == 200
    assert "Not scanned" in page.text
    assert browser.get("/api/rolls/N-1/marks").status_code == 404


def test_the_map_lists_the_segments(browser):
    """The roll's map has a still picture, and leads to each segment, with its places and how many marks."""
    page = browser.get("/rolls/L-1/map").text
    told = browser.get("/api/rolls/L-1/segments").json()["segments"]
    assert [f'href="{one["page"]}"' in page for one in told] == [True, True]
    assert sum(one["marks"] for one in told) == 12_000
    assert (told[0]["from_m"], told[0]["to_m"], told[1]["to_m"]) == (0.0, pytest.approx(48.64), pytest.approx(60.0))
    assert browser.get("/rolls/L-1/overview.svg").headers["content-type"] == "image/svg+xml"


def test_a_chip_lies_as_the_picture_does(browser, viewed):
    """A kept chip is sent turned: along to the right, across upwards, so that a mark wide across stands upright."""
    mark = max(browser.get("/api/rolls/V-1/marks").json()["marks"], key=lambda one: one["area_mm2"])
    assert mark["width_mm"] > 2 * mark["length_mm"]
    told = browser.get(f"/api/rolls/V-1/marks/{mark['id']}").json()["mark"]
    with Image.open(io.BytesIO(browser.get(told["chip"]).content)) as image:
        greys = np.asarray(image)
    with Image.open(viewed / "results" / "V-1" / "chips" / f"{mark['id']}.png") as image:
        assert greys.shape == (image.width, image.height)
        pixels = np.asarray(image)
    dark = np.argwhere(greys < 20)
    assert np.ptp(dark[:, 0]) > 2 * np.ptp(dark[:, 1])
    assert dark.tolist() == sorted([greys.shape[0] - 1 - j, i] for i, j in np.argwhere(pixels < 100))
