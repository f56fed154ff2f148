from functools import lru_cache

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.sensitometry import Dye, DyeDeviations, ShiftKind, tell_dye_shift, unmix_deviations

LEVELS = 5
MATRIX = np.array([[1.00, 0.12, 0.03], [0.10, 1.00, 0.12], [0.06, 0.22, 1.00]])
READING, SHARED = 0.008, 0.004
COVARIANCE = np.kron(np.eye(LEVELS), READING**2 * np.eye(3)) + SHARED**2 * np.kron(np.ones((LEVELS, LEVELS)), np.eye(3))
"""Each density's own noise, and a calibration error that all levels of a channel share."""
ROOT = np.linalg.cholesky(COVARIANCE)
RUNS = 400
NOTHING, COMMON = np.zeros((LEVELS, 3)), np.full((LEVELS, 3), 0.04)
CYAN = np.full((LEVELS, 1), 0.04) * [1.0, 0.0, 0.0]


TRUTHS = {"nothing": NOTHING, "process": COMMON, "cyan": CYAN, "both": COMMON + CYAN, "small": 0.1 * CYAN}


@lru_cache
def simulated(name):
    """What is told of noisy strips with a true deviation in dye amounts."""
    rng = np.random.default_rng(list(TRUTHS).index(name))
    noise = (rng.standard_normal((RUNS, 3 * LEVELS)) @ ROOT.T).reshape(RUNS, LEVELS, 3)
    return [
        tell_dye_shift(unmix_deviations(density, MATRIX, COVARIANCE)) for density in TRUTHS[name] @ MATRIX.T + noise
    ]


def exactly(truth, sd=0.01, **options):
    """What is told of a deviation without noise."""
    return tell_dye_shift(DyeDeviations(amounts=truth, covariance=sd**2 * np.eye(truth.size)), **options)


def test_false_alarms_come_at_the_stated_rate(record_property):
    """On film without a deviation, one is shown in 5 % of strips, within the error of the simulation."""
    shown = np.mean([told.kind is not ShiftKind.NONE_SHOWN for told in simulated("nothing")])
    record_property("false alarms", float(shown))
    assert shown == pytest.approx(0.05, abs=3.5 * np.sqrt(0.05 * 0.95 / RUNS))


def test_the_level_decides():
    """A deviation is shown at a level above its p-value and not below it."""
    truth = np.full((2, 3), 0.012)
    p = exactly(truth).p_values["none"]
    assert exactly(truth, level=0.9 * p).kind is ShiftKind.NONE_SHOWN
    assert exactly(truth, level=1.1 * p).kind is not ShiftKind.NONE_SHOWN


@pytest.mark.parametrize(
    ("truth", "explanation"),
    [("nothing", "none"), ("process", "process-wide"), ("cyan", "cyan"), ("both", "process-wide and cyan")],
)
def test_the_true_explanation_is_ruled_out_at_the_stated_rate(truth, explanation, record_property):
    """Its p-value is uniform: below 0.05 in 5 % of strips, below 0.5 in half."""
    p = np.array([told.p_values[explanation] for told in simulated(truth)])
    record_property("ruled out", float((p <= 0.05).mean()))
    assert (p <= 0.05).mean() == pytest.approx(0.05, abs=3.5 * np.sqrt(0.05 * 0.95 / RUNS))
    assert (p <= 0.5).mean() == pytest.approx(0.5, abs=3.5 * 0.5 / np.sqrt(RUNS))


@pytest.mark.parametrize(
    ("truth", "kind", "dye"),
    [
        ("process", ShiftKind.PROCESS_WIDE, None),
        ("cyan", ShiftKind.ONE_RECORD, Dye.CYAN),
        ("both", ShiftKind.PROCESS_AND_RECORD, Dye.CYAN),
    ],
)
def test_a_clear_deviation_is_named(truth, kind, dye, record_property):
    """Deviations of 0.04, five times the noise, are rightly named in nine of ten strips and wrongly in at most 5 %."""
    told = simulated(truth)
    right = np.mean([(one.kind, one.dye) == (kind, dye) for one in told])
    unsure = np.mean([one.kind in {ShiftKind.NOT_SETTLED, ShiftKind.NONE_SHOWN} for one in told])
    record_property("power", float(right))
    assert right > 0.90
    assert 1.0 - right - unsure < 0.05 + 3.5 * np.sqrt(0.05 * 0.95 / RUNS)


def test_what_is_small_is_left_open(record_property):
    """A deviation of half the noise in one record is seldom named, and hardly ever as another's or the process's."""
    told = simulated("small")
    record_property("power", float(np.mean([one.kind is ShiftKind.ONE_RECORD for one in told])))
    wrong = [one for one in told if one.kind is ShiftKind.PROCESS_WIDE or one.dye in {Dye.MAGENTA, Dye.YELLOW}]
    assert len(wrong) / RUNS < 0.05


