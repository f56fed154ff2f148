"""Properties as a person reads them: limits on either side, enough decimals, and why a batch says nothing."""

import json
import math
from dataclasses import replace

import pytest

from wideroll.release import Bound, Consequence, Criterion, Measurand
from wideroll.report.decision_grids import decision_grid, limit_text
from wideroll.report.property_grids import no_evidence_grid, properties_grid, properties_json
from wideroll.roll import Extent, Place
from wideroll.workflow import Batch, Judged, Measurement, PropertySpec, gather_properties

WHOLE = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
BATCH = (Batch(name="E-1", along_from_m=0.0, along_to_m=40.0), WHOLE)


def _reading(**given) -> Criterion:
    parts = {"name": "one", "measurand": Measurand.READING, "consequence": Consequence.HOLD, "subject": "pitch"}
    return Criterion(**(parts | {"limit": 5.0, "unit": "mm"} | given))


def _at(along: float, value: float, **given) -> Measurement:
    parts = {"subject": "pitch", "own_uncertainty": 0.0001, "instrument": "P-1", "on": "2026-11-20"}
    return Measurement(place=Place(along_m=along, across_mm=5.0), value=value, **(parts | given))


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, "within ± 5 mm"),
        ({"aim": 130.0}, "130 ± 5 mm"),
        ({"aim": -2.5, "limit": 0.5}, "−2.5 ± 0.5 mm"),
        ({"aim": 4.7625, "limit": 0.0127}, "4.7625 ± 0.0127 mm"),
        ({"bound": Bound.MOST, "limit": 0.3, "unit": "ratio"}, "at most 0.3 ratio"),
        ({"bound": Bound.LEAST, "limit": 2.0, "unit": "N"}, "at least 2 N"),
    ],
)
def test_a_limit_says_on_which_side_it_lies(given, told):
    """About an aim, about nothing, or on one side only."""
    assert limit_text(_reading(**given)) == told


def test_a_value_near_its_aim_shows_how_near(assessment):
    """Beside 4.7625 ± 0.0127 mm a value has as many decimals as its tolerance needs."""
    criterion = _reading(aim=4.7625, limit=0.0127)
    plain = next(f for f in assessment.decision.findings if f.criterion == "Speed, red")
    finding = replace(plain, criterion="one", limit=0.0127, found=4.7631, low=4.7619, high=4.7643, margin=0.0121)
    finding = replace(finding, unit="mm")
    (row,) = decision_grid(replace(assessment.decision, findings=(finding,), criteria=(criterion,))).rows
    assert [cell.text for cell in row[1:5]] == ["4.7625 ± 0.0127 mm", "4.763", "4.762 to 4.764", "+0.012"]


def test_a_row_shows_two_figures_of_its_uncertainty():
    """Mean and interval are told as finely as they are known, and what the interval is of."""
    spec = PropertySpec(name="pitch", unit="mm")
    values = [_at(float(n), value) for n, value in enumerate((4.7618, 4.7631, 4.7644))]
    (row,) = properties_grid(gather_properties(values, [spec], [BATCH]).summaries).rows
    assert [cell.text for cell in row[:5]] == ["pitch", "E-1", "3", "4.7631", "0.0013"]
    assert row[5].note == "of a further place"
    mean = replace(spec, judged=Judged.MEAN)
    (row,) = properties_grid(gather_properties(values, [mean], [BATCH]).summaries).rows
    assert row[5].note == "of the mean"


def test_one_place_shows_its_value_and_why_it_says_nothing():
    """The value as it is, no interval, the reason and the mend."""
    spec = PropertySpec(name="pitch", unit="mm")
    evidence = gather_properties([_at(1.0, 4.763)], [spec], [BATCH])
    (row,) = properties_grid(evidence.summaries).rows
    assert [row[3].text, row[4].text, row[5].text, row[5].note] == ["4.763", "–", "–", ""]
    assert row[-1].note.startswith("one place tells nothing of how it varies. Measure a second place")
    document = properties_json("W-1", evidence, [])
    assert json.loads(json.dumps(document, allow_nan=False))["properties"][0]["low"] is None


def test_values_that_are_no_evidence_have_a_row_each():
    """Line, property, place, reason and mend; usable ones aren't listed."""
    void = _at(3.0, 4.7, line=7, why_unusable="gauge P-1 had expired", mend="Calibrate P-1.", sample="H-1")
    (row,) = no_evidence_grid([_at(1.0, 4.7), void]).rows
    assert [cell.text for cell in row] == ["7", "pitch", "3.00 m, 5 mm", "gauge P-1 had expired", "Calibrate P-1."]
    assert row[1].note == "H-1"
    assert math.isnan(PropertySpec(name="pitch", unit="mm").scatter)
