"""Measured properties as readings: the mean of a batch's places, and how sure it, or a further place, is."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wideroll.roll import Extent, Place
from wideroll.workflow import Batch, Judged, Measurement, PropertySpec, batch_extents, gather_properties

SPEC = PropertySpec(name="thickness", unit="µm")
VALUES = st.lists(st.floats(100.0, 160.0), min_size=2, max_size=12)


@pytest.fixture(scope="session")
def batch() -> tuple[Batch, Extent]:
    """A batch of 40 m."""
    extent = Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=0.0, across_to_mm=1380.0)
    return Batch(name="E-1", along_from_m=0.0, along_to_m=40.0), extent


def at(along_m: float, value: float, **fields: object) -> Measurement:
    """A value at a place along."""
    given = {"subject": "thickness", "own_uncertainty": 0.0, "instrument": "G-1", "on": "2026-11-20"} | fields
    return Measurement(place=Place(along_m=along_m, across_mm=70.0), value=value, **given)


def _only(values, batch, spec=SPEC, **fields):
    found = gather_properties([at(n + 0.5, value, **fields) for n, value in enumerate(values)], [spec], [batch])
    (reading,) = found.readings
    return reading


@given(values=VALUES)
def test_of_each_place_the_interval_is_one_for_a_further_value(values, batch):
    """Mean ± t·s·√(1 + 1⁄n), the prediction interval of one further value (oracle: numpy and scipy)."""
    reading, n = _only(values, batch), len(values)
    s = np.std(values, ddof=1)
    half = stats.t.ppf(0.975, n - 1) * s * math.sqrt(1 + 1 / n)
    assert reading.value == pytest.approx(np.mean(values))
    assert (reading.low, reading.high) == pytest.approx((np.mean(values) - half, np.mean(values) + half), abs=1e-6)
    assert reading.degrees_of_freedom == pytest.approx(n - 1)


@given(values=VALUES)
def test_of_the_mean_the_interval_is_students(values, batch):
    """Where the mean is judged, its interval is that of the t test (oracle: scipy)."""
    reading = _only(values, batch, PropertySpec(name="thickness", unit="µm", judged=Judged.MEAN))
    if np.std(values) > 1e-6:
        expected = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
        assert (reading.low, reading.high) == pytest.approx((expected.low, expected.high), abs=1e-6)


@given(values=VALUES, common=st.floats(0.01, 5.0), judged=st.sampled_from(list(Judged)))
def test_the_calibration_is_shared_by_all_values(values, common, judged, batch):
    """It adds its square whatever the number of places; degrees of freedom are Welch's and Satterthwaite's."""
    spec = PropertySpec(name="thickness", unit="µm", judged=judged)
    bare, full = _only(values, batch, spec), _only(values, batch, spec, shared_uncertainty=common)
    a, c = bare.standard_uncertainty**2, common**2
    assert full.standard_uncertainty == pytest.approx(math.sqrt(a + c))
    if a > 1e-6:
        assert full.degrees_of_freedom == pytest.approx((a + c) ** 2 / (a**2 / (len(values) - 1)), rel=1e-6)
    assert full.value == bare.value


@given(values=VALUES, scatter=st.floats(20.0, 50.0))
def test_a_known_scatter_is_known(values, scatter, batch):
    """With the scatter given, one further value errs by σ·√(1 + 1⁄n), with infinite degrees of freedom."""
    reading = _only(values, batch, PropertySpec(name="thickness", unit="µm", scatter=scatter))
    n = len(values)
    if stats.chi2.sf((n - 1) * np.var(values, ddof=1) / scatter**2, n - 1) > 0.011:
        assert reading.standard_uncertainty == pytest.approx(scatter * math.sqrt(1 + 1 / n))
        assert math.isinf(reading.degrees_of_freedom)


def test_a_scatter_that_the_values_contradict_is_not_believed(batch):
    """Values that scatter far more than the product says are judged by what they show, and the source says so."""
    values = [120.0, 130.0, 140.0]
    reading = _only(values, batch, PropertySpec(name="thickness", unit="µm", scatter=1.0))
    assert reading.standard_uncertainty == pytest.approx(_only(values, batch).standard_uncertainty)
    assert reading.source.endswith("; they scatter more than the known 1 µm")


def test_one_place_tells_nothing_of_scatter(batch):
    """Its reading has no value and says why and what mends it; with a known scatter it has one."""
    reading = _only([130.0], batch)
    assert math.isnan(reading.value)
    assert reading.source.endswith("one place tells nothing of how it varies")
    assert reading.mend.startswith("Measure a second place")
    known = _only([130.0], batch, PropertySpec(name="thickness", unit="µm", scatter=2.0), own_uncertainty=1.0)
    assert (known.value, known.standard_uncertainty) == (130.0, pytest.approx(math.sqrt(2 * 4 + 1)))


def test_rounded_values_that_agree_are_not_exact(batch):
    """Five times 130 says ± a rounding, not ± nothing."""
    own = 1 / math.sqrt(12)
    reading = _only([130.0] * 5, batch, own_uncertainty=own)
    assert reading.standard_uncertainty == pytest.approx(own * math.sqrt(1.2))


def test_a_place_measured_again_is_one_place(batch):
    """Ten values at two places don't tell of twelve places: they count as their means, and as two."""
    again = [at(1.0, 129.0 + 0.1 * n) for n in range(5)] + [at(9.0, 131.0 + 0.1 * n) for n in range(5)]
    found = gather_properties(again, [SPEC], [batch])
    (reading,) = found.readings
    two = _only([129.2, 131.2], batch)
    assert reading.standard_uncertainty == pytest.approx(two.standard_uncertainty)
    assert reading.degrees_of_freedom == pytest.approx(1.0)
    assert found.counts == {"thickness": ((batch[1], 2),)}
    assert reading.source.startswith("10 values at 2 places by G-1")


