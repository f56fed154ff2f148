"""What the probability of detection says about the classes of marks that criteria count."""

import math
from dataclasses import replace

import pytest

from wideroll.release import Consequence, Criterion, Measurand
from wideroll.roll import Polarity
from wideroll.scan import ScanSettings
from wideroll.scan.detection import DetectionClass, DetectionResult, DetectionTrial
from wideroll.scan.detection_fit import fit_detection
from wideroll.scan.detection_limits import detection_probability
from wideroll.workflow import assess_roll, detected_classes, telling_curves

SPOTS = Criterion(
    name="Spots",
    measurand=Measurand.MARKS_PER_M2,
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
