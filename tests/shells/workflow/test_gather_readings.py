import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from wideroll.release import Consequence, Criterion, Evidence, Measurand, Reason, Verdict, decide
from wideroll.roll import Coverage, empty_marks
from wideroll.sensitometry import Deviation, Measure, Record, StripResult
from wideroll.workflow import READING_UNITS
from wideroll.workflow.gather_readings import gather_readings

Z = 1.959963984540054
SPEED, WORST, PARALLEL = "speed deviation", "worst density deviation", "parallelism"


@pytest.fixture
def extents(whole):
    """Two batches of a metre each."""
    return [replace(whole, along_to_m=1.0), replace(whole, along_from_m=1.0)]


@pytest.fixture
def result(strip):
    """Make a strip's result with given deviations of speed, each value ± half or with a standard uncertainty."""

    def result(name, run, along_m, *speeds, records=(Record.VISUAL,), worst=0.0, parallel=None, **given):
        half = given.pop("half", 0.01)

        def measure(value, unit, name="deviation"):
            return Measure(name=name, value=value, low=value - half, high=value + half, unit=unit, **given)

        deviations = tuple(
            Deviation(
                record=record,
                speed_log_h=measure(speed, "log H"),
                contrast=measure(0.0, "ratio"),
                dmin_density=measure(0.0, "density"),
                worst_density=measure(worst, "density"),
            )
            for record, speed in zip(records, speeds, strict=True)
        )
        measures = () if parallel is None else (measure(parallel, "density", PARALLEL),)
        return StripResult(
            strip=strip(name, run, along_m), fits={}, measures=measures, deviations=deviations, usable=True, why=""
        )

    return result


def _of(subject, results, extents):
    return [reading for reading in gather_readings(results, extents) if reading.subject == subject]


def test_one_strip_speaks_for_its_batch_alone(result, extents) -> None:
    """A single strip's deviations, with their own intervals, are the readings of its batch and of no other."""
    results = [result("S-1", "P1", 0.5, 0.02)]
    assert {r.subject: r.unit for r in gather_readings(results, extents)} | {PARALLEL: "density"} == READING_UNITS
    (speed,) = _of(SPEED, results, extents)
    assert speed.extent == extents[0]
    assert (speed.value, speed.low, speed.high) == (0.02, pytest.approx(0.01), pytest.approx(0.03))
    assert (speed.standard_uncertainty, speed.degrees_of_freedom) == (pytest.approx(0.01 / Z), math.inf)
    assert (speed.unit, speed.source) == ("log H", "visual record, strips S-1")


def test_a_stated_uncertainty_goes_before_the_interval(result, extents) -> None:
    """A measure that says its standard uncertainty and degrees of freedom hands them on, with Student's interval."""
    strips = [result("S-1", "P1", 0.5, 0.02, standard_uncertainty=0.004, degrees_of_freedom=6.0)]
    (speed,) = _of(SPEED, strips, extents)
    assert (speed.standard_uncertainty, speed.degrees_of_freedom) == pytest.approx((0.004, 6.0))
    assert speed.high - speed.value == pytest.approx(0.004 * stats.t.ppf(0.975, 6))


def test_an_interval_alone_gives_back_its_uncertainty(result, extents) -> None:
    """An interval that was made with few degrees of freedom is undone with the same."""
    (speed,) = _of(SPEED, [result("S-1", "P1", 0.5, 0.02, degrees_of_freedom=4.0)], extents)
    assert speed.standard_uncertainty == pytest.approx(0.01 / stats.t.ppf(0.975, 4))
    assert speed.high - speed.value == pytest.approx(0.01)


def test_strips_of_one_run_share_their_error(result, extents) -> None:
    """Two strips that agree halve nothing when one process correction stands behind both."""
    (speed,) = _of(SPEED, [result("S-1", "P1", 0.2, 0.02), result("S-2", "P1", 0.5, 0.02)], extents)
    assert (speed.value, speed.high - speed.value) == (0.02, pytest.approx(0.01))


