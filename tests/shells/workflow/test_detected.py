"""What the probability of detection says about the classes of marks that criteria count."""

import math
from dataclasses import replace

import polars as pl
import pytest

from wideroll.release import Consequence, Criterion, Measurand
from wideroll.roll import MARKS_SCHEMA, Polarity
from wideroll.scan import ScanSettings
from wideroll.scan.detection import DetectionClass, DetectionResult, DetectionTrial
from wideroll.scan.detection_fit import fit_detection
from wideroll.scan.detection_limits import detection_probability
from wideroll.workflow import assess_roll, detected_classes, telling_curves
from wideroll.workflow.detected import detected_shares

SPOTS = Criterion(
    name="Spots",
    measurand=Measurand.MARK_RATE,
    limit=3.0,
    unit="per m²",
    consequence=Consequence.REJECT,
    least_size_mm=0.4,
)


def _tested(polarity: Polarity, worse: int = 0) -> list[DetectionClass]:
    hits = {(0.2, 0.05): 1, (0.2, 0.3): 14, (0.8, 0.05): 13, (0.8, 0.3): 20}
    return [
        DetectionClass(size_mm=s, contrast=c, polarity=polarity, injected=20, hits=max(n - worse, 0))
        for (s, c), n in hits.items()
    ]


@pytest.fixture
def detection() -> DetectionResult:
    """A trial in which dark and bright marks were found alike."""
    tested = tuple(_tested(Polarity.DARK) + _tested(Polarity.BRIGHT))
    return DetectionResult(
        curves=tuple(fit_detection(tested, polarity=one) for one in (Polarity.DARK, Polarity.BRIGHT, None)),
        tested=tested,
        polarity_p=1.0,
        why="",
        stretches=((0, 100), (200, 300)),
        strays=0,
        no_room=0,
        left_out=0,
        noise=0.02,
        pitch_mm=(0.1, 0.1),
        trial=DetectionTrial(),
        settings=ScanSettings(),
    )


def test_each_class_is_answered_at_its_smallest_size(detection) -> None:
    """A criterion that counts marks from a size on has the probability of that size, with interval and source."""
    found = detected_classes((SPOTS,), detection)
    assert [(one.criterion, one.size_mm, one.contrast, one.polarity) for one in found] == [
        ("Spots", 0.4, contrast, None) for contrast in (0.05, 0.1, 0.2)
    ]
    assert found[2].probability == detection_probability(detection.curve(), 0.4, 0.2)
    assert found[2].source == "160 marks laid on 2 stretches of this scan and searched for"
    assert all(one.fits for one in found)


def test_other_criteria_have_no_class(detection) -> None:
    """A criterion of all sizes, or of flaws, says nothing about a size; without a trial nothing is said."""
    others = (replace(SPOTS, least_size_mm=0.0), replace(SPOTS, measurand=Measurand.FLAW, kinds=("streak",)))
    assert detected_classes(others, detection) == ()
    assert detected_classes((SPOTS,), None) == ()
    assert telling_curves(None) == ()


def test_where_polarities_differ_the_less_likely_counts(detection) -> None:
    """When dark and bright marks aren't found alike, the class has the one that is found less."""
    tested = tuple(_tested(Polarity.DARK) + _tested(Polarity.BRIGHT, worse=5))
    curves = tuple(fit_detection(tested, polarity=one) for one in (Polarity.DARK, Polarity.BRIGHT, None))
    apart = replace(detection, curves=curves, tested=tested, polarity_p=0.001)
    assert [curve.polarity for curve in telling_curves(apart)] == [Polarity.DARK, Polarity.BRIGHT]
    assert {one.polarity for one in detected_classes((SPOTS,), apart)} == {Polarity.BRIGHT}


def test_what_was_not_tested_is_said(detection) -> None:
    """A class smaller than any tested has only an upper limit."""
    (found, *_) = detected_classes((replace(SPOTS, least_size_mm=0.1),), detection)
    assert math.isnan(found.probability.value)
    assert (found.probability.tested, found.probability.why) == (False, "smaller than any tested")


