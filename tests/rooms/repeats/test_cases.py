"""Cases: one roller in roll after roll."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, multivariate_normal, norm

from wideroll.errors import ArgumentError
from wideroll.repeats import (
    ANOTHER,
    Candidate,
    CaseState,
    Cleaning,
    Roller,
    Series,
    SeriesKind,
    Sign,
    Stage,
    SuspectRoll,
    Suspicion,
    When,
    days_since_cleaning,
    gather_cases,
)
from wideroll.repeats.standing import Trail, would_show
from wideroll.repeats.together import Seen, makers_of, mean_spacing, same_maker
from wideroll.roll import Extent, Side

SLIP, MEASURED = 0.002, 1e-4
A = Roller(name="A", diameter_mm=200.0, tolerance_mm=0.3)
B = Roller(name="B", diameter_mm=202.0, tolerance_mm=0.3)
FAR = Roller(name="far", diameter_mm=300.0, tolerance_mm=0.3)
TABLE = (A, B, FAR)


def alone(spacing_m: float, rollers=TABLE, slip: float = SLIP) -> tuple[Candidate, ...]:
    """What the spacing of one roll says by itself, from the model written out."""
    offs = {one.name: math.log(spacing_m / one.pitch_m) for one in rollers}
    weights = {one.name: 0.75 / len(rollers) * norm.pdf(offs[one.name], 0.0, _spread(one, slip)) for one in rollers}
    weights[ANOTHER] = 0.25 / math.log(20.0)
    total = sum(weights.values())
    found = [Candidate(roller=n, probability=float(w / total), slip=offs.get(n, 0.0)) for n, w in weights.items()]
    return tuple(sorted(found, key=lambda one: -one.probability))


def _spread(one: Roller, slip: float) -> float:
    return math.sqrt(slip**2 + MEASURED**2 + one.tolerance_mm**2 / 3.0 / one.diameter_mm**2)


def series(spacing_m: float, across_mm: float = 300.0, rollers=TABLE, slip: float = SLIP, **fields: object) -> Series:
    """Thirty marks that return."""
    values = {
        "spacing_m": spacing_m,
        "spacing_low_m": spacing_m * (1.0 - 1.96 * MEASURED),
        "spacing_high_m": spacing_m * (1.0 + 1.96 * MEASURED),
        "phase_m": 0.1,
        "across_mm": across_mm,
        "extent": Extent(along_from_m=0.0, along_to_m=40.0, across_from_mm=across_mm, across_to_mm=across_mm + 1.0),
        "members": tuple(range(30)),
        "turns": tuple(range(0, 60, 2)),
        "print_probability": 0.5,
        "drift": 0.0,
        "log_evidence": 60.0,
        "false_alarm": 1e-9,
        "candidates": alone(spacing_m, rollers, slip),
    }
    return Series(**(values | fields))


def day(number: int, hour: float | None = None) -> When:
    """A day of a month, or an hour of it."""
    text = f"2026-11-{number:02d}"
    if hour is None:
        return When(text=text, earliest=float(number), latest=number + 1.0)
    return When(text=f"{text}T{int(hour):02d}:00", earliest=number + hour / 24.0, latest=number + hour / 24.0)


def roll(name: str, coated: When | None, *found: Series, observed_m: float = 42.0, signs=()) -> SuspectRoll:
    """A roll that was searched."""
    return SuspectRoll(
        roll=name,
        coated=coated,
        observed_m=observed_m,
        needed_log_evidence=12.0,
        least_turns=5,
        slip=SLIP,
        suspicions=tuple(Suspicion(series=one, signs=signs) for one in found),
    )


def cleaned(name: str, on: When) -> Cleaning:
    """A roller that was cleaned."""
    return Cleaning(roller=name, on=on)


def seen(*spacings_m: float, rollers=TABLE, slip: float = SLIP) -> list[Seen]:
    """One series a roll."""
    return [Seen(suspicion=Suspicion(series=series(one, rollers=rollers, slip=slip)), slip=slip) for one in spacings_m]


def probability(candidates, name: str) -> float:
    """Of a maker."""
    return next(one.probability for one in candidates if one.roller == name)


def test_one_roll_is_named_as_its_spacing_says():
    """A case of one roll has the probabilities of its search."""
    for spacing in (A.pitch_m, 1.004 * A.pitch_m, 1.2 * A.pitch_m):
        for one in makers_of(seen(spacing), TABLE):
            assert one.probability == pytest.approx(probability(alone(spacing), one.roller), abs=1e-9)
        assert same_maker(seen(spacing), TABLE) == pytest.approx(0.0, abs=1e-9)


@given(st.lists(st.floats(-0.008, 0.016), min_size=2, max_size=6))
def test_several_rolls_are_named_by_their_joint_density(offs):
    """The naming is Bayes over the joint normal density of all spacings, the diameter shared and the slip not."""
    spacings = [A.pitch_m * math.exp(off) for off in offs]
    weights = {}
    for one in TABLE:
        x = np.log(np.array(spacings) / one.pitch_m)
        within = 4.0 * _spread(one, SLIP)
        if np.any(np.abs(x) > within):  # further than that a roller isn't searched
            continue
        shared = one.tolerance_mm**2 / 3.0 / one.diameter_mm**2
        covariance = np.diag(np.full(x.size, SLIP**2 + MEASURED**2)) + shared
        weights[one.name] = 0.25 * multivariate_normal(np.zeros(x.size), covariance).pdf(x)
    middle = np.linspace(-0.1, 0.1, 20001)
    product = np.prod([norm.pdf(x, middle, math.hypot(SLIP, MEASURED)) for x in offs], axis=0)
    weights[ANOTHER] = 0.25 / math.log(20.0) * np.trapezoid(product, middle)
    found = makers_of(seen(*spacings), TABLE)
    for name, other in itertools.combinations(weights, 2):
        ratio = math.log(weights[name] / weights[other])
        if abs(ratio) < 20.0:
            mine = math.log(probability(found, name) / probability(found, other))
            assert mine == pytest.approx(ratio, abs=0.02)


def test_rolls_tell_apart_what_slip_hides():
    """Two rollers 1 % apart, the slip ±0.5 %: one roll names the right one in 3 of 4, three rolls in 9 of 10."""
    right = _share_right(tolerance=0.0015, slip=0.005)
    assert 0.75 < right[1] < 0.9
    assert right[3] > 0.9


def test_rolls_do_not_tell_apart_what_the_tolerance_hides():
    """Where either roller may be the other's size, three rolls that agree tell no more than one, and don't seem to."""
    right = _share_right(tolerance=0.01, slip=0.0005)
    assert abs(right[3] - right[1]) < 0.1
    table = (replace(A, tolerance_mm=2.0), replace(B, tolerance_mm=2.0))
    spacing = math.pi * 0.2012
    one = makers_of(seen(spacing, rollers=table), table)
    five = makers_of(seen(*[spacing] * 5, rollers=table), table)
    odds = [probability(found, "B") / probability(found, "A") for found in (one, five)]
    assert odds[1] == pytest.approx(odds[0], rel=0.1)


def _share_right(*, tolerance: float, slip: float) -> dict[int, float]:
    rng = np.random.default_rng(8)
    table = tuple(replace(one, tolerance_mm=tolerance * one.diameter_mm) for one in (A, B))
    right = {1: 0, 3: 0}
    for count, _ in itertools.product(right, range(300)):
        truth = table[int(rng.integers(2))]
        pitch = truth.pitch_m * (1.0 + tolerance * rng.uniform(-1.0, 1.0))
        spacings = pitch * (1.0 + slip * rng.standard_normal(count))
        right[count] += makers_of(seen(*spacings, rollers=table, slip=slip), table)[0].roller == truth.name
    return {count: number / 300 for count, number in right.items()}


def test_unknown_roller_is_another_with_its_diameter():
    """Rolls that agree on a spacing nobody in the table has are one case of another, with its diameter's interval."""
    spacings = [0.73 * (1.0 + off) for off in (-0.002, 0.001, 0.0015)]
    rolls = [roll(f"W-{n}", day(n), series(one)) for n, one in enumerate(spacings, 1)]
    (case,) = gather_cases(rolls, TABLE)
    assert case.roller == ANOTHER
    assert case.rolls == ("W-1", "W-2", "W-3")
    assert case.spacing_low_m < 0.73 < case.spacing_high_m
    assert case.spacing_high_m - case.spacing_low_m < 0.006


