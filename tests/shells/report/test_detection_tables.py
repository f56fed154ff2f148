"""The probability of detection as a person reads it."""

import math
from dataclasses import replace

import pytest

from wideroll.report import detected_words, detection_tables, detection_words
from wideroll.report.detection_grids import detected_grid, detection_grid, thresholds_grid
from wideroll.report.machine import detection_json
from wideroll.roll import Polarity
from wideroll.scan import ScanSettings
from wideroll.scan.detection import (
    DetectionClass,
    DetectionProbability,
    DetectionResult,
    DetectionTrial,
)
from wideroll.scan.detection_fit import fit_detection
from wideroll.workflow import ClassDetected

TESTED = tuple(
    DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=20, hits=n)
    for (s, c), n in {(0.2, 0.05): 0, (0.2, 0.3): 14, (0.8, 0.05): 13, (0.8, 0.3): 20}.items()
)
CURVE = fit_detection(TESTED)


def _class(*, value: float, low: float, high: float, why: str = "", fits: bool = True) -> ClassDetected:
    return ClassDetected(
        criterion="Spots",
        size_mm=0.5,
        contrast=0.2,
        polarity=None,
        probability=DetectionProbability(value=value, low=low, high=high, confidence=0.95, tested=not why, why=why),
        fits=fits,
        source="80 marks laid",
    )


def test_each_class_has_its_probability_and_interval() -> None:
    """Contrasts run down, sizes across; no cell claims nothing or all, and what stands behind the curve is said."""
    grid = detection_grid(CURVE)
    assert [column.head for column in grid.columns] == ["contrast", "0.20", "0.80"]
    assert [row[0].text for row in grid.rows] == ["0.050", "0.300"]
    assert (grid.rows[0][1].text, grid.rows[1][2].text) == ("2", "99")
    assert grid.rows[1][1].note.count("–") == 1
    assert grid.foot == (f"47 of 80 marks found; {CURVE.method.value}.",)
    sure = detection_grid(fit_detection([replace(one, injected=400, hits=20 * one.hits) for one in TESTED]))
    assert sure.rows[1][2].note.endswith("–>99")


def test_a_class_that_was_not_laid_is_not_tested() -> None:
    """A combination of size and contrast that had no marks says so."""
    grid = detection_grid(fit_detection((*TESTED[:3], *(t for t in TESTED if t.size_mm == 0.2))))
    assert grid.rows[1][2].text == "not tested"


def test_a_curve_that_does_not_describe_the_hits_says_so() -> None:
    """Hits that rise and fall with contrast aren't described by any such curve, and the table says what to go by."""
    odd = [
        DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=50, hits=n)
        for s in (0.2, 0.4)
        for c, n in ((0.05, 5), (0.1, 45), (0.2, 5), (0.4, 45))
    ]
    assert "does not describe" in " ".join(detection_grid(fit_detection(odd)).foot)


def test_sizes_have_the_sign_of_their_reach() -> None:
    """a50, a90 and a90/95 stand for each contrast; beyond what was tested they are a limit with its sign."""
    grid = thresholds_grid(CURVE)
    assert grid.rows[0][0].text == "0.050"
    assert grid.rows[0][2].text == "> 0.80"
    assert len(detection_tables(CURVE)) == 2


@pytest.mark.parametrize(
    ("found", "says"),
    [
        ({"value": 0.93, "low": 0.9, "high": 0.95}, "found with probability 0.93 (0.90 to 0.95)"),
        ({"value": 0.0001, "low": 0.0, "high": 0.004}, "found with probability under 0.01 (under 0.01 to under 0.01)"),
        (
            {"value": math.nan, "low": 0.0, "high": 0.4, "why": "fainter than any tested"},
            "found with probability at most 0.40; fainter than any tested",
        ),
        (
            {"value": 0.99, "low": 0.97, "high": 1.0, "why": "larger than any tested"},
            "found with probability at least 0.97; larger than any tested",
        ),
        (
            {"value": 0.5, "low": 0.4, "high": 0.6, "fits": False},
            "0.50 (0.40 to 0.60); the curve doesn't describe the marks that were laid",
        ),
    ],
)
def test_a_class_in_words(found: dict[str, object], says: str) -> None:
    """The sentence has the probability with its interval, or only the limit that is known, with why."""
    words = detected_words(_class(**found))
    assert words.startswith("a mark of 0.5 mm at contrast 0.2 is found")
    assert words.endswith(says)


def test_classes_have_their_source() -> None:
    """The sheet's table names what it rests on; without a measurement it says how to get one."""
    assert "80 marks laid" in detected_grid([_class(value=0.93, low=0.9, high=0.95)]).caption
    assert "--pod" in detected_grid([]).empty


def test_a_trial_in_words_and_for_machines() -> None:
    """What was laid, and what could not be, is said; the document has each curve with its table."""
    detection = DetectionResult(
        curves=(CURVE,),
        tested=TESTED,
        polarity_p=math.nan,
        why="bright marks: must be two or more sizes, got 1",
        stretches=((0, 100), (200, 300)),
        strays=1,
        no_room=3,
        left_out=0,
        noise=0.02,
        pitch_mm=(0.1, 0.1),
        trial=DetectionTrial(),
        settings=ScanSettings(),
    )
    assert detection_words(detection) == (
        "80 marks were laid on 200 lines in 2 stretches of this raster, which was then scanned with the same settings.",
        "1 mark was found where none was laid.",
        "3 marks were not laid, for want of a free place.",
        "No curve for bright marks: must be two or more sizes, got 1.",
    )
    document = detection_json(detection)
    assert (document["injected"], document["polarity_p"]) == (80, None)
    assert len(document["curves"][0]["table"]["cells"]) == 4
