"""The curve of detection: against another library, exact cases, and coins tossed from a known truth."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit, logit
from scipy.stats import norm

from wideroll.errors import ArgumentError
from wideroll.roll import Polarity
from wideroll.scan.detection import DetectionClass, FitMethod, Reach
from wideroll.scan.detection_fit import class_trials, compare_polarities, fit_detection
from wideroll.scan.detection_limits import contrast_detected, detection_probability, detection_table, size_detected
from wideroll.scan.detection_logistic import Trials, is_separated, maximise

SIZES = (0.1, 0.2, 0.4, 0.8)
CONTRASTS = (0.05, 0.1, 0.2, 0.4)
TRUE = (9.0, 2.5, 2.5)


def _toss(seed, injected=12, true=TRUE, polarity=Polarity.DARK):
    """Classes whose hits are drawn from a true curve."""
    random = np.random.Generator(np.random.PCG64(seed))
    classes = []
    for size, contrast in product(SIZES, CONTRASTS):
        p = expit(true[0] + true[1] * math.log(size) + true[2] * math.log(contrast))
        hits = int(random.binomial(injected, p))
        classes.append(DetectionClass(size_mm=size, contrast=contrast, polarity=polarity, injected=injected, hits=hits))
    return classes


def _classes(hits, injected=10):
    """Classes by (size, contrast) with their hits."""
    return [
        DetectionClass(size_mm=s, contrast=c, polarity=Polarity.DARK, injected=injected, hits=n)
        for (s, c), n in hits.items()
    ]


def _reference(trials, columns=slice(None), offset=None):
    counts = np.column_stack([trials.hits, trials.number - trials.hits])
    model = sm.GLM(counts, trials.design[:, columns], family=sm.families.Binomial(), offset=offset)
    return model.fit(tol=1e-13, maxiter=200, tol_criterion="params")


@pytest.mark.parametrize("bent", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_another_library_agrees(seed, bent) -> None:
    """Coefficients, covariance and deviance agree with statsmodels' to eight digits."""
    curve = fit_detection(_toss(seed), bent=bent)
    trials = class_trials(curve.tested, curve.bends_mm)
    other = _reference(trials)
    assert curve.method is FitMethod.LIKELIHOOD
    assert len(curve.coefficients) == (6 if bent else 3)
    assert curve.coefficients == pytest.approx(other.params, rel=1e-8)
    scale = np.sqrt(np.outer(np.diag(curve.covariance), np.diag(curve.covariance)))
    assert np.array(curve.covariance) / scale == pytest.approx(np.array(other.cov_params()) / scale, abs=1e-8)
    assert curve.deviance == pytest.approx(other.deviance, rel=1e-8)


def test_limits_lie_where_the_profile_says() -> None:
    """At each limit, another library's fit with the logit held there loses half the squared normal quantile."""
    curve = fit_detection(_toss(3), bent=False)
    size, contrast = 0.3, 0.15
    trials = class_trials(curve.tested, at=(size, contrast))
    free = _reference(trials).llf
    found = detection_probability(curve, size, contrast, 0.9)
    for limit in (found.low, found.high):
        held = _reference(trials, slice(1, None), np.full(len(trials.hits), logit(limit)))
        assert 2.0 * (free - held.llf) == pytest.approx(norm.ppf(0.95) ** 2, rel=1e-4)
    a90 = size_detected(curve, contrast)
    trials = class_trials(curve.tested, at=(a90.bound, contrast))
    held = _reference(trials, slice(1, None), np.full(len(trials.hits), logit(0.9)))
    assert 2.0 * (free - held.llf) == pytest.approx(norm.ppf(0.95) ** 2, rel=1e-4)
    assert a90.bound > a90.value


def test_a_threshold_is_read_back_off_the_curve() -> None:
    """At a50 and a90 the curve gives 0.5 and 0.9, by size and by contrast, and 0.9 bounds it from below at a90/95."""
    curve = fit_detection(_toss(5, injected=40))
    for share in (0.5, 0.9):
        size = size_detected(curve, 0.15, share)
        assert size.reach is Reach.INSIDE
        assert detection_probability(curve, size.value, 0.15).value == pytest.approx(share, abs=1e-6)
        assert detection_probability(curve, size.bound, 0.15, 0.9).low == pytest.approx(share, abs=1e-6)
        contrast = contrast_detected(curve, 0.3, share)
        assert detection_probability(curve, 0.3, contrast.value).value == pytest.approx(share, abs=1e-6)
        assert detection_probability(curve, 0.3, contrast.bound, 0.9).low == pytest.approx(share, abs=1e-6)