def test_strips_of_two_runs_are_independent(result, extents) -> None:
    """Two strips that agree, from two runs, are known better by the square root of two."""
    (speed,) = _of(SPEED, [result("S-1", "P1", 0.2, 0.02), result("S-2", "P2", 0.5, 0.02)], extents)
    assert speed.high - speed.value == pytest.approx(0.01 / math.sqrt(2))


def test_degrees_of_freedom_add_up_over_runs_and_not_within(result, extents) -> None:
    """Welch and Satterthwaite: two runs alike have twice the degrees of freedom of one, two strips of a run no more.

    Published where: the GUM, G.4.1; with equal uncertainties ν = (Σ u²)² ⁄ Σ u⁴⁄ν is the sum of the two.
    """
    few = {"standard_uncertainty": 0.004, "degrees_of_freedom": 6.0}
    apart = [result("S-1", "P1", 0.2, 0.02, **few), result("S-2", "P2", 0.5, 0.02, **few)]
    together = [result("S-1", "P1", 0.2, 0.02, **few), result("S-2", "P1", 0.5, 0.02, **few)]
    assert [_of(SPEED, strips, extents)[0].degrees_of_freedom for strips in (apart, together)] == [
        pytest.approx(12.0),
        pytest.approx(6.0),
    ]


def test_strips_that_disagree_widen_the_interval(result, extents) -> None:
    """Two strips 0.2 apart have a mean known to 0.1 with one degree of freedom, whatever each claimed for itself.

    Worked by hand: errors e and e give chi square 2 (0.1/e)² with one degree of freedom, and e / √2 times its root is
    0.1.
    """
    for half in (0.01, 0.001):
        strips = [result("S-1", "P1", 0.2, 0.0, half=half), result("S-2", "P2", 0.5, 0.2, half=half)]
        (speed,) = _of(SPEED, strips, extents)
        assert speed.value == pytest.approx(0.1)
        assert (speed.standard_uncertainty, speed.degrees_of_freedom) == pytest.approx((0.1, 1.0))


def test_scatter_that_chance_explains_widens_nothing(result, extents) -> None:
    """Strips that differ by less than their own uncertainty keep the interval that they claim, and never narrow it."""
    (speed,) = _of(SPEED, [result("S-1", "P1", 0.2, 0.0), result("S-2", "P2", 0.5, 0.005)], extents)
    assert speed.high - speed.value == pytest.approx(0.01 / math.sqrt(2))


@pytest.mark.parametrize("half", [0.0, math.inf])
def test_an_error_of_nothing_or_everything_is_left_as_it_is(result, extents, half: float) -> None:
    """Scatter can't be weighed against an error that is 0 or unknown; the mean still comes."""
    strips = [result("S-1", "P1", 0.2, 0.0, half=half), result("S-2", "P2", 0.5, 0.2, half=half)]
    (speed,) = _of(SPEED, strips, extents)
    assert speed.value == pytest.approx(0.1)
    assert speed.high - speed.value == half


def test_a_measure_without_any_uncertainty_is_known_to_nothing(result, extents) -> None:
    """Neither a standard uncertainty nor an interval: the error is infinite, not 0."""
    (speed,) = _of(SPEED, [result("S-1", "P1", 0.5, 0.0, half=math.nan)], extents)
    assert (speed.value, speed.standard_uncertainty) == (0.0, math.inf)


def test_each_record_has_its_own_mean(result, extents) -> None:
    """Records are never mixed, and an extrapolated measure marks the mean it is part of."""
    records = (Record.RED, Record.GREEN)
    strips = [
        result("S-1", "P1", 0.2, 0.1, 0.3, records=records),
        result("S-2", "P1", 0.5, 0.1, 0.3, records=records, extrapolated=True),
    ]
    assert [(r.source, r.value, r.extrapolated) for r in _of(SPEED, strips, extents)] == [
        ("red record, strips S-1, S-2", pytest.approx(0.1), True),
        ("green record, strips S-1, S-2", pytest.approx(0.3), True),
    ]


def test_the_order_of_records_does_not_matter(result, extents) -> None:
    """Strips that list their records in another order are still averaged record by record."""
    strips = [
        result("S-1", "P1", 0.2, 0.1, 0.3, records=(Record.RED, Record.GREEN)),
        result("S-2", "P1", 0.5, 0.3, 0.1, records=(Record.GREEN, Record.RED)),
    ]
    assert [r.value for r in _of(SPEED, strips, extents)] == pytest.approx([0.1, 0.3])


