"""The command properties, and a roll decided by them, from the terminal."""

import json
from pathlib import Path

import pytest

PROPERTIES = """
[[properties]]
name = "thickness"
unit = "µm"

[[properties]]
name = "friction"
unit = "ratio"
judged = "mean"
scatter = 0.02
"""
CRITERION = """
[[criteria]]
name = "Thickness"
measurand = "reading"
subject = "thickness"
aim = 130
limit = 5
good = 1
unit = "µm"
consequence = "hold"

[[criteria]]
name = "Places of thickness"
measurand = "evidence count"
subject = "thickness"
limit = 3
unit = "places"
consequence = "hold"
"""
GAUGES = """
[[gauges]]
name = "TG-1"
measures = ["thickness"]
unit = "um"
common_standard_uncertainty = 0.3
repeatability = 0.1
calibrations = [ { on = 2026-10-01, expires = 2026-12-31 } ]
"""
HEADER = "property;value;unit;along;across;instrument;on\n"
GOOD = "".join(
    f"thickness;{value};µm;{along};60 mm;TG-1;2026-11-20\n"
    for along, value in (("0,2 m", "130,2"), ("0,7 m", "129,8"), ("1,2 m", "130,1"), ("1,8 m", "130,4"))
)


@pytest.fixture
def measured(plant: Path):
    """The tiny plant, whose product is released on its thickness, with these values."""
    product = plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text(encoding="utf-8") + PROPERTIES + CRITERION, encoding="utf-8")
    (plant / "instruments.toml").write_text(GAUGES, encoding="utf-8")

    def write(rows: str) -> Path:
        (plant / "rolls" / "T-1" / "properties.csv").write_text(HEADER + rows, encoding="utf-8")
        return plant

    return write


def _finding(run, plant: Path, name: str = "Thickness") -> dict:
    document = json.loads(run("decide", plant, "T-1", "--json")[1], parse_constant=pytest.fail)
    return next(finding for finding in document["findings"] if finding["criterion"] == name)


def test_properties_are_shown_batch_by_batch(measured, run) -> None:
    """Property, batch, places, mean, interval, unit and calibration are in the table; all values are evidence."""
    code, out, _ = run("properties", measured(GOOD), "T-1")
    assert code == 0
    for word in ("thickness", "E-1", "130.12", "of a further place", "µm", "TG-1, calibrated", "2026-10-01"):
        assert word in out
    assert "no evidence" not in out


def test_properties_as_a_document(measured, run) -> None:
    """The same for machines, with each value as it was corrected; a known scatter has infinite degrees of freedom."""
    rows = f"{GOOD}friction;0,25;ratio;1 m;50 mm;TG-9;2026-11-20\n"
    code, out, _ = run("properties", measured(rows), "T-1", "--json")
    document = json.loads(out, parse_constant=pytest.fail)
    assert (code, document["schema"], document["roll"]) == (0, "wideroll/properties/1", "T-1")
    (thickness,) = document["properties"]
    assert (thickness["places"], thickness["mean"], thickness["unit"]) == (4, pytest.approx(130.125), "µm")
    assert thickness["known_scatter"] is None
    assert [value["usable"] for value in document["values"]] == [True] * 4 + [False]
    assert document["values"][-1]["why_unusable"] == "instrument TG-9 is none of the plant's gauges"


def test_values_that_are_no_evidence_are_shown_with_the_mend(measured, run) -> None:
    """An expired calibration is named with line, reason and mend."""
    code, out, _ = run("properties", measured(GOOD + GOOD.splitlines()[0].replace("2026-11-20", "2027-01-05")), "T-1")
    assert code == 0
    assert "Values that are no evidence" in out
    assert "expired" in out
    assert "Calibrate TG-1" in out


def test_a_roll_without_measurements_says_so(plant: Path, run) -> None:
    """Nothing was measured: a sentence, not an empty table; exit code 0."""
    code, out, _ = run("properties", plant, "T-1")
    assert code == 0
    assert "No property of this roll has a usable value." in out