def test_the_bound_keeps_its_confidence() -> None:
    """In 400 trials drawn from a known curve, a90/95 lies above the true a90 in 95 %, within three standard errors."""
    contrast = 0.2
    truth = math.exp((logit(0.9) - TRUE[0] - TRUE[2] * math.log(contrast)) / TRUE[1])
    above = 0
    for seed in range(400):
        bound = size_detected(_quick(_toss(seed, injected=10)), contrast)
        above += bound.bound > truth or bound.bound_reach is Reach.ABOVE
    assert abs(above / 400 - 0.95) < 3.0 * math.sqrt(0.95 * 0.05 / 400)


def test_the_interval_keeps_its_confidence() -> None:
    """In 300 trials, the 95 % interval of a probability holds the true one in 95 %, within three standard errors."""
    truth = expit(TRUE[0] + TRUE[1] * math.log(0.4) + TRUE[2] * math.log(0.15))
    held = 0
    for seed in range(300):
        found = detection_probability(_quick(_toss(1000 + seed, injected=10)), 0.4, 0.15)
        held += found.low <= truth <= found.high
    assert abs(held / 300 - 0.95) < 3.0 * math.sqrt(0.95 * 0.05 / 300)


@pytest.fixture(scope="module")
def _template():
    return fit_detection(_toss(0, injected=10), bent=False)


@pytest.fixture(autouse=True)
def _share_template(_template):
    """Trials by the hundred take what is costly and not looked at, the quality of the fit, from one curve."""
    _quick.template = _template


def _quick(classes):
    trials = class_trials(classes)
    fit = maximise(trials, penalised=is_separated(trials))
    return replace(
        _quick.template,
        coefficients=tuple(fit.coefficients.tolist()),
        covariance=tuple(tuple(row) for row in np.linalg.inv(fit.information).tolist()),
        log_likelihood=fit.log_likelihood,
        tested=tuple(classes),
    )


def test_penalised_odds_of_two_groups_gain_half_a_mark() -> None:
    """With one coefficient for each group, Firth's estimate is the odds with half a hit and half a miss added."""
    design = np.array([[1.0, 0.0], [1.0, 1.0]])
    fit = maximise(Trials(design=design, number=np.array([7.0, 9.0]), hits=np.array([0.0, 9.0])), penalised=True)
    assert fit.coefficients[0] == pytest.approx(math.log(0.5 / 7.5), abs=1e-9)
    assert fit.coefficients.sum() == pytest.approx(math.log(9.5 / 0.5), abs=1e-9)


def test_separated_hits_are_fitted_by_firth_and_say_so() -> None:
    """Where all faint marks were missed and all strong ones found, the method is named and the slopes are finite."""
    hits = {(s, c): 10 if s * c >= 0.04 else 0 for s in SIZES for c in CONTRASTS}
    curve = fit_detection(_classes(hits))
    assert curve.method is FitMethod.FIRTH
    assert all(math.isfinite(b) for b in curve.coefficients)
    a90 = size_detected(curve, 0.2)
    # At this contrast 0.1 mm was never found and 0.2 mm always.
    assert 0.1 < a90.value < a90.bound < 0.25
    assert math.isnan(compare_polarities(curve, curve, curve))


@pytest.mark.parametrize(("share", "reach"), [(0, Reach.ABOVE), (10, Reach.AT_MOST)])
def test_all_or_none_found_gives_no_invented_size(share, reach) -> None:
    """When everything or nothing was found the answer is a tested limit with its sign, never a size in between."""
    curve = fit_detection(_classes({(s, c): share for s in SIZES for c in CONTRASTS}))
    a90 = size_detected(curve, 0.1)
    assert (a90.reach, a90.value) == (reach, SIZES[-1] if share == 0 else SIZES[0])
    assert curve.method is FitMethod.FIRTH


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3), st.integers(0, 2)), min_size=3, max_size=8))
def test_separation_is_told_by_every_line(groups) -> None:
    """The linear programme agrees with trying lines in every direction through the groups."""
    xy = np.array([group[:2] for group in groups], np.float64)
    hits = np.array([group[2] for group in groups], np.float64)
    trials = Trials(design=np.column_stack([np.ones(len(xy)), xy]), number=np.full(len(xy), 2.0), hits=hits)
    assert is_separated(trials) == _some_line_separates(xy, hits)


def _some_line_separates(xy, hits):
    """Slow and obvious: every direction that two points give, its normal, and a hair to either side of both."""
    differences = (xy[:, None] - xy[None]).reshape(-1, 2)
    angles = np.arctan2(differences[:, 1], differences[:, 0])
    angles = np.unique(np.concatenate([angles + turn for turn in (0, 1e-6, -1e-6, np.pi / 2, np.pi)]))
    angles = np.concatenate([angles, angles + np.pi / 2])
    for angle in angles:
        height = np.round(xy @ [math.cos(angle), math.sin(angle)], 9)
        for cut in [*height, -9.0, 9.0]:
            sides = np.sign(np.round(height - cut, 9))
            right = np.all(sides[hits > 0] >= 0) and np.all(sides[hits < 2] <= 0)
            if right and np.any(sides != 0):
                return True
    return False


