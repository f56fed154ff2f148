"""The Nile's flow 1871 to 1970: a step at a known year against a trend, beside ``statsmodels``."""

import csv
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from wideroll.sensitometry import (
    Border,
    ChangeKind,
    DeviationSeries,
    PlacedDeviation,
    Record,
    StripScatter,
    find_changes,
)

_UNKNOWN = StripScatter(sd=0.0, degrees_of_freedom=0.0)
_DAM = Border(along_m=1898.5, before="before the dam", after="after")


def _flows():
    lines = [line for line in (Path(__file__).parent / "nile.csv").read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return np.array([float(row["year"]) for row in rows]), np.array([float(row["volume"]) for row in rows])


@pytest.fixture(scope="module")
def nile():
    """Years, flows, and what was found in them."""
    years, flows = _flows()
    points = tuple(
        PlacedDeviation(strip=f"{y:.0f}", run="1", along_m=y, across_mm=0.0, value=v, standard_uncertainty=0.0)
        for y, v in zip(years.tolist(), flows.tolist(), strict=True)
    )
    series = DeviationSeries(measure="speed", record=Record.GREEN, unit="", points=points, scatter=_UNKNOWN)
    (found,) = find_changes([series], [_DAM])
    return years, flows, found


def test_the_table_is_the_one_published_with_statsmodels():
    """The file holds the same hundred years as the package it was taken from."""
    years, flows = _flows()
    theirs = sm.datasets.nile.load_pandas().data
    assert years.tolist() == theirs["year"].tolist()
    assert flows.tolist() == theirs["volume"].tolist()


def test_the_step_of_1898_is_that_of_ordinary_least_squares(nile):
    """With nothing known beforehand, step, interval and p-value are those of OLS to seven digits."""
    years, flows, found = nile
    theirs = sm.OLS(flows, np.column_stack([np.ones(100), years > _DAM.along_m])).fit()
    step = found.borders[0].step
    assert step.value == pytest.approx(theirs.params[1], rel=1e-9)
    assert (step.low, step.high) == pytest.approx(tuple(theirs.conf_int()[1]), rel=1e-7)
    assert step.degrees_of_freedom == pytest.approx(98.0, rel=1e-7)
    assert step.p_value == pytest.approx(theirs.pvalues[1], rel=1e-5)


def test_a_known_break_in_the_mean_is_chows_f_test(nile):
    """The step's t squared is the F of a break in the mean, by comparison of nested fits."""
    years, flows, found = nile
    whole = sm.OLS(flows, np.ones(100)).fit()
    broken = sm.OLS(flows, np.column_stack([years <= _DAM.along_m, years > _DAM.along_m]).astype(float)).fit()
    f, p, _ = broken.compare_f_test(whole)
    step = found.borders[0].step
    assert (step.value / step.standard_error) ** 2 == pytest.approx(f, rel=1e-7)
    assert step.p_value == pytest.approx(p, rel=1e-5)


def test_the_nile_fell_by_a_step_and_not_gradually(nile):
    """Step and trend together are those of OLS, and the finding is a step that no trend explains."""
    years, flows, found = nile
    theirs = sm.OLS(flows, np.column_stack([np.ones(100), years > _DAM.along_m, years - years.mean()])).fit()
    change = found.borders[0]
    assert change.step_beside_trend.p_value == pytest.approx(theirs.pvalues[1], rel=1e-5)
    assert change.trend_beside_step.value == pytest.approx(theirs.params[2], rel=1e-8)
    assert change.trend_beside_step.p_value == pytest.approx(theirs.pvalues[2], rel=1e-5)
    assert change.kind is ChangeKind.STEP


def test_a_search_that_does_not_know_the_year_finds_it(nile):
    """The single best place is between 1898 and 1899, and few years around it are probable."""
    *_, found = nile
    assert found.place.between_m == (1898.0, 1899.0)
    assert found.place.adjusted_p < 1e-9
    assert 1893.0 <= found.place.probable_m[0] <= 1898.0
    assert 1899.0 <= found.place.probable_m[1] <= 1903.0