def test_the_thickness_decides(measured, run) -> None:
    """Within its limits it is released, with probability and risks; well beyond them it is held, above the limit."""
    good = _finding(run, measured(GOOD))
    assert (good["verdict"], good["reason"]) == ("release", "within-limit")
    assert "lies within 130 ± 5 µm" in good["why"]
    assert good["conformance"] > 0.99
    assert 0.04 < good["consumer_risk"] <= 0.05
    assert 0.0 <= good["producer_risk"] < 0.05
    assert _finding(run, measured(GOOD), "Places of thickness")["found"] == 4
    thick = _finding(run, measured(GOOD.replace(";130,", ";140,").replace(";129,", ";139,")))
    assert (thick["verdict"], thick["reason"]) == ("hold", "above-limit")


def test_an_expired_gauge_voids_the_batch(measured, run) -> None:
    """Values measured after the calibration's last day hold the batch, however good they look."""
    plant = measured(GOOD.replace("2026-11-20", "2027-01-05"))
    finding = _finding(run, plant)
    assert (finding["verdict"], finding["reason"]) == ("hold", "evidence-void")
    assert "expired on 2026-12-31" in finding["why"]
    assert run("decide", plant, "T-1")[0] == 10


def test_one_place_is_not_enough(measured, run) -> None:
    """It tells nothing of how the thickness varies, and the finding says what would."""
    finding = _finding(run, measured(GOOD.splitlines()[0]))
    assert (finding["verdict"], finding["reason"], finding["found"]) == ("hold", "evidence-missing", None)
    assert "Measure a second place of the batch" in finding["why"]


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (GOOD.replace("µm", "N"), "line 2, column unit: must be of the same kind as µm"),
        (GOOD.replace("thickness", "thinness"), "column property: must be one of the product's properties"),
        (GOOD.replace("0,2 m", "3 m"), "column along: the place must lie on the roll"),
        (GOOD.replace("2026-11-20", "yesterday"), "column on: must be a day of the calendar"),
    ],
)
def test_a_fault_in_the_table_is_one_error(measured, run, rows: str, told: str) -> None:
    """Both commands end with exit code 3 and name file, line, column and rule, before the scan is read."""
    plant = measured(rows)
    for command in ("properties", "decide"):
        code, out, err = run(command, plant, "T-1")
        assert (code, out) == (3, "")
        assert "properties.csv" in err
        assert told in err


@pytest.mark.parametrize(
    ("right", "wrong", "told"),
    [
        ('subject = "thickness"', 'subject = "thicknes"', "'thickness'"),
        ('unit = "µm"\nconsequence', 'unit = "mm"\nconsequence', "must be one of 'µm', got 'mm'"),
        ("good = 1", "good = 6", "must be 0 or more and below the limit"),
        ('name = "friction"', 'name = "thickness"', "each name is given once"),
        ("scatter = 0.02", "scatter = 0", "greater than 0"),
        ('judged = "mean"', 'judged = "median"', "'each place' or 'mean'"),
    ],
)
def test_a_product_that_contradicts_itself_is_refused(measured, run, right: str, wrong: str, told: str) -> None:
    """A subject nobody measures, another unit than the property's, a good value beyond the limit: one error each."""
    plant = measured(GOOD)
    product = plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text(encoding="utf-8").replace(right, wrong), encoding="utf-8")
    code, out, err = run("properties", plant, "T-1")
    assert (code, out) == (3, "")
    assert "sheet-100.toml" in err
    assert told in err


def test_gauges_are_shown_among_the_instruments(measured, run) -> None:
    """What each measures, its correction and whether its calibration holds on a day, in table and document."""
    plant = measured(GOOD)
    code, out, _ = run("instruments", plant, "--on", "2026-11-20")
    assert code == 0
    assert "TG-1" in out
    assert "● holds" in out
    assert "No instrument has been calibrated" not in out
    late = json.loads(run("instruments", plant, "--on", "2027-01-05", "--json")[1], parse_constant=pytest.fail)
    (gauge,) = late["gauges"]
    assert (gauge["measures"], gauge["unit"]) == (["thickness"], "um")
    assert [made["state"] for made in gauge["calibrations"]] == ["expired"]