def test_a_curve_that_bends_is_let_bend() -> None:
    """Where small marks are found far worse than a straight line tells, the line is refused, bends, and then fits."""
    random = np.random.Generator(np.random.PCG64(4))
    hits = {}
    for size, contrast in product(SIZES, CONTRASTS):
        p = expit(6.0 + 3.0 * math.log(contrast) + 4.0 * math.log(min(size, 0.2) / 0.1) - 0.5)
        hits[size, contrast] = int(random.binomial(60, p))
    straight = fit_detection(_classes(hits, 60), bent=False)
    bent = fit_detection(_classes(hits, 60))
    assert not straight.fits
    assert (straight.bends_mm, bent.bends_mm) == ((), (0.2, 0.4))
    assert bent.fits
    assert bent.deviance < straight.deviance


def test_a_true_straight_line_is_seldom_refused() -> None:
    """Of 40 trials drawn from a straight line, the test of fit refuses about the 5 % that it says."""
    refused = sum(not fit_detection(_toss(seed), bent=False).fits for seed in range(40))
    assert refused <= 6


def test_outside_of_what_was_tested_is_flagged() -> None:
    """Smaller or fainter marks have no lower limit but 0; larger or stronger ones are held at the nearest tested."""
    curve = fit_detection(_toss(2))
    small = detection_probability(curve, 0.05, 0.2)
    assert (small.tested, small.low, small.why) == (False, 0.0, "smaller than any tested")
    assert math.isnan(small.value)
    assert small.high == detection_probability(curve, 0.1, 0.2).high
    large = detection_probability(curve, 3.0, 0.9)
    corner = detection_probability(curve, 0.8, 0.4)
    assert (large.tested, large.high, large.why) == (False, 1.0, "larger and stronger than any tested")
    assert (large.value, large.low) == (corner.value, corner.low)
    assert corner.tested
    assert size_detected(curve, 0.6).reach is Reach.UNTESTED
    assert math.isnan(contrast_detected(curve, 0.01).bound)


def test_polarities_are_compared() -> None:
    """Curves alike have no small probability; where bright marks are found far less, it is tiny."""
    dark = _toss(1)
    for bright, low, high in (
        (_toss(2, polarity=Polarity.BRIGHT), 0.01, 1.0),
        (_toss(2, true=(6.0, 2.5, 2.5), polarity=Polarity.BRIGHT), 0.0, 1e-6),
    ):
        tested = [*dark, *bright]
        curves = [fit_detection(tested, polarity=p, bent=False) for p in (Polarity.DARK, Polarity.BRIGHT, None)]
        assert [curve.injected for curve in curves] == [192, 192, 384]
        assert low <= compare_polarities(*curves) <= high


def test_the_table_holds_every_class() -> None:
    """The table has a row for each class with its hits, and one for each contrast, faintest first."""
    curve = fit_detection(_toss(1))
    table = detection_table(curve)
    assert [(cell.size_mm, cell.contrast, cell.hits) for cell in table.cells] == [
        (one.size_mm, one.contrast, one.hits) for one in curve.tested
    ]
    assert [row.contrast for row in table.sizes] == list(CONTRASTS)
    assert all(row.a50.value <= row.a90.value <= row.a90.bound for row in table.sizes)
    assert table.sizes[2].a90 == size_detected(curve, 0.2)


def test_slopes_of_chance_are_told_from_real_ones() -> None:
    """Where size and contrast matter their likelihood ratio is tiny; where hits are even, it says nothing."""
    even = fit_detection(_classes({(s, c): 5 for s in SIZES for c in CONTRASTS}))
    assert even.slopes_p == pytest.approx(1.0)
    assert fit_detection(_toss(1)).slopes_p < 1e-10


def test_too_few_sizes_are_refused() -> None:
    """One size, or nothing at all, gives no slope in size, and the error says what to do."""
    for tested in ([], _classes({(0.2, 0.1): 3, (0.2, 0.2): 5, (0.2, 0.4): 9})):
        with pytest.raises(ArgumentError, match="several sizes and several contrasts"):
            fit_detection(tested)
    with pytest.raises(ArgumentError, match="hits at most the marks laid"):
        fit_detection(_classes({(0.2, 0.1): 30, (0.4, 0.2): 5, (0.2, 0.4): 9}))


@pytest.mark.parametrize(("size", "contrast", "confidence"), [(0.0, 0.1, 0.9), (0.1, math.nan, 0.9), (0.1, 0.1, 1.0)])
def test_impossible_questions_are_refused(size, contrast, confidence) -> None:
    """A size or contrast that isn't above 0, or a confidence of 1, is refused."""
    curve = fit_detection(_toss(1))
    with pytest.raises(ArgumentError, match=r"above 0|between 0 and 1"):
        detection_probability(curve, size, contrast, confidence)