@pytest.mark.parametrize("place", range(3))
def test_each_record_is_named_alike(place):
    """The same deviation moved to another dye names that dye, with its size at each level."""
    truth = np.zeros((LEVELS, 3))
    truth[:, place] = [0.05, 0.06, 0.07, 0.08, 0.09]
    told = exactly(truth)
    assert told.dye is list(Dye)[place]
    assert told.specific == pytest.approx(truth[:, place])
    assert told.specific_sd == pytest.approx(0.01)
    assert np.isnan(told.common).all()
    assert f"the {told.dye.record} record" in told.words


def test_both_parts_are_given():
    """A process-wide part and a record's own are separated level by level; the other two records carry the first."""
    truth = np.full((4, 3), 0.08)
    truth[:, 2] -= [0.10, 0.11, 0.12, 0.13]
    told = exactly(truth)
    assert (told.kind, told.dye) == (ShiftKind.PROCESS_AND_RECORD, Dye.YELLOW)
    assert told.common == pytest.approx(0.08)
    assert told.common_sd == pytest.approx(0.01 / np.sqrt(2.0))
    assert told.specific == pytest.approx([-0.10, -0.11, -0.12, -0.13])
    assert told.specific_sd == pytest.approx(0.01 * np.sqrt(1.5))


def test_development_acts_in_proportion():
    """A deviation in proportion to each record's amounts is process-wide only when those are given as the response."""
    amounts = np.linspace(0.3, 1.5, 5)[:, np.newaxis] * [1.0, 1.3, 0.6]
    truth = 0.1 * amounts
    told = exactly(truth, sd=0.005, response=amounts)
    assert told.kind is ShiftKind.PROCESS_WIDE
    assert told.common == pytest.approx(0.1)
    assert exactly(truth, sd=0.005).kind is not ShiftKind.PROCESS_WIDE


def test_two_records_apart_are_not_settled():
    """Magenta up and yellow down is no record's and not the process's alone."""
    told = exactly(np.full((LEVELS, 1), 0.06) * [0.0, 1.0, -1.0])
    assert told.kind is ShiftKind.NOT_SETTLED
    assert told.dye is None
    assert "more than one record" in told.words


def test_one_level_of_middling_size_is_not_settled():
    """When the process and one record explain it alike, both are named as possible."""
    told = exactly(np.array([[0.03, 0.015, 0.015]]))
    assert told.kind is ShiftKind.NOT_SETTLED
    assert "all records deviate together" in told.words
    assert "only cyan" in told.words


def test_levels_and_units_do_not_matter():
    """Levels in another order, and amounts in another unit, give the same p-values."""
    rng = np.random.default_rng(8)
    truth = 0.02 * rng.standard_normal((LEVELS, 3))
    plain = exactly(truth)
    for other in (exactly(truth[::-1]), exactly(10.0 * truth, sd=0.1)):
        assert other.p_values == pytest.approx(plain.p_values, rel=1e-9)


def test_few_degrees_of_freedom_make_it_harder():
    """A covariance estimated from 8 degrees of freedom rules out less, and from very many the same as a known one."""
    truth = np.full((LEVELS, 3), 0.02)
    known, few, many = (exactly(truth, degrees_of_freedom=freedom) for freedom in (np.inf, 8.0, 1e8))
    assert few.p_values["none"] > known.p_values["none"]
    assert many.p_values == pytest.approx(known.p_values, rel=1e-5)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"level": 0.0}, "level"),
        ({"degrees_of_freedom": 0.0}, "degrees_of_freedom"),
        ({"response": np.zeros((2, 3))}, "response"),
        ({"response": np.ones((3, 3))}, "response"),
    ],
)
def test_impossible_options_are_refused(fields, said):
    """A level of 0, no degrees of freedom or a process that does nothing is refused."""
    with pytest.raises(ArgumentError, match=said):
        exactly(np.full((2, 3), 0.1), **fields)


@pytest.mark.parametrize(
    ("amounts", "covariance", "said"),
    [
        (np.zeros((2, 2)), np.eye(4), "deviations"),
        (np.full((1, 3), np.nan), np.eye(3), "deviations"),
        (np.zeros((1, 3)), np.eye(2), "covariance"),
        (np.zeros((1, 3)), np.ones((3, 3)), "positive definite"),
    ],
)
def test_impossible_deviations_are_refused(amounts, covariance, said):
    """Two records, missing values, or errors that all three share wholly are refused."""
    with pytest.raises(ArgumentError, match=said):
        tell_dye_shift(DyeDeviations(amounts=amounts, covariance=covariance))
