"""Trends and the record at the desk."""

import hashlib
import html
import io
import json
import re
import shutil
import sqlite3
import zipfile

import pytest

from wideroll.acts.proving import prove_record
from wideroll.store.demo_history import history_files

FREEZING = {"name": "autumn", "from": "2026-08-03", "to": "2026-09-10", "because": "steady"}


@pytest.fixture(scope="module")
def charted(made, tmp_path_factory):
    """The tiny plant with the demo's sixty earlier rolls, none of them decided; not to be changed."""
    root = shutil.copytree(made, tmp_path_factory.mktemp("trends") / "plant")
    for name, text in history_files().items():
        path = root / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    return root


def _shown(visitor, address):
    return visitor.until(address, lambda answer: 'http-equiv="refresh"' not in answer.text)


def test_a_chart_says_which_rules_are_broken(browse, charted):
    """Picture, rules in words, planted change with its batch, the points of all rolls, and the command's document."""
    visitor = browse(charted)
    page = _shown(visitor, "/trends/chart?what=Speed").text
    for words in ("batch E-515", "mean and mean moving range of the first 20 rolls", "one point above the upper limit"):
        assert words in page
    assert visitor.get("/trends/chart.svg?what=Speed").text.startswith("<svg")
    rows = visitor.get("/trends/chart?what=Speed&format=csv&table=points-1").text.splitlines()
    assert len(rows) == 61
    document = visitor.get("/api/trends/chart?what=Speed&rules=nelson&chart=individuals").json()
    assert (document["schema"], document["chart"]) == ("wideroll/control-chart/1", "individuals")


def test_the_overview_leads_to_each_chart(browse, charted):
    """Days in the address narrow it; each quantity has its link, which keeps the days."""
    visitor = browse(charted)
    page = html.unescape(_shown(visitor, "/trends?from=2026-08-03&to=2026-11-30").text)
    assert "/trends/chart?what=speed&from=2026-08-03&to=2026-11-30" in page
    assert "would break about" in page
    few = visitor.get("/api/trends?from=2026-10-17&to=2026-10-30").json()
    assert all(one["rolls"] < 10 for one in few["charts"])


def test_too_few_rolls_are_explained(browse, charted):
    """Days that hold few rolls are no fault: the page says what a chart needs; a program gets a 422."""
    visitor, few = browse(charted), "/trends/chart?what=speed&from=2026-10-17&to=2026-10-30"
    page = _shown(visitor, few)
    assert (page.status_code, "There are too few rolls for a chart of speed" in page.text) == (200, True)
    assert "wrong" not in page.text.partition("<main")[2]
    assert visitor.get(f"{few}&format=csv&table=points-1").status_code == 422
    assert visitor.get(f"/api{few}").json()["error"]["status"] == 422


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ("what=nothing", "what"),
        ("what=speed&from=2026-13-01", "from"),
        ("what=speed&chart=pie", "chart"),
        ("what=speed&base=spring", "base"),
        ("what=speed&product=none", "product"),
    ],
)
def test_a_chart_that_cant_be_drawn_says_why(browse, charted, asked, field):
    """The page names the field, the API the rule."""
    visitor = browse(charted)
    answer = _shown(visitor, f"/trends/chart?{asked}")
    assert (answer.status_code, f'href="#{field}"' in answer.text) == (422, True)
    assert visitor.get(f"/api/trends/chart?{asked}").json()["error"]["status"] == 422


def test_causes_and_gauges(browse, charted):
    """Causes say that there are none; a study is shown by both methods against a width typed with a comma."""
    visitor = browse(charted)
    assert "None." in _shown(visitor, "/trends/causes").text
    assert visitor.get("/api/trends/causes").json()["schema"] == "wideroll/pareto/1"
    page = visitor.get("/trends/gauges?study=densitometer&tolerance=0,12").text
    assert "takes 20.4 % of the tolerance" in page
    assert "average and range" in page
    assert visitor.get("/trends/gauges?study=densitometer&tolerance=-1").status_code == 422
    assert visitor.get("/trends/gauges?study=..%2fplant").status_code == 404
    assert visitor.get("/api/trends/gauges").json()["studies"] == ["densitometer"]


