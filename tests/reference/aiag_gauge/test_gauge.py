"""Gauge studies agree with the manual's example, by both methods."""

import csv
from pathlib import Path

import pytest

from wideroll.control import gauge_by_anova, gauge_by_ranges, range_constants


@pytest.fixture(scope="module")
def readings():
    """Ten parts read three times by three appraisers."""
    table = {}
    for row in csv.DictReader(Path(__file__).with_name("aiag_grr.csv").read_text().splitlines()[1:]):
        table.setdefault(row["appraiser"], {}).setdefault(row["part"], []).append(float(row["value"]))
    return table


@pytest.mark.parametrize(("size", "tabled"), [(2, 0.7071), (3, 0.5231), (10, 0.3146)])
def test_factors_of_one_group_are_the_tabled_ones(size, tabled):
    """K2 and K3 are one over d2* for one group."""
    assert 1.0 / range_constants(size).few_groups(1) == pytest.approx(tabled, abs=5e-5)


def test_factors_of_trials_are_the_tabled_ones():
    """K1 is one over d2: 0.8862 for two trials, 0.5908 for three."""
    assert 1.0 / range_constants(2).d2 == pytest.approx(0.8862, abs=5e-5)
    assert 1.0 / range_constants(3).d2 == pytest.approx(0.5908, abs=5e-5)


def test_study_by_ranges_is_the_published_one(readings):
    """All parts agree to the digits that the book's rounding leaves, and the one range beyond is named."""
    study = gauge_by_ranges(readings)
    found = (study.repeatability, study.reproducibility, study.gauge, study.part, study.total)
    published = (0.20188, 0.22963, 0.30575, 1.10456, 1.14610)
    assert [one.sigma for one in found] == pytest.approx(published, abs=1.2e-4)
    assert [100.0 * one.of_total for one in found[:4]] == pytest.approx([17.62, 20.04, 26.68, 96.38], abs=1e-2)
    assert study.categories == 5
    assert study.range_limit == pytest.approx(0.880, abs=5e-4)
    assert [(one.operator, one.part, round(one.range, 2)) for one in study.beyond] == [("B", "4", 1.02)]
    assert study.verdict == "the gauge may do, by what it costs to err"


def test_study_by_variances_is_the_published_one(readings):
    """Sums of squares, ratio and components agree to all digits; the interaction is pooled, four categories stay."""
    study = gauge_by_anova(readings)
    squares = [line.sum_of_squares for line in study.table]
    assert squares == pytest.approx([3.16726, 88.36193, 0.35898, 2.75893, 94.64711], abs=5e-6)
    assert study.table[2].ratio == pytest.approx(0.4337, abs=5e-5)
    assert study.interaction is None
    assert study.repeatability.sigma**2 == pytest.approx(0.039973, abs=5e-7)
    assert study.reproducibility.sigma**2 == pytest.approx(0.051455, abs=5e-7)
    assert study.part.sigma**2 == pytest.approx(1.086447, abs=5e-7)
    assert study.categories == 4
    assert study.gauge_low < study.gauge.sigma < study.gauge_high


def test_the_small_case_is_the_published_one():
    """Mean range 0.2, appraisers 0.3 apart and parts 1.0 apart, as read off the components."""
    study = gauge_by_ranges({"A": {"1": [1.0, 1.2], "2": [2.0, 2.2]}, "B": {"1": [1.3, 1.5], "2": [2.3, 2.5]}})
    two, once = range_constants(2), range_constants(2).few_groups(1)
    assert study.repeatability.sigma * two.d2 == pytest.approx(0.2)
    assert study.part.sigma * once == pytest.approx(1.0)
    apart = study.reproducibility.sigma**2 + study.repeatability.sigma**2 / 4.0
    assert apart**0.5 * once == pytest.approx(0.3)