def test_instruments_share_no_error(batch):
    """Half the places by each of two gauges: their calibrations add as independent halves of the mean."""
    mean = PropertySpec(name="thickness", unit="µm", judged=Judged.MEAN, scatter=1e-9)
    values = [at(float(n), 130.0, instrument=f"G-{n % 2}", shared_uncertainty=0.4) for n in range(4)]
    (reading,) = gather_properties(values, [mean], [batch]).readings
    assert reading.standard_uncertainty == pytest.approx(0.4 / math.sqrt(2))
    (one,) = gather_properties(
        [at(float(n), 130.0, shared_uncertainty=0.4) for n in range(4)], [mean], [batch]
    ).readings
    assert one.standard_uncertainty == pytest.approx(0.4)


@given(values=VALUES, shift=st.floats(-50.0, 50.0), factor=st.floats(0.001, 1000.0))
def test_shift_and_unit_change_the_numbers_alone(values, shift, factor, batch):
    """All values moved or told in another unit: mean and uncertainty follow, degrees of freedom stay."""
    one = _only(values, batch, shared_uncertainty=0.5, own_uncertainty=0.1)
    moved = [factor * (value + shift) for value in values]
    other = _only(moved, batch, shared_uncertainty=0.5 * factor, own_uncertainty=0.1 * factor)
    assert other.value == pytest.approx(factor * (one.value + shift), rel=1e-6, abs=1e-6 * factor)
    assert other.standard_uncertainty == pytest.approx(factor * one.standard_uncertainty, rel=1e-6)
    assert other.degrees_of_freedom == pytest.approx(one.degrees_of_freedom, rel=1e-5)


@pytest.mark.parametrize("common", [0.0, 0.8])
def test_intervals_hold_as_often_as_they_say(batch, common):
    """Of 4000 simulated batches 95 % of the intervals hold a further place's value (three standard deviations: 1 %).

    With a calibration's error in common the degrees of freedom are only about right, so 1.5 % are allowed.
    """
    rng = np.random.Generator(np.random.PCG64(77))
    held = 0
    for _ in range(4000):
        places = rng.normal(130.0, 1.0, 5)
        seen = places[:4] + rng.normal(0.0, common)
        reading = _only(seen.tolist(), batch, shared_uncertainty=common)
        held += reading.low <= places[4] <= reading.high
    assert held / 4000 == pytest.approx(0.95, abs=0.015 if common else 0.011)


def test_values_that_cannot_be_believed_are_named_together(batch):
    """Values of one cause are one missing piece with their lines; they count for nothing."""
    expired = {"why_unusable": "gauge G-2 had expired", "mend": "Calibrate G-2."}
    values = [at(1.0, 130.0, line=2, **expired), at(2.0, 131.0, line=3, **expired), at(3.0, 131.0, line=4)]
    found = gather_properties(values, [SPEC], [batch])
    (missing,) = found.missing
    assert (missing.subject, missing.void, missing.extent, missing.mend) == (
        "thickness",
        True,
        batch[1],
        "Calibrate G-2.",
    )
    assert missing.why == "thickness of batch E-1, 2 values (lines 2, 3): gauge G-2 had expired"
    assert found.counts["thickness"] == ((batch[1], 1),)
    (none,) = gather_properties(values[:1], [SPEC], [batch]).missing
    assert none.why == "thickness of batch E-1, 1 value (line 2): gauge G-2 had expired"
    assert gather_properties(values[:2], [SPEC], [batch]).readings == ()


def test_each_batch_speaks_for_itself(card, whole):
    """A value belongs to the batch it lies in; a batch without one has no reading and a count of none."""
    found = gather_properties([at(0.2, 130.0), at(0.4, 131.0)], [SPEC], batch_extents(card, whole))
    first, second = (extent for _, extent in batch_extents(card, whole))
    assert [reading.extent for reading in found.readings] == [first]
    assert found.counts == {"thickness": ((first, 2), (second, 0))}


def test_without_properties_there_is_nothing(card, whole):
    """A product that names none has no readings, nothing missing and no counts."""
    found = gather_properties([], [], batch_extents(card, whole))
    assert (found.readings, found.missing, found.counts) == ((), (), {})
