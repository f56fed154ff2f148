"""Visibility, the scale fitted to graded samples, and grades that don't go with what was measured."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.examination import (
    GradedSample,
    GradeFit,
    GradeScale,
    MarkShape,
    Viewing,
    Visibility,
    density_change,
    fit_grades,
    grade_probabilities,
    judge_grade,
    predict_visibility,
    shape_of,
    sighting_visibility,
    visibility_of,
    visual_density,
)
from wideroll.roll import MarkKind

LOUPE = Viewing(magnification=3.0)
BORDERS = np.array([-1.6, -1.2, -0.8])
GRADES = ("1", "2", "3", "4")


def _fit(sd=1e-3):
    return GradeFit(
        grades=GRADES, borders=BORDERS, scatter=0.08, covariance=np.eye(4) * sd**2, viewing=LOUPE, samples=40
    )


def _invented_scale(seed, *, count=40, scatter=0.08):
    """Samples whose grades were given by a known law, and every grade at least once."""
    random = np.random.default_rng(seed)
    while True:
        samples = []
        for _ in range(count):
            width, density = random.uniform(0.3, 2.0), 10.0 ** random.uniform(-2.3, -0.7)
            x = math.log10(predict_visibility(density, width, shape=MarkShape.STREAK, viewing=LOUPE))
            grade = _draw(random, x, scatter)
            samples.append(GradedSample(grade=GRADES[grade], shape=MarkShape.STREAK, density=density, width_mm=width))
        if {sample.grade for sample in samples} == set(GRADES):
            return GradeScale(grades=GRADES, samples=tuple(samples), viewing=LOUPE)


def _draw(random, x, scatter):
    """The grade a judgement gives: its visibility with logistic scatter, against the borders."""
    return int((x + random.logistic(0.0, scatter) > BORDERS).sum())


@given(
    density=st.floats(0.001, 1.5),
    factor=st.floats(1.1, 5.0),
    width=st.floats(0.02, 20.0),
    shape=st.sampled_from(MarkShape),
)
@settings(deadline=None, max_examples=40)
def test_visibility_goes_with_contrast_and_with_angle(density, factor, width, shape):
    """Proportional to the contrast, and a loupe does what coming nearer does."""
    one = predict_visibility(density, width, shape=shape, viewing=LOUPE)
    two = predict_visibility(density * factor, width, shape=shape, viewing=LOUPE)
    assert two / one == pytest.approx((1.0 - 10.0 ** (-density * factor)) / (1.0 - 10.0**-density))
    near = predict_visibility(density, width, shape=shape, viewing=Viewing(distance_mm=250.0 / 3.0))
    assert near == pytest.approx(one)


@pytest.mark.parametrize("shape", MarkShape)
def test_visibility_has_no_jump_in_width(shape):
    """From a hair to a hand's breadth, no small step of width makes a large one of visibility."""
    widths = np.geomspace(0.05, 50.0, 120)
    found = np.array([predict_visibility(0.1, w, shape=shape, viewing=Viewing()) for w in widths])
    assert (found > 0.0).all()
    assert np.abs(np.diff(np.log(found))).max() < 0.25


def test_a_wide_band_is_seen_by_its_edges():
    """Beyond some degrees width makes no difference."""
    wide, wider = (predict_visibility(0.1, w, shape=MarkShape.STREAK, viewing=Viewing()) for w in (15.0, 60.0))
    assert wide == pytest.approx(wider, rel=0.02)


@pytest.mark.parametrize(("width", "density"), [(0.0, 0.1), (math.nan, 0.1), (1.0, math.nan)])
def test_marks_without_size_or_density_are_refused(width, density):
    """The argument that can't be is named."""
    with pytest.raises(ArgumentError):
        predict_visibility(density, width, shape=MarkShape.SPOT, viewing=Viewing())
    with pytest.raises(ArgumentError):
        Viewing(magnification=0.0)


def test_borders_are_found_within_their_intervals():
    """Over 30 invented scales, 95 % intervals hold the true border in 90 % or more, and the scatter is met."""
    held, scatter = [], []
    for seed in range(30):
        fit = fit_grades(_invented_scale(seed))
        held.extend((fit.intervals[:, 0] <= BORDERS) & (fit.intervals[:, 1] >= BORDERS))
        scatter.append(fit.scatter)
    assert np.mean(held) >= 0.9
    assert np.median(scatter) == pytest.approx(0.08, rel=0.2)


def test_samples_in_perfect_order_still_give_finite_borders():
    """Where no two grades overlap, the borders lie between them and the scatter stays finite."""
    x = (0.01, 0.012, 0.03, 0.034, 0.09, 0.1)
    samples = tuple(
        GradedSample(grade=grade, shape=MarkShape.STREAK, density=density, width_mm=1.0)
        for grade, density in zip("112233", x, strict=True)
    )
    fit = fit_grades(GradeScale(grades=("1", "2", "3"), samples=samples, viewing=LOUPE))
    seen = [math.log10(predict_visibility(d, 1.0, shape=MarkShape.STREAK, viewing=LOUPE)) for d in x]
    assert seen[1] < fit.borders[0] < seen[2]
    assert seen[3] < fit.borders[1] < seen[4]
    assert 0.005 < fit.scatter < 0.2
    assert np.isfinite(fit.intervals).all()