def test_interval_of_the_spacing_holds_the_truth():
    """The interval of the spacing without slip holds the true one in 95 % of trials, three rolls each."""
    rng = np.random.default_rng(4)
    inside = 0
    for _ in range(400):
        low, _, high = mean_spacing(seen(*(0.7 * (1.0 + SLIP * rng.standard_normal(3)))))
        inside += low < 0.7 < high
    assert 0.92 < inside / 400 < 0.98


def test_series_belong_together_by_place_and_maker():
    """Apart across, or of makers that can't be one, two series are two cases; else one, whatever their order."""
    near, same = series(A.pitch_m), series(1.002 * A.pitch_m, 306.0)
    away, other = series(A.pitch_m, 320.0), series(FAR.pitch_m)
    for pair, count in (((near, same), 1), ((near, away), 2), ((near, other), 2)):
        rolls = [roll("W-1", day(1), pair[0]), roll("W-2", day(2), pair[1])]
        assert len(gather_cases(rolls, TABLE)) == count
        assert gather_cases(rolls[::-1], TABLE) == gather_cases(rolls, TABLE)


def test_two_nicks_of_one_roller_are_one_case_and_tell_no_more_than_one():
    """Two series of one roll at one place are one case; the naming takes the clearer one alone."""
    first, second = series(1.004 * A.pitch_m), series(1.004 * A.pitch_m, 301.0, log_evidence=40.0)
    (both,) = gather_cases([roll("W-1", day(1), first, second)], TABLE)
    (one,) = gather_cases([roll("W-1", day(1), first)], TABLE)
    assert both.candidates == one.candidates
    assert both.marks == 2 * one.marks