def test_a_base_period_is_frozen_for_good(browse, charted, tmp_path):
    """It needs a reason, is recorded by name, sets the limits from then on, and isn't frozen twice."""
    plant = shutil.copytree(charted, tmp_path / "plant")
    visitor = browse(plant, who="R. Engineer")
    assert "None is frozen" in visitor.get("/trends/base-periods").text
    answer = visitor.post("/trends/base-periods", FREEZING | {"because": " "})
    assert (answer.status_code, 'href="#because"' in answer.text, 'value="autumn"' in answer.text) == (422, True, True)
    assert visitor.post("/trends/base-periods", FREEZING).headers["location"].endswith("?frozen=1")
    (kept,) = visitor.get("/api/trends/base-periods").json()["base_periods"]
    assert (kept["base"], kept["who"], kept["rolls"]) == ("autumn", "R. Engineer", 25)
    assert "autumn (W-1981 to W-2005, 25 rolls)" in _shown(visitor, "/trends/chart?what=curl").text
    answer = visitor.post("/trends/base-periods", FREEZING)
    assert (answer.status_code, "frozen for good" in answer.text) == (422, True)


def test_the_record_is_leafed_through(browse, decided):
    """The newest event first, older ones by their numbers; act, roll, who and days narrow it; CSV has all."""
    visitor = browse(decided)
    numbers = [one["number"] for one in visitor.get("/api/record?most=2").json()["events"]]
    whole = visitor.get("/api/record").json()
    assert numbers == [one["number"] for one in whole["events"]][:2]
    assert visitor.get(f"/api/record?before={numbers[-1]}").json()["events"] == whole["events"][2:]
    assert 'href="/record/4"' in visitor.get("/record?act=decision&roll=T-1&from=2020-01-01").text
    assert "No event is as chosen" in visitor.get("/record?who=nobody").text
    assert visitor.get("/record?from=yesterday").status_code == 422
    rows = visitor.get("/record?roll=T-1&format=csv").text.splitlines()
    assert len(rows) == 1 + len(visitor.get("/api/record?roll=T-1").json()["events"])


def test_an_event_is_shown_as_it_is_kept(browse, decided):
    """Its canonical line without the digest is what the digest is of."""
    visitor = browse(decided)
    page = visitor.get("/record/4").text
    line = html.unescape(re.search(r'<p class="line"><code>(.*?)</code>', page)[1])
    event = json.loads(line)
    assert visitor.get("/api/record/4").json()["digest"] == event["digest"]
    bare = line.replace(f'"digest":"{event["digest"]}",', "")
    assert hashlib.sha256(bare.encode()).hexdigest() == event["digest"]
    assert visitor.get("/record/400").status_code == 404


def test_a_proof_runs_beside_the_pages(browse, decided, tmp_path):
    """It says that all holds; a second one at once is refused; of a changed record the first bad event is named."""
    plant = shutil.copytree(decided, tmp_path / "plant")
    visitor = browse(plant)
    assert "Nobody has asked" in visitor.get("/record/verify").text
    assert visitor.post("/record/verify").status_code == 303
    assert "It holds" in _shown(visitor, "/record/verify").text
    assert visitor.get("/api/record/verify").json()["proof"]["intact"]
    assert visitor.post("/record/verify").status_code == 429
    with sqlite3.connect(plant / "wideroll.db") as database:
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f"drop trigger {name}")
        database.execute("update events set who = 'Another' where number = 3")
    database.close()
    assert "isn&#39;t what was written" in visitor.get("/record/3").text
    again = browse(plant)
    again.get("/record/verify")
    again.post("/record/verify")
    page = _shown(again, "/record/verify").text
    assert "It doesn&#39;t hold" in page or "It doesn't hold" in page
    assert '<a href="/record/3">3</a>' in page
    assert again.get("/complaints").status_code == 500


def test_the_bundle_is_for_engineers(browse, made, decided, people, tmp_path):
    """What is exported verifies by itself; a reader gets none."""
    bundle = tmp_path / "bundle.zip"
    bundle.write_bytes(browse(decided).get("/record/bundle.zip").content)
    assert zipfile.is_zipfile(io.BytesIO(bundle.read_bytes()))
    assert "/record/bundle.zip" in browse(decided).get("/record").text
    none = browse(made).get("/record").text
    assert ("Nothing is recorded yet" in none, "/record/bundle.zip" in none) == (True, False)
    assert prove_record(bundle).report.intact
    assert people.browser("reader").get("/record/bundle.zip").status_code == 403
