"""The strips page: curves to read from, departures from aim, profiles and process."""

import csv
import html
import io
import json
import re
import shutil

import numpy as np
import pytest
from tests.shells.server.conftest import Browser

ROLL = "T-1"
STRIPS = f"/rolls/{ROLL}/strips"


def _settled(answer):
    return 'http-equiv="refresh"' not in answer.text


@pytest.fixture(scope="module")
def undecided(desk_plant, tmp_path_factory):
    """At the desk of a roll that nobody decided yet: one strip is good, one of a run without a reference strip."""
    root = shutil.copytree(desk_plant, tmp_path_factory.mktemp("undecided") / "plant")
    strips = root / "rolls" / "T-2" / "strips"
    shutil.copytree(root / "rolls" / ROLL / "strips", strips)
    shutil.copy(root / "rolls" / ROLL / "roll.toml", strips.parent)
    lines = (strips / "readings.csv").read_text().splitlines()
    more = [f"S-2;{line[4:-1]}{9 - int(line[-1])}" for line in lines if line.startswith("S-1;")]
    (strips / "readings.csv").write_text("\n".join([*lines, *more]) + "\n")
    (strips / "strips.csv").write_text((strips / "strips.csv").read_text() + "S-2,check,P2,1.5 m,2 in\n")
    return Browser(root)


def test_the_page_shows_what_the_strips_say(desk_plant, browse):
    """Departures, curves, records, profiles, runs: each table also as CSV, each figure served."""
    desk = browse(desk_plant)
    page = desk.get(STRIPS)
    assert page.status_code == 200
    for words in (
        "Departures from aim",
        "Curves of strip S-1",
        "Profiles along and across",
        "Whether each process run",
    ):
        assert words in page.text
    links = set(re.findall(r'href="(/rolls/[^"]+\.csv)"', page.text))
    assert {link.rsplit("/", 1)[1] for link in links} >= {"strips.csv", "measures-1.csv", "runs.csv"}
    for link in links:
        assert len({len(row) for row in csv.reader(io.StringIO(desk.get(link).text))}) == 1
    for picture in re.findall(r'<img class="drawn" src="([^"]+)"', page.text):
        assert desk.get(picture).headers["content-type"] == "image/svg+xml"


def test_what_is_read_out_is_the_fit(desk_plant, browse):
    """At each place the read-out has the density of the fitted curve that machines get, and its readings."""
    desk = browse(desk_plant)
    data = json.loads(html.unescape(re.search(r'id="read-out-data">(.+?)</script>', desk.get(STRIPS).text)[1]))
    (record,) = data["records"]
    curve = desk.get(f"/api{STRIPS}").json()["curves"][0]["records"][record["name"]]
    fit = curve["fit"]
    x = (data["first"] + np.arange(len(record["density"]))) * data["step"]
    inner = 1.0 + fit["q"] * np.exp(-fit["k"] * (x - fit["place"]))
    np.testing.assert_allclose(record["density"], fit["low"] + fit["rise"] * inner ** (-1.0 / fit["q"]), atol=6e-5)
    assert [one[1] for one in record["readings"]] == pytest.approx(curve["density"], abs=6e-5)
    assert x[0] >= data["frame"]["x_from"]
    assert x[-1] <= data["frame"]["x_to"]


def test_one_strip_is_chosen_in_the_address(undecided):
    """The address can be mailed; one that the roll doesn't have isn't found."""
    desk = undecided
    desk.until("/rolls/T-2/strips", _settled)
    page = desk.get("/rolls/T-2/strips?strip=S-2")
    assert "Curves of strip S-2" in page.text
    assert re.search(r'href="\?strip=S-2#curves" aria-current="true"', page.text)
    wrong = desk.get("/rolls/T-2/strips", params={"strip": "<script>alert(1)</script>"})
    assert wrong.status_code == 404
    assert "<script>alert" not in wrong.text


def test_an_undecided_roll_shows_its_strips_and_what_is_left_out(undecided):
    """What the files say now, with why a strip doesn't count; fitted beside the page, which waits and says so."""
    desk = undecided
    first = desk.get("/rolls/T-2/strips")
    assert _settled(first) or "Fitting the strips of roll T-2" in first.text
    page = desk.until("/rolls/T-2/strips", _settled)
    assert "The roll isn't decided yet" in page.text
    (row,) = csv.DictReader(io.StringIO(desk.get("/rolls/T-2/strips/now/left-out.csv").text))
    assert row["strip"] == "S-2"
    assert "P2" in row["why"]
    picture = desk.get(re.search(r'<img class="drawn" src="([^"]+)"', page.text)[1])
    assert "sandbox" in picture.headers["content-security-policy"]
    document = desk.get("/api/rolls/T-2/strips").json()
    assert document["decided"] is False
    assert [one["usable"] for one in document["strips"]] == [True, False]
    assert desk.get("/api/rolls/T-2/strips/S-2").json()["curves"]["strip"] == "S-2"
    assert desk.get("/api/rolls/T-2/strips/S-9").status_code == 404
    for name in ("none.csv", "strips-data.json", "..%2froll.toml", "none"):
        assert desk.get(f"/rolls/T-2/strips/now/{name}").status_code in {400, 404}


def test_a_changed_reading_is_seen_without_deciding(own_desk_plant, browse):
    """The page and the API follow the files, not the decision that no longer rests on them."""
    desk = browse(own_desk_plant)
    before = desk.get(f"/api{STRIPS}").json()
    readings = own_desk_plant / "rolls" / ROLL / "strips" / "readings.csv"
    readings.write_text(re.sub(r"S-1;20;\S+", "S-1;20;2,900", readings.read_text()))
    page = desk.until(STRIPS, _settled)
    assert "The evidence changed since the roll was decided" in page.text
    after = desk.get(f"/api{STRIPS}").json()
    assert (before["decided"], after["decided"]) == (True, False)
    assert before["curves"] != after["curves"]


def test_no_strips_and_broken_strips_are_told(own_desk_plant, browse):
    """Nothing read says what to add; a fault names the file and the mend."""
    new = own_desk_plant / "rolls" / "T-3"
    new.mkdir()
    shutil.copy(own_desk_plant / "rolls" / ROLL / "roll.toml", new)
    desk = browse(own_desk_plant)
    assert "No strips were read for this roll" in desk.until("/rolls/T-3/strips", _settled).text
    shutil.copytree(own_desk_plant / "rolls" / ROLL / "strips", new / "strips")
    (new / "strips" / "readings.csv").write_text("strip;step;visual\nS-1;1;dark\n")
    broken = desk.until("/rolls/T-3/strips", _settled).text
    assert "The strips can" in broken
    assert "readings.csv" in broken
    assert desk.get("/rolls/none/strips").status_code == 404
