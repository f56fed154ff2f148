"""Gauge studies part what the gauge does from what is measured, and say how well they know it."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from wideroll.control import gauge_by_anova, gauge_by_ranges
from wideroll.errors import ArgumentError


def _readings(table):
    return {f"o{o}": {f"p{p}": trials.tolist() for p, trials in enumerate(row)} for o, row in enumerate(table)}


def _table(operators=3, parts=10, trials=3, seed=1, sigmas=(0.5, 2.0, 0.4, 1.0)):
    """Readings with standard deviations from operators, parts, both together, and repeats."""
    generator = np.random.Generator(np.random.PCG64(seed))
    shapes = ((operators, 1, 1), (1, parts, 1), (operators, parts, 1), (operators, parts, trials))
    return sum(sigma * generator.normal(size=shape) for sigma, shape in zip(sigmas, shapes, strict=True))


def test_the_analysis_is_that_of_statsmodels():
    """Sums of squares and degrees of freedom are those of an independent two-way analysis."""
    table = _table(4, 6, 2)
    rows = [{"o": str(o), "p": str(p), "x": x} for (o, p, _), x in np.ndenumerate(table)]
    oracle = anova_lm(ols("x ~ C(o) * C(p)", pd.DataFrame(rows)).fit())
    lines = gauge_by_anova(_readings(table)).table[:4]
    assert [line.sum_of_squares for line in lines] == pytest.approx(oracle["sum_sq"].tolist())
    assert [line.freedom for line in lines] == oracle["df"].tolist()
    assert lines[2].p_value == pytest.approx(oracle["PR(>F)"].iloc[2])


def test_both_methods_find_what_was_put_in():
    """With many operators and parts, both find the standard deviations that made the readings."""
    table = _table(40, 40, 3, seed=2, sigmas=(0.5, 2.0, 0.0, 1.0))
    for study in (gauge_by_anova(_readings(table)), gauge_by_ranges(_readings(table))):
        assert study.repeatability.sigma == pytest.approx(1.0, rel=0.05)
        assert study.reproducibility.sigma == pytest.approx(0.5, rel=0.25)
        assert study.part.sigma == pytest.approx(2.0, rel=0.3)


def test_the_interval_of_the_gauge_holds_it_as_often_as_it_says():
    """Of 400 studies about 90 % of the intervals hold the gauge's true standard deviation."""
    truth = (0.25 + 0.16 + 1.0) ** 0.5
    held = 0
    for seed in range(400):
        study = gauge_by_anova(_readings(_table(seed=seed)), confidence=0.9)
        held += study.gauge_low <= truth <= study.gauge_high
    assert held / 400 == pytest.approx(0.9, abs=0.04)


@given(seed=st.integers(0, 10_000), shift=st.floats(-50, 50), scale=st.floats(0.01, 100))
def test_shares_and_categories_have_no_unit(seed, shift, scale):
    """In another unit, standard deviations convert and shares stay; squares of shares add up to one."""
    table = _table(3, 5, 2, seed)
    for method in (gauge_by_anova, gauge_by_ranges):
        one = method(_readings(table), tolerance=10.0)
        two = method(_readings(shift + scale * table), tolerance=10.0 * scale)
        assert two.gauge.sigma == pytest.approx(scale * one.gauge.sigma, rel=1e-5)
        assert two.gauge.of_total == pytest.approx(one.gauge.of_total, rel=1e-5)
        assert two.gauge.of_tolerance == pytest.approx(one.gauge.of_tolerance, rel=1e-5)
        squares = sum(x.of_total**2 for x in (one.repeatability, one.reproducibility, one.part))
        assert squares == pytest.approx(1.0)
        assert one.categories >= 1


def test_an_operator_who_reads_parts_differently_is_seen():
    """Where operators and parts go together strongly, the interaction is kept and counts as reproducibility."""
    study = gauge_by_anova(_readings(_table(3, 10, 3, sigmas=(0.0, 2.0, 3.0, 0.2))))
    assert study.interaction.sigma == pytest.approx(3.0, rel=0.4)
    assert study.reproducibility.sigma >= study.interaction.sigma
    assert study.verdict == "the gauge isn't good enough"


def test_one_wild_reading_is_named():
    """A range beyond its limit says whose, on which part."""
    table = _table(2, 5, 2, sigmas=(0.1, 2.0, 0.0, 0.1))
    table[1, 3, 0] += 5.0
    (beyond,) = gauge_by_ranges(_readings(table)).beyond
    assert (beyond.operator, beyond.part) == ("o1", "p3")
    assert beyond.range > 4.0


def test_a_perfect_gauge_tells_everything_apart():
    """Readings that repeat exactly leave all variation to the parts."""
    table = np.broadcast_to(np.arange(4.0)[None, :, None], (2, 4, 2))
    for method in (gauge_by_anova, gauge_by_ranges):
        study = method(_readings(table))
        assert (study.gauge.sigma, study.part.of_total) == (0.0, 1.0)
        assert study.verdict == "the gauge is good enough"


def test_operators_who_repeat_exactly_and_differ_by_part_are_not_pooled():
    """Without any scatter of repeats, what operators and parts do together is all of the gauge."""
    table = np.array([[[0.0, 0.0], [1.0, 1.0]], [[1.0, 1.0], [0.0, 0.0]]])
    study = gauge_by_anova(_readings(table))
    assert study.repeatability.sigma == 0.0
    assert study.interaction.sigma == pytest.approx(study.gauge.sigma)
    assert gauge_by_ranges(_readings(table)).gauge.of_total == 0.0


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ({}, "at least two operators and two parts"),
        ({"A": {"1": [1.0, 2.0], "2": [1.0, 2.0]}}, "at least two operators"),
        ({"A": {"1": [1.0], "2": [1.0]}, "B": {"1": [1.0], "2": [1.0]}}, "at least twice"),
        ({"A": {"1": [1, 2], "2": [1, 2]}, "B": {"1": [1, 2], "2": [1]}}, r"readings\[B\]\[2\]: each operator"),
        ({"A": {"1": [1, 2], "2": [1, 2]}, "B": {"1": [1, 2], "3": [1, 2]}}, r"readings\[B\]\[2\]"),
        ({"A": {"1": [1, 2], "2": [1, 2]}, "B": {"1": [1, 2], "2": [1, float("nan")]}}, "must be finite"),
        ({"A": {"1": [1, 1], "2": [1, 1]}, "B": {"1": [1, 1], "2": [1, 1]}}, "not all alike"),
    ],
)
def test_a_study_with_holes_is_refused(readings, says):
    """The message names the operator and the part that lacks a reading."""
    for method in (gauge_by_anova, gauge_by_ranges):
        with pytest.raises(ArgumentError, match=says):
            method(readings)


def test_a_tolerance_must_be_one():
    """A width of nothing has no share."""
    with pytest.raises(ArgumentError, match="tolerance: must be greater than 0"):
        gauge_by_anova(_readings(_table()), tolerance=0.0)
