import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from wideroll.release import Consequence, Criterion, Evidence, Measurand, Reason, Verdict, decide
from wideroll.roll import Coverage, empty_marks
from wideroll.sensitometry import SUPPOSED_SCATTER, Deviation, Measure, Record, StripResult
from wideroll.workflow import READING_UNITS
from wideroll.workflow.gather_readings import gather_readings

Z = 1.959963984540054
SCATTER = SUPPOSED_SCATTER["speed"].sd
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


def test_one_strip_speaks_for_its_batch_with_the_scatter_it_can_not_see(result, extents) -> None:
    """A single strip's deviation is its batch's, known no better than strips of a batch are supposed to scatter.

    Worked by hand: u² is the strip's and the supposed 0.010², and by Welch and Satterthwaite ν = 4 u⁴ ⁄ 0.010⁴.
    """
    results = [result("S-1", "P1", 0.5, 0.02)]
    assert {r.subject: r.unit for r in gather_readings(results, extents)} | {PARALLEL: "density"} == READING_UNITS
    (speed,) = _of(SPEED, results, extents)
    assert speed.extent == extents[0]
    u = math.hypot(0.01 / Z, SCATTER)
    assert (speed.value, speed.standard_uncertainty) == (pytest.approx(0.02), pytest.approx(u, rel=1e-4))
    assert speed.degrees_of_freedom == pytest.approx(4.0 * u**4 / SCATTER**4, rel=1e-3)
    assert speed.high - speed.value == pytest.approx(u * stats.t.ppf(0.975, speed.degrees_of_freedom), rel=1e-4)
    assert (speed.unit, speed.source) == ("log H", "visual record, strips S-1")


def test_a_stated_uncertainty_goes_before_the_interval(result, extents) -> None:
    """A measure that says its standard uncertainty and degrees of freedom brings both into the reading's."""
    strips = [result("S-1", "P1", 0.5, 0.02, standard_uncertainty=0.004, degrees_of_freedom=6.0)]
    (speed,) = _of(SPEED, strips, extents)
    u = math.hypot(0.004, SCATTER)
    freedom = u**4 / (SCATTER**4 / 4.0 + 0.004**4 / 6.0)
    assert (speed.standard_uncertainty, speed.degrees_of_freedom) == pytest.approx((u, freedom), rel=1e-3)


def test_an_interval_alone_gives_back_its_uncertainty(result, extents) -> None:
    """An interval that was made with few degrees of freedom is undone with the same."""
    (speed,) = _of(SPEED, [result("S-1", "P1", 0.5, 0.02, degrees_of_freedom=4.0)], extents)
    assert speed.standard_uncertainty == pytest.approx(math.hypot(0.01 / stats.t.ppf(0.975, 4), SCATTER), rel=1e-4)


def test_what_strips_of_a_run_share_is_not_averaged_out(result, extents) -> None:
    """Two strips halve the variance that is their own and nothing of what one process correction brought to both."""
    own, run = 0.4, 0.3
    measured = {"standard_uncertainty": math.hypot(own, run), "run_uncertainty": run}
    for runs, expected in ((("P1", "P1"), own**2 / 2 + run**2), (("P1", "P2"), (own**2 + run**2) / 2)):
        strips = [result("S-1", runs[0], 0.2, 0.02, **measured), result("S-2", runs[1], 0.5, 0.02, **measured)]
        (speed,) = _of(SPEED, strips, extents)
        assert (speed.value, speed.standard_uncertainty) == pytest.approx((0.02, math.sqrt(expected)), rel=1e-3)


def test_what_a_batch_shares_no_number_of_runs_averages_out(result, extents) -> None:
    """Eight runs are known as well as without the batch's part, and that part is added at its full size."""
    own, batch = 0.02, 0.03
    ways = (
        {"standard_uncertainty": own},
        {"standard_uncertainty": math.hypot(own, batch), "batch_uncertainty": batch},
    )
    without, with_part = (
        _of(SPEED, [result(f"S-{n}", f"P{n}", 0.1 * n, 0.001 * n, **way) for n in range(1, 9)], extents)[0]
        for way in ways
    )
    assert with_part.value == pytest.approx(without.value)
    assert without.standard_uncertainty < 0.5 * own
    assert with_part.standard_uncertainty == pytest.approx(math.hypot(without.standard_uncertainty, batch))