def test_probabilities_agree_with_simulated_judgements():
    """Drawn judgements of a mark measured with uncertainty fall into the grades as predicted."""
    random = np.random.default_rng(1)
    seen = Visibility(log10=-1.25, standard_uncertainty=0.1)
    x = seen.log10 + 0.1 * random.standard_normal(20_000) + random.logistic(0.0, 0.08, 20_000)
    counted = np.bincount((x[:, None] > BORDERS).sum(axis=1), minlength=4) / 20_000
    assert list(grade_probabilities(_fit(), seen).values()) == pytest.approx(counted.tolist(), abs=0.012)


def test_right_grades_are_seldom_warned_of_and_wrong_ones_mostly():
    """Of grades given by the scale's own law fewer than 1 in 20 are warned of; two grades off nearly all."""
    random = np.random.default_rng(3)
    fit = fit_grades(_invented_scale(7))
    false = found = wrong = 0
    for _ in range(400):
        truth = random.uniform(-2.0, -0.4)
        measured = Visibility(log10=truth + 0.04 * random.standard_normal(), standard_uncertainty=0.04)
        grade = _draw(random, truth, 0.08)
        false += bool(judge_grade(fit, GRADES[grade], measured).warning)
        if abs(off := (grade + 2) % 4 - grade) == 2:
            wrong += 1
            found += bool(judge_grade(fit, GRADES[grade + off], measured).warning)
    assert false / 400 < 0.05
    assert found / wrong > 0.9


def test_a_grade_is_not_judged_without_a_measurement():
    """Nothing measured, nothing warned of; a grade off the scale is warned of all the same."""
    fit = _fit()
    assert judge_grade(fit, "2", None).warning == ""
    assert judge_grade(fit, "2", None).likeliest == ""
    assert "isn't on the product's scale 1, 2, 3, 4" in judge_grade(fit, "B", None).warning
    assert judge_grade(fit, "", Visibility(log10=-2.5, standard_uncertainty=0.05)).likeliest == "1"


def test_a_density_lost_in_its_uncertainty_predicts_widely():
    """A mark whose density can't be told from nothing isn't said to be invisible."""
    lost = visibility_of(0.001, 0.02, width=(1.0, 0.1), shape=MarkShape.STREAK, viewing=LOUPE)
    sure = visibility_of(0.2, 0.02, width=(1.0, 0.1), shape=MarkShape.STREAK, viewing=LOUPE)
    assert lost.standard_uncertainty > 0.4
    assert sure.standard_uncertainty < 0.1


def test_a_sighting_is_seen_under_its_own_loupe(sighting):
    """The magnification noted with the sighting counts, the scale's where none was; shape goes by kind."""
    change = density_change([0.1, 0.1, 0.1], 0.005)
    own, scales = (sighting(kind=MarkKind.STREAK, magnification=m) for m in (1.0, None))
    one, two = (sighting_visibility(s, change, LOUPE) for s in (own, scales))
    expected = [math.log10(predict_visibility(0.1, 0.5, shape=MarkShape.STREAK, viewing=v)) for v in (Viewing(), LOUPE)]
    assert [one.log10, two.log10] == pytest.approx(expected)
    assert shape_of(MarkKind.SCRATCH) is MarkShape.STREAK
    assert shape_of(MarkKind.BUBBLE) is MarkShape.SPOT


def test_visual_density_weighs_green_most():
    """Equal densities are that density; a change in green counts most, in blue least."""
    assert visual_density([0.2, 0.2, 0.2]) == pytest.approx(0.2)
    red, green, blue = (visual_density(0.1 * row) for row in np.eye(3))
    assert green > red > blue > 0.0


@pytest.mark.parametrize(
    ("grades", "given"),
    [
        (("1",), "111111"),
        (("1", "1"), "111111"),
        (("1", "2"), "111111"),
        (("1", "2"), "111333"),
        (("1", "2"), "112"),
        (("2", "1"), "111222"),
    ],
)
def test_a_scale_that_its_samples_dont_carry_is_refused(grades, given):
    """Too few grades or samples, grades without one, and scales that run the wrong way are named."""
    samples = tuple(
        GradedSample(grade=grade, shape=MarkShape.SPOT, density=0.01 * 2**number, width_mm=1.0)
        for number, grade in enumerate(given)
    )
    with pytest.raises(ArgumentError):
        fit_grades(GradeScale(grades=grades, samples=samples, viewing=LOUPE))