def test_lap_prints_are_no_matter_of_a_roller():
    """A lap print, which has no candidates, is in no case."""
    lap = series(0.7, kind=SeriesKind.LAP, candidates=())
    assert gather_cases([roll("W-1", day(1), lap)], TABLE) == ()


def test_signs_of_all_rolls_are_weighed_together_once():
    """Sightings from several rolls name the side; ten rolls of them still tell no more than the table of traces."""
    sides = (replace(A, side=Side.BASE, stage=Stage.DRY), replace(A, name="A'", side=Side.EMULSION, stage=Stage.DRY))
    on_top = Sign(embedded=0.02, all_records=0.02, some_records=0.02, on_base=0.05)
    rolls = [roll(f"W-{n}", day(n), series(A.pitch_m, rollers=sides), signs=(on_top,) * 3) for n in range(1, 11)]
    (case,) = gather_cases(rolls, sides)
    assert case.roller == "A'"
    ratio = probability(case.candidates, "A'") / probability(case.candidates, "A")
    assert 5.0 < ratio < 14.0


def test_cleaning_before_the_first_roll_weighs_once():
    """A roller cleaned just before the case began is a tenth as likely, not a thousandth after three rolls."""
    rolls = [roll(f"W-{n}", day(n), series(1.005 * A.pitch_m)) for n in (3, 4, 5)]
    plain, weighed = (gather_cases(rolls, TABLE, done)[0] for done in ((), (cleaned("A", day(2)),)))
    before, after = (probability(one.candidates, "A") / probability(one.candidates, "B") for one in (plain, weighed))
    assert after == pytest.approx(0.1 * before, rel=1e-6)


SHOWS = series(A.pitch_m)
CLEAN = roll("W-9", day(9))


