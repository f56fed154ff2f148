"""The mean of a batch: what strips, runs and the batch err by."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.sensitometry import DeviationSeries, PlacedDeviation, Record, StripScatter, batch_mean

RUNS = ("1", "1", "2", "2", "2", "3")
OWN = np.array([0.010, 0.020, 0.015, 0.010, 0.030, 0.012])
RUN = np.array([0.012, 0.011, 0.020, 0.021, 0.019, 0.008])
BATCH = np.array([0.007, 0.008, 0.006, 0.007, 0.009, 0.0])


def series_of(values, scatter, *, freedom=np.inf):
    """The six strips with these values, without what their batch shares."""
    points = tuple(
        PlacedDeviation(
            strip=str(n),
            run=run,
            along_m=float(n),
            across_mm=0.0,
            value=value,
            standard_uncertainty=float(np.hypot(own, shared)),
            degrees_of_freedom=freedom,
            shared_uncertainty=shared,
        )
        for n, (run, value, own, shared) in enumerate(zip(RUNS, values, OWN, RUN, strict=True))
    )
    return DeviationSeries(measure="speed", record=Record.RED, unit="log H", points=points, scatter=scatter)


def test_with_known_scatter_it_is_generalised_least_squares():
    """Value and error are those of the normal equations with the covariance written out, the batch's part beside it."""
    values = np.array([0.01, 0.05, -0.02, 0.03, 0.04, 0.00])
    found = batch_mean(series_of(values, StripScatter(sd=0.02, degrees_of_freedom=1e9)), BATCH.tolist())
    same = np.array(RUNS)[:, np.newaxis] == np.array(RUNS)
    inverse = np.linalg.inv(np.diag(OWN**2 + 0.02**2) + same * np.outer(RUN, RUN))
    weights = inverse.sum(axis=0) / inverse.sum()
    assert found.value == pytest.approx(weights @ values, rel=1e-4)
    assert found.standard_error == pytest.approx(np.sqrt(1.0 / inverse.sum() + (weights @ BATCH) ** 2), rel=1e-4)
    assert found.degrees_of_freedom > 1e6


def test_degrees_of_freedom_are_those_of_welch_and_satterthwaite():
    """Strips count one by one for their own errors and together for their run's; the scatter and batch bring none.

    Published where: the GUM, G.4.1, ν = u⁴ ⁄ Σ u_i⁴⁄ν_i; written out here with weights from the normal equations.
    """
    scatter = StripScatter(sd=0.02, degrees_of_freedom=1e9)
    found = batch_mean(series_of(np.zeros(6), scatter, freedom=6.0), BATCH.tolist())
    same = np.array(RUNS)[:, np.newaxis] == np.array(RUNS)
    inverse = np.linalg.inv(np.diag(OWN**2 + 0.02**2) + same * np.outer(RUN, RUN))
    weights = inverse.sum(axis=0) / inverse.sum()
    of_runs = [weights[np.array(RUNS) == run] @ RUN[np.array(RUNS) == run] for run in sorted(set(RUNS))]
    parts = np.concatenate([weights * OWN, of_runs])
    assert found.degrees_of_freedom == pytest.approx(found.standard_error**4 / np.sum(parts**4 / 6.0), rel=1e-3)
    unknown = StripScatter(sd=0.02, degrees_of_freedom=4.0)
    poorer = batch_mean(series_of(np.zeros(6), unknown, freedom=6.0), BATCH.tolist())
    assert poorer.degrees_of_freedom < found.degrees_of_freedom


def test_the_truth_lies_in_the_interval_as_often_as_stated():
    """With errors of all three kinds and scatter as supposed, 95 % of 2000 intervals hold the truth (± 1.5 %)."""
    rng = np.random.Generator(np.random.PCG64(11))
    scatter, held = StripScatter(sd=0.02, degrees_of_freedom=4.0), 0
    of_run = np.array([int(run) - 1 for run in RUNS])
    for _ in range(2000):
        sd = 0.02 / np.sqrt(rng.chisquare(4) / 4.0)
        values = OWN * rng.standard_normal(6) + RUN * rng.standard_normal(3)[of_run] + sd * rng.standard_normal(6)
        found = batch_mean(series_of(values + BATCH * rng.standard_normal(), scatter), BATCH.tolist())
        held += found.low <= 0.0 <= found.high
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_parts_of_another_number_of_strips_are_refused():
    """The batch's part is given for each strip or not at all."""
    with pytest.raises(ArgumentError, match="batch_uncertainty"):
        batch_mean(series_of(np.zeros(6), StripScatter(sd=0.02, degrees_of_freedom=4.0)), [0.0])