def test_the_assessment_has_it(desk, files, product, results, detection) -> None:
    """A trial that is kept with the scan is evidence beside the decision, and changes no verdict."""
    files.the_product = replace(product, criteria=(*product.criteria, replace(SPOTS, limit=1e6)))
    plain = assess_roll(desk(files))
    results.save_detection(detection, "scan-1")
    measured = assess_roll(desk(files))
    assert plain.detected == ()
    assert [one.criterion for one in measured.detected] == ["Spots"] * 3
    assert measured.decision.verdict is plain.decision.verdict


def test_a_trial_is_made_once(desk, files, results, detection) -> None:
    """One that is kept is taken; a roll without a scan has none."""
    results.save_detection(detection, "scan-1")
    assert desk(files).measure_detection() is detection
    files.the_raster = None
    assert desk(files, scan="scan-2").measure_detection() is None


FAINT = replace(SPOTS, least_contrast=0.1)


def _marks(contrast: float, n: int) -> pl.DataFrame:
    row = dict.fromkeys(MARKS_SCHEMA, 0.0) | {"id": "m", "source": "s", "rule": "r", "polarity": "dark", "kind": "spot"}
    row |= {"length_mm": 0.8, "width_mm": 0.8, "area_mm2": math.pi * 0.4**2, "contrast": contrast}
    return pl.DataFrame([row] * n, schema=MARKS_SCHEMA)


def test_a_count_is_corrected_by_what_its_own_marks_are_found_with(detection) -> None:
    """Strong marks are found surely, so few are missed; what was missed may be as faint as the least that counts."""
    least = detection_probability(detection.curve(), 0.4, 0.1)
    share = detected_shares((FAINT,), detection, _marks(0.3, 5), source="scan")["Spots", "scan"]
    assert share.value == pytest.approx(detection_probability(detection.curve(), 0.8, 0.3).value)
    assert (share.low, share.high) == (least.low, 1.0)


def test_where_nothing_was_found_the_least_that_counts_is_taken(detection) -> None:
    """Without a mark nothing says that those there are stronger than the least."""
    least = detection_probability(detection.curve(), 0.4, 0.1)
    share = detected_shares((FAINT,), detection, _marks(0.3, 0), source="scan")["Spots", "scan"]
    assert (share.value, share.low) == (least.value, least.low)


def test_a_mark_measured_fainter_than_the_least_is_taken_for_the_least(detection) -> None:
    """It counts, and stands for as many as one of the least contrast does."""
    share = detected_shares((FAINT,), detection, _marks(0.05, 5), source="scan")["Spots", "scan"]
    assert share.value == pytest.approx(detection_probability(detection.curve(), 0.8, 0.1).value)


def test_a_long_narrow_mark_is_found_like_a_round_one_of_its_area(detection) -> None:
    """0.8 mm long with the area of 0.3 mm: it counts by its length, and is found by its area."""
    narrow = _marks(0.1, 4).with_columns(area_mm2=pl.lit(math.pi * 0.15**2))
    share = detected_shares((FAINT,), detection, narrow, source="scan")["Spots", "scan"]
    assert share.value == pytest.approx(detection_probability(detection.curve(), 0.3, 0.1).value)
    assert share.low <= share.value


def test_mixed_marks_weigh_by_what_they_stand_for(detection) -> None:
    """The share is n over the sum of 1/p [Horvitz and Thompson 1952]: a faint mark stands for several."""
    marks = pl.concat([_marks(0.3, 3), _marks(0.1, 1)])
    strong, faint = (detection_probability(detection.curve(), 0.8, c).value for c in (0.3, 0.1))
    share = detected_shares((FAINT,), detection, marks, source="scan")["Spots", "scan"]
    assert share.value == pytest.approx(4.0 / (3.0 / strong + 1.0 / faint))


def test_an_unmeasured_probability_is_not_known(detection) -> None:
    """Without a measurement, a least size, or a class within what was tested, it says why."""
    for criterion, measured, why in (
        (FAINT, None, "not measured"),
        (replace(FAINT, least_size_mm=0.0), detection, "no least size"),
        (replace(FAINT, least_size_mm=0.05), detection, "smaller than any tested"),
    ):
        share = detected_shares((criterion,), measured, _marks(0.3, 1), source="scan")["Spots", "scan"]
        assert math.isnan(share.value)
        assert why in share.why
    assert detected_shares((SPOTS,), detection, _marks(0.3, 1), source="scan") == {}