def test_worst_deviations_of_opposite_sign_do_not_cancel(result, extents) -> None:
    """The worst density deviation of a batch is that of its worst strip."""
    strips = [result("S-1", "P1", 0.2, 0.0, worst=0.05), result("S-2", "P2", 0.5, 0.0, worst=-0.08)]
    (worst,) = _of(WORST, strips, extents)
    assert (worst.value, worst.high - worst.value) == (-0.08, pytest.approx(0.01))


def test_parallelism_is_a_strips_own_and_never_below_0(result, extents) -> None:
    """The mean spread over a batch's strips, of no one record; a batch without any has no such reading."""
    strips = [
        result("S-1", "P1", 0.2, 0.0, parallel=0.004),
        result("S-2", "P1", 0.5, 0.0, parallel=0.006),
        result("S-3", "P1", 1.5, 0.0),
    ]
    (spread,) = _of(PARALLEL, strips, extents)
    assert (spread.extent, spread.source, spread.unit) == (extents[0], "strips S-1, S-2", "density")
    assert (spread.value, spread.low, spread.high) == pytest.approx((0.005, 0.0, 0.015))


@pytest.mark.parametrize("gap", ["no measure", "not a number", "no such record"])
def test_a_strip_that_lacks_the_measure_is_missing_evidence(result, whole, gap: str) -> None:
    """One strip of two without the number holds the batch and is named, however good the other is."""
    records = (Record.RED, Record.GREEN)
    good = result("S-1", "P1", 0.2, 0.0, 0.0, records=records, parallel=0.001)
    subject, other = {
        "no measure": (PARALLEL, result("S-2", "P1", 0.5, 0.0, 0.0, records=records)),
        "not a number": (SPEED, result("S-2", "P1", 0.5, 0.0, math.nan, records=records, parallel=0.0)),
        "no such record": (SPEED, result("S-2", "P1", 0.5, 0.0, records=records[:1], parallel=0.0)),
    }[gap]
    readings = gather_readings([good, other], [whole])
    silent = [reading for reading in readings if reading.subject == subject and math.isnan(reading.value)]
    assert [reading.source.endswith("; none from S-2") for reading in silent] == [True]
    rule = Criterion(
        name=subject,
        measurand=Measurand.READING,
        limit=0.05,
        unit=READING_UNITS[subject],
        consequence=Consequence.CUT_OUT,
        subject=subject,
    )
    evidence = Evidence(
        whole=whole, marks=empty_marks(), coverage={"scan": Coverage(seen=(whole,))}, readings=readings, counts={}
    )
    decision = decide(evidence, [rule])
    finding = next(f for f in decision.findings if f.reason is not Reason.WITHIN_LIMIT)
    assert (decision.verdict, finding.reason) == (Verdict.HOLD, Reason.EVIDENCE_MISSING)
    assert "none from S-2" in finding.why
    assert [item.subject for item in decision.missing] == [subject]


def test_the_true_mean_lies_in_the_interval_as_often_as_stated(result, extents) -> None:
    """Strips of two runs, their uncertainty known with few degrees of freedom: 95 % of intervals hold the truth.

    Simulated: u is drawn as s·√(χ²ᵥ⁄ν). Three standard deviations of 2000 draws are 1.5 %.
    """
    rng = np.random.Generator(np.random.PCG64(4))
    freedom, sd, draws = 5, 0.01, 2000
    held = 0
    for _ in range(draws):
        strips = [
            result(
                name,
                run,
                0.5,
                rng.normal(0.0, sd),
                standard_uncertainty=sd * math.sqrt(rng.chisquare(freedom) / freedom),
                degrees_of_freedom=float(freedom),
            )
            for name, run in (("S-1", "P1"), ("S-2", "P2"))
        ]
        (speed,) = _of(SPEED, strips, extents)
        held += speed.low <= 0.0 <= speed.high
    assert 0.935 <= held / draws <= 0.98