def test_degrees_of_freedom_add_up_over_runs_and_not_within(result, extents) -> None:
    """Welch and Satterthwaite: two runs alike have twice the degrees of freedom of one, two strips of a run no more.

    Published where: the GUM, G.4.1; with equal uncertainties ν = (Σ u²)² ⁄ Σ u⁴⁄ν is the sum of the two. The
    uncertainties are so large that the scatter between strips doesn't count beside them.
    """
    few = {"standard_uncertainty": 0.4, "run_uncertainty": 0.4, "degrees_of_freedom": 6.0}
    apart = [result("S-1", "P1", 0.2, 0.02, **few), result("S-2", "P2", 0.5, 0.02, **few)]
    together = [result("S-1", "P1", 0.2, 0.02, **few), result("S-2", "P1", 0.5, 0.02, **few)]
    assert [_of(SPEED, strips, extents)[0].degrees_of_freedom for strips in (apart, together)] == [
        pytest.approx(12.0, rel=0.01),
        pytest.approx(6.0, rel=0.01),
    ]


@pytest.mark.parametrize(("apart", "half"), [(0.2, 1e-6), (0.2, 0.0), (0.0, 0.0)])
def test_strips_that_disagree_widen_the_interval(result, extents, apart: float, half: float) -> None:
    """What two strips show of their scatter counts as one degree of freedom, what was supposed as four.

    Worked by hand: without measurement errors τ² = (apart²⁄2 + 4·0.010²) ⁄ 5, u = τ ⁄ √2 with ν = 5. Strips that agree
    don't do away with the scatter that was supposed.
    """
    strips = [result("S-1", "P1", 0.2, 0.0, half=half), result("S-2", "P2", 0.5, apart, half=half)]
    (speed,) = _of(SPEED, strips, extents)
    u = math.sqrt((apart**2 / 2.0 + 4.0 * SCATTER**2) / 5.0 / 2.0)
    assert speed.value == pytest.approx(apart / 2.0)
    assert (speed.standard_uncertainty, speed.degrees_of_freedom) == pytest.approx((u, 5.0), rel=1e-3)


def test_a_strip_known_to_nothing_leaves_the_mean_unknown(result, extents) -> None:
    """The mean of strips of which one has no finite error still comes, with an interval without end."""
    strips = [result("S-1", "P1", 0.2, 0.0, half=math.inf), result("S-2", "P2", 0.5, 0.2)]
    (speed,) = _of(SPEED, strips, extents)
    assert (speed.value, speed.high) == (pytest.approx(0.1), math.inf)


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
    """The mean spread over a batch's strips, of no one record; a batch without any has no such reading.

    Strips of one run are taken to err together, so that only their scatter is halved: τ² = (0.002²⁄2 + 4·0.005²) ⁄ 5.
    """
    strips = [
        result("S-1", "P1", 0.2, 0.0, parallel=0.004),
        result("S-2", "P1", 0.5, 0.0, parallel=0.006),
        result("S-3", "P1", 1.5, 0.0),
    ]
    (spread,) = _of(PARALLEL, strips, extents)
    assert (spread.extent, spread.source, spread.unit) == (extents[0], "strips S-1, S-2", "density")
    scatter = (0.002**2 / 2.0 + 4.0 * SUPPOSED_SCATTER["minimum density"].sd ** 2) / 5.0
    assert (spread.value, spread.low) == pytest.approx((0.005, 0.0))
    assert spread.standard_uncertainty == pytest.approx(math.sqrt((0.01 / Z) ** 2 + scatter / 2.0), rel=1e-4)


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

    Simulated: they scatter as supposed; u is drawn as s·√(χ²ᵥ⁄ν). Three standard deviations of 2000 draws are 1.5 %.
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
                rng.normal(0.0, math.hypot(sd, SCATTER)),
                standard_uncertainty=sd * math.sqrt(rng.chisquare(freedom) / freedom),
                degrees_of_freedom=float(freedom),
            )
            for name, run in (("S-1", "P1"), ("S-2", "P2"))
        ]
        (speed,) = _of(SPEED, strips, extents)
        held += speed.low <= 0.0 <= speed.high
    assert 0.935 <= held / draws <= 0.98
