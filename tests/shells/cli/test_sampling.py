"""Sheets, rates, settling and lots from the command line."""

import json


def test_sheets_are_listed(plant, run, tmp_path):
    """The list says how many a proof needs, keeps its seed, and can be printed as a page."""
    page = tmp_path / "list.html"
    code, out, err = run("sheets", plant, "T-1", "--length", "5 cm", "--html", page)
    assert code == 0, err
    assert "prove at most 200 marks per m²" in out
    assert "drawn at random" in out
    text = page.read_text()
    assert "Sheets to take from roll T-1" in text
    assert "<svg" in text
    assert "http" not in text.replace("http://www.w3.org", "")
    code, out, _ = run(
        "sheets", plant, "T-1", "--length", "5 cm", "--width", "1 in", "--count", 6, "--seed", 4, "--json"
    )
    document = json.loads(out)
    assert (code, document["schema"], document["seed"], document["columns"]) == (0, "wideroll/sheets/1", 4, 4)
    assert len(document["sheets"]) == 6
    code, _, err = run("sheets", plant, "T-1", "--length", "5 m", "--count", 3)
    assert code == 3
    assert "as long as the web" in err


def test_rates_of_scan_and_sheets(plant, run):
    """Rates come from scan and sheets, each with limits, and both together."""
    code, out, err = run("rates", plant, "T-1")
    assert code == 0, err
    assert "Rates by the scan" in out
    assert "Together sheets" in out
    assert "taken to find every mark" in out
    code, out, _ = run("rates", plant, "T-1", "--size", "0.1 mm", "--json")
    document = json.loads(out)
    assert (code, document["schema"]) == (0, "wideroll/rates/1")
    assert document["scan"][0]["per_m2"]["count"] == 1
    assert run("rates", plant, "T-1", "--contrast", "0.1")[0] == 2


def test_sheets_settle_a_rate(plant, run, tmp_path):
    """A clean sheet accepts a high rate and settles nothing of a low one; then it says where to take more."""
    figure = tmp_path / "test.svg"
    code, out, err = run("settle", plant, "T-1", "--good", 100, "--bad", 400, "--figure", figure)
    assert code == 0, err
    assert out.startswith("Accept")
    assert figure.read_text().startswith("<svg")
    code, out, _ = run("settle", plant, "T-1", "--good", 20, "--bad", 60)
    assert code == 10
    assert "Take more" in out
    assert "Next sheets to take" in out
    code, out, _ = run("settle", plant, "T-1", "--good", 20, "--bad", 60, "--json")
    assert json.loads(out)["standing"]["settled"] == "take more"
    (plant / "rolls" / "T-1" / "examination" / "sightings.csv").write_text(
        "sheet,kind,along,across,size,embedded\n" + "".join(f"A,spot,10 cm,{n} mm,0.4 mm,yes\n" for n in range(20, 29))
    )
    assert run("settle", plant, "T-1", "--good", 20, "--bad", 60)[0] == 11


def test_lots_are_judged(plant, run):
    """Lots are judged in order, the next one's plan follows from them, and faults name their line."""
    code, out, _ = run("lots", plant, "sheet-100", "--size", 800, "--aql", "2,5")
    assert code == 0
    assert "No lot" in out
    assert "inspect 80" in out
    (plant / "lots").mkdir()
    path = plant / "lots" / "sheet-100.csv"
    path.write_text("lot,size,aql,found\nL1,800,2.5,6\nL2,800,2.5,7\nL3,800,2.5,3\n")
    code, out, _ = run("lots", plant, "sheet-100", "--size", 800)
    assert code == 0
    assert "tightened" in out
    assert "from memory" in out
    code, out, _ = run("lots", plant, "sheet-100", "--json")
    document = json.loads(out)
    assert (document["schema"], document["next"]["severity"]) == ("wideroll/lots/1", "tightened")
    path.write_text("lot,size,aql,found\nL1,800,2.5,6\nL1,800,2.5,7\n")
    code, _, err = run("lots", plant, "sheet-100")
    assert code == 3
    assert "line 3" in err
    path.write_text("lot,size,aql,found\nL1,800,2.5,99\n")
    code, _, err = run("lots", plant, "sheet-100")
    assert code == 3
    assert "lot L1" in err
    assert run("lots", plant, "nobody")[0] == 3


def test_a_good_rate_above_the_bad_one_is_a_wrong_call(run, plant):
    """The option is named, and the exit code is that of a command used wrongly."""
    code, _, err = run("settle", plant, "T-1", "--good", 5, "--bad", 2)
    assert code == 2
    assert "--good" in err