@pytest.mark.parametrize(
    ("rolls", "cleanings", "state"),
    [
        ([roll("W-1", day(1), SHOWS)], [], CaseState.OPEN),
        ([roll("W-5", day(5), SHOWS)], [cleaned("A", day(2))], CaseState.OPEN),
        ([roll("W-1", day(1), SHOWS)], [cleaned("B", day(2))], CaseState.OPEN),
        ([roll("W-1", day(1), SHOWS)], [cleaned("A", day(2))], CaseState.WATCHED),
        ([roll("W-1", day(1), SHOWS), roll("W-9", day(9), observed_m=3.0)], [cleaned("A", day(2))], CaseState.WATCHED),
        ([roll("W-1", day(1), SHOWS), CLEAN], [cleaned("A", day(2))], CaseState.QUIET),
        ([roll("W-1", day(1), SHOWS), CLEAN], [], CaseState.OPEN),
        ([roll("W-1", day(1), SHOWS), roll("W-3", day(3), SHOWS)], [cleaned("A", day(2))], CaseState.RELAPSED),
        (
            [roll("W-1", day(1), SHOWS), roll("W-3", day(3), SHOWS), CLEAN],
            [cleaned("A", day(2)), cleaned("A", day(4))],
            CaseState.QUIET,
        ),
        ([roll("W-1", day(1, 7), SHOWS)], [cleaned("A", day(1, 15))], CaseState.WATCHED),
        ([roll("W-1", day(1), SHOWS)], [cleaned("A", day(1, 15))], CaseState.OPEN),
        ([roll("W-1", None, SHOWS)], [cleaned("A", day(1, 15))], CaseState.OPEN),
    ],
)
def test_state_follows_from_days(rolls, cleanings, state):
    """Open, watched, relapsed or quiet, by what surely came before what, whatever the order of the rolls given."""
    for order in (rolls, rolls[::-1]):
        (case,) = gather_cases(order, TABLE, cleanings)
        assert case.state is state


def test_what_can_not_be_put_in_order_is_said():
    """A roll without its day, and a cleaning on the day of coating, are named in the notes."""
    (undated,) = gather_cases([roll("W-1", None, SHOWS)], TABLE, [cleaned("A", day(2))])
    assert "W-1" in undated.notes[0]
    assert (undated.first, undated.last) == ("", "")
    (same_day,) = gather_cases([roll("W-1", day(2), SHOWS)], TABLE, [cleaned("A", day(2))])
    assert "2026-11-02" in same_day.notes[0]
    rolls = [roll("W-1", day(1), SHOWS), roll("W-7", None)]
    (watched,) = gather_cases(rolls, TABLE, [cleaned("A", day(2))])
    assert watched.state is CaseState.WATCHED
    assert "W-7" in watched.notes[0]


def test_quiet_says_what_it_rests_on():
    """Rolls since the cleaning, their metres, and the probability that they would have shown it."""
    rolls = [roll("W-1", day(1), SHOWS), roll("W-8", day(8), observed_m=5.0), roll("W-9", day(9), observed_m=6.0)]
    (case,) = gather_cases(rolls, TABLE, [cleaned("A", day(2))])
    each = [binom.sf(5, int(metres / A.pitch_m), 0.5) for metres in (5.0, 6.0)]  # 6 prints of 2 nats make 12
    assert case.rolls_since == ("W-8", "W-9")
    assert case.metres_since == 11.0
    assert case.cleaned == "2026-11-02"
    assert case.seen_probability == pytest.approx(1.0 - (1.0 - each[0]) * (1.0 - each[1]), rel=1e-9)


def test_roll_too_short_for_the_prints_needed_would_show_nothing():
    """With fewer turns than prints are needed, silence says nothing; neither does a series without evidence."""
    trail = Trail(shown=(), others=(), spacing_m=1.0, print_probability=0.9, log_evidence_per_print=2.0)
    assert would_show(trail, roll("W-1", None, observed_m=4.9)) == 0.0
    assert would_show(trail, roll("W-1", None, observed_m=1000.0)) == pytest.approx(1.0)
    assert would_show(replace(trail, log_evidence_per_print=0.0), roll("W-1", None, observed_m=1000.0)) == 0.0


def test_days_since_cleaning_take_the_last_one_before():
    """Only cleanings that surely came before count, the last of them; without a day of coating none does."""
    done = [cleaned("A", day(1)), cleaned("A", day(8)), cleaned("A", day(10)), cleaned("B", day(12))]
    assert days_since_cleaning(done, day(10)) == {"A": 2.0}
    assert days_since_cleaning(done, day(10, 12.0)) == {"A": 2.5}
    assert days_since_cleaning(done, None) == {}


def test_bad_calls_are_refused():
    """A roll given twice, a tolerance of nothing and a time that runs backwards are errors of the call."""
    with pytest.raises(ArgumentError, match="W-1"):
        gather_cases([roll("W-1", day(1)), roll("W-1", day(2))], TABLE)
    with pytest.raises(ArgumentError, match="across_mm"):
        gather_cases([], TABLE, across_mm=0.0)
    with pytest.raises(ArgumentError, match="when"):
        When(text="", earliest=2.0, latest=1.0)
