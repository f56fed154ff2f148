"""Expected costs: what escapes with a release, what each choice costs, and that no verdict sees it."""

import ast
import inspect
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import wideroll.release.decision
from wideroll.errors import ArgumentError
from wideroll.release import (
    Choice,
    Consequence,
    Costs,
    Flaw,
    Measurand,
    Reading,
    Region,
    Verdict,
    check_costs,
    decide,
    expected_costs,
)
from wideroll.roll import Coverage

SHEET_M2 = 0.3
MONEY = st.just(0.0) | st.floats(0.01, 100.0)


@pytest.fixture(scope="module")
def cost_of(evidence):
    """Decides and reckons."""

    def make(criteria, seen=None, **given_costs):
        seen = evidence() if seen is None else seen
        parts = {"currency": "£", "scrap_per_m2": 1.0, "sheet": 0.5} | given_costs
        parts.setdefault("escaped", {c.name: 1.0 for c in criteria if c.measurand is not Measurand.COVERAGE})
        return expected_costs(decide(seen, criteria), seen, Costs(**parts), sheet_m2=SHEET_M2)

    return make


@pytest.fixture(scope="module")
def spots(criterion):
    """A rate of spots, never bad enough to reject."""
    return criterion(Measurand.MARK_RATE, name="spots", limit=1.0)


@pytest.fixture(scope="module")
def metal(criterion):
    """Metal, looked for on sheets only."""
    return criterion(Measurand.FORBIDDEN, name="metal", subject="sheets")


@pytest.fixture(scope="module")
def sheets(box, whole):
    """A tenth of the roll on sheets, all of it scanned."""
    return {"scan": Coverage(seen=(whole,)), "sheets": Coverage(seen=(box(10.0, 14.0),))}


def _escaped(part, name):
    return next(one for one in part.escaped if one.criterion == name)


def test_marks_escape_at_the_rate_of_their_count_and_a_half(cost_of, evidence, spots):
    """Ten marks on all 40 m² are expected to be 10.5, and the interval is that of the gamma distribution."""
    roll = cost_of([spots], evidence([float(n) for n in range(10)]), escaped={"spots": 2.0}).roll
    assert _escaped(roll, "spots").number == pytest.approx(10.5)
    assert roll.release == pytest.approx(21.0)
    assert roll.release_low == pytest.approx(2.0 * stats.gamma(10.5).ppf(0.05))
    assert roll.release_high == pytest.approx(2.0 * stats.gamma(10.5).ppf(0.95))


def test_what_nobody_saw_has_the_rate_of_what_was_seen(cost_of, evidence, box, spots):
    """A scan of half the roll speaks for the other half too."""
    half = evidence([1.0, 2.0], coverage={"scan": Coverage(seen=(box(0.0, 20.0),))})
    roll = cost_of([spots], half).roll
    assert _escaped(roll, "spots").number == pytest.approx(2.5 / 20.0 * 40.0)


def test_marks_in_what_is_cut_out_count_only_where_it_is_released(cost_of, evidence, box, spots, criterion):
    """Marks inside a part that is cut out come to a customer with that part, and with no other."""
    streaks = criterion(Measurand.FLAW, name="streaks", guard_m=0.0)
    streak = Flaw(kind="streak", extent=box(10.0, 20.0), value=2.0, low=1.9, high=2.1, unit="%", source="scan")
    table = cost_of([spots, streaks], evidence([1.0, 12.0, 13.0, 14.0], flaws=(streak,)), escaped={"spots": 1.0})
    cut = next(part for part in table.parts if part.verdict is Verdict.CUT_OUT)
    assert _escaped(cut, "spots").number == pytest.approx(3.0)
    assert _escaped(table.roll, "spots").number == pytest.approx(1.5 + 3.0)
    assert cut.criteria == cut.scrap == pytest.approx(10.0)
    assert table.roll.criteria == pytest.approx(10.0 + 1.5)


def test_a_reading_costs_its_area_times_its_doubt(cost_of, evidence, box, criterion):
    """Film beyond the limit is its area times one less the probability that the findings state."""
    speed = criterion(Measurand.READING, name="speed", limit=0.05)
    reading = Reading(
        subject="speed deviation",
        extent=box(0.0, 40.0),
        value=0.04,
        low=0.0,
        high=0.08,
        unit="log H",
        source="S-1",
        standard_uncertainty=0.02,
    )
    seen = evidence(readings=(reading,))
    within = decide(seen, [speed]).findings[0].conformance
    roll = cost_of([speed], seen, escaped={"speed": 3.0}).roll
    assert roll.release == pytest.approx(3.0 * 40.0 * (1.0 - within))
    assert (roll.release_low, roll.release_high) == (0.0, pytest.approx(120.0))


def test_three_records_of_a_stretch_spoil_it_once(cost_of, evidence, box, criterion):
    """Where several readings of one stretch are bad, its film is counted once, by the worst."""
    speed = criterion(Measurand.READING, name="speed", limit=0.05)
    one = Reading(
        subject="speed deviation", extent=box(0.0, 40.0), value=0.2, low=0.19, high=0.21, unit="log H", source="red"
    )
    three = (one, replace(one, source="green", value=0.3, low=0.29, high=0.31), replace(one, source="blue"))
    assert cost_of([speed], evidence(readings=three)).roll.release == pytest.approx(40.0)


def test_a_reading_without_a_probability_is_not_known(cost_of, evidence, box, criterion):
    """An extrapolated reading isn't taken for good: the release is a least cost, and nothing is called cheapest."""
    speed = criterion(Measurand.READING, name="speed")
    reading = Reading(
        subject="speed deviation",
        extent=box(0.0, 40.0),
        value=0.0,
        low=-0.01,
        high=0.01,
        unit="log H",
        source="S-1",
        extrapolated=True,
    )
    roll = cost_of([speed], evidence(readings=(reading,))).roll
    assert (roll.unknown, roll.cheapest) == (("speed",), None)
    assert math.isnan(_escaped(roll, "speed").number)


def test_none_found_is_half_a_one_where_nobody_looked(cost_of, evidence, sheets, metal):
    """None on a tenth of the roll is expected to be a half over the tenth, on the other nine tenths."""
    roll = cost_of([metal], evidence(coverage=sheets)).roll
    assert _escaped(roll, "metal").number == pytest.approx(0.5 / 0.1 * 0.9)


def test_a_piece_found_speaks_for_others(cost_of, evidence, box, sheets, metal):
    """What was found counts one, and where nobody looked there are more of it than if none had been found."""
    piece = Flaw(kind="metal", extent=box(11.0, 11.0, 500.0, 500.0), value=1, low=1, high=1, unit="mm", source="sheets")
    roll = cost_of([metal], evidence(coverage=sheets, flaws=(piece,))).roll
    assert _escaped(roll, "metal").number == pytest.approx(1.0 + 1.5 / 0.1 * 0.9)


def test_a_part_on_hold_waits_for_nothing_and_sells_nothing(cost_of, evidence, box, sheets, metal):
    """To wait costs nothing by itself, and isn't a choice that could be the cheapest."""
    piece = Flaw(kind="metal", extent=box(11.0, 12.0), value=1, low=1, high=1, unit="mm", source="sheets")
    table = cost_of([metal], evidence(coverage=sheets, flaws=(piece,)), escaped={"metal": 1e6})
    part = table.parts[0]
    assert part.criteria == 0.0
    assert part.cheapest is Choice.SCRAP
    assert part.saves == pytest.approx(1e6 - 1.0, rel=1e-6)


def test_a_part_held_for_what_has_no_cost_has_no_cheapest(cost_of, evidence, box, sheets, metal, spots):
    """Release can't be called cheaper where what holds the part has no cost."""
    piece = Flaw(kind="metal", extent=box(11.0, 12.0), value=1, low=1, high=1, unit="mm", source="sheets")
    table = cost_of([metal, spots], evidence(coverage=sheets, flaws=(piece,)), escaped={"spots": 0.01})
    assert (table.parts[0].unknown, table.parts[0].cheapest) == (("metal",), None)
    assert table.not_costed == ("metal",)


def test_a_roll_on_hold_may_be_cut_and_the_rest_released(cost_of, evidence, box, sheets, metal, criterion):
    """What is cut out is scrapped, what is held escapes."""
    streaks = criterion(Measurand.FLAW, name="streaks", guard_m=0.0)
    streak = Flaw(kind="streak", extent=box(20.0, 30.0), value=2.0, low=1.9, high=2.1, unit="%", source="scan")
    piece = Flaw(kind="metal", extent=box(11.0, 12.0), value=1, low=1, high=1, unit="mm", source="sheets")
    table = cost_of(
        [metal, streaks], evidence(coverage=sheets, flaws=(streak, piece)), escaped={"metal": 0.1, "streaks": 50.0}
    )
    assert table.roll.verdict is Verdict.HOLD
    assert table.roll.criteria == pytest.approx(10.0)
    assert table.roll.rest == pytest.approx(10.0 + 0.1 * (1.0 + 1.5 / 4.0 * 26.0))
    assert table.roll.cheapest is Choice.REST


def test_lanes_have_their_own_rates(cost_of, evidence, criterion):
    """Rates that are judged lane by lane add up over the lanes."""
    lanes = criterion(Measurand.MARK_RATE, name="spots", limit=50.0, region=Region.LANE, lane_mm=250.0)
    roll = cost_of([lanes], evidence([(float(n), 100.0) for n in range(8)])).roll
    assert _escaped(roll, "spots").number == pytest.approx(8.5 + 3 * 0.5)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"scrap_per_m2": -1.0}, "scrap_per_m2"),
        ({"sheet": math.nan}, "sheet"),
        ({"strip": -2.0}, "strip"),
        ({"escaped": {"spots": math.inf}}, "escaped, spots"),
        ({"escaped": {"spotz": 1.0}}, "escaped"),
        ({"escaped": {"seen": 1.0}}, "escaped"),
    ],
)
def test_costs_that_cant_be_reckoned_with_are_refused(changed, field, spots, criterion):
    """A negative cost, or one of a criterion that lets nothing escape, is named with its field."""
    costs = Costs(**({"currency": "£", "scrap_per_m2": 1.0, "sheet": 1.0, "escaped": {"spots": 1.0}} | changed))
    with pytest.raises(ArgumentError) as caught:
        check_costs(costs, [spots, criterion(Measurand.COVERAGE, name="seen")])
    assert caught.value.where == f"costs, {field}"


def test_a_sheet_needs_an_area(evidence, spots):
    """Without the area of a sheet no further one can be weighed."""
    seen = evidence()
    costs = Costs(currency="£", scrap_per_m2=1.0, sheet=1.0, escaped={})
    with pytest.raises(ArgumentError, match="sheet_m2"):
        expected_costs(decide(seen, [spots]), seen, costs, sheet_m2=0.0)


def test_no_verdict_sees_costs():
    """``decide`` takes no costs, and no module that decides imports those that reckon them."""
    assert "costs" not in inspect.signature(decide).parameters
    waiting, seen = [wideroll.release.decision], set()
    while waiting:
        module = waiting.pop()
        seen.add(module.__name__)
        for node in ast.walk(ast.parse(inspect.getsource(module))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("wideroll.release."):
                other = __import__(node.module, fromlist=["x"])
                waiting += [] if other.__name__ in seen else [other]
    assert [name for name in seen if "cost" in name] == []


@settings(deadline=None, max_examples=25)
@given(
    count=st.integers(0, 30),
    each=MONEY,
    scrap=MONEY,
    sheet=MONEY,
    rate=st.sampled_from([0.01, 100.0]),
)
def test_costs_scale_with_the_currency(count, each, scrap, sheet, rate, cost_of, evidence, criterion, sheets):
    """In a currency worth a hundredth all amounts are a hundred times as large, and the choice is the same."""
    spots = criterion(Measurand.MARK_RATE, name="spots", limit=1.0)
    metal = criterion(Measurand.FORBIDDEN, name="metal", subject="sheets")
    seen = evidence([n + 0.5 for n in range(count)], coverage=sheets)

    def reckon(unit):
        escaped = {"spots": unit * each, "metal": 2.0 * unit * each}
        return cost_of([spots, metal], seen, scrap_per_m2=unit * scrap, sheet=unit * sheet, escaped=escaped).roll

    one, other = reckon(1.0), reckon(rate)
    for name in ("release", "release_low", "release_high", "criteria", "scrap"):
        assert getattr(other, name) == pytest.approx(rate * getattr(one, name), rel=1e-6, abs=1e-9)
    if one.sheets == other.sheets:
        assert other.look == pytest.approx(rate * one.look, rel=1e-6, abs=1e-9, nan_ok=True)


@settings(deadline=None, max_examples=25)
@given(count=st.integers(0, 20), each=st.floats(0.0, 50.0), more=st.floats(0.0, 50.0), pieces=st.integers(0, 3))
def test_dearer_escapes_never_make_a_release_cheaper(
    count, each, more, pieces, cost_of, evidence, box, criterion, sheets
):
    """With a higher cost of what escapes, a release costs as much or more."""
    spots = criterion(Measurand.MARK_RATE, name="spots", limit=1.0)
    metal = criterion(Measurand.FORBIDDEN, name="metal", subject="sheets", consequence=Consequence.CUT_OUT)
    flaws = tuple(
        Flaw(kind="metal", extent=box(11.0 + n, 11.5 + n), value=1, low=1, high=1, unit="mm", source="sheets")
        for n in range(pieces)
    )
    seen = evidence([n + 0.5 for n in range(count)], coverage=sheets, flaws=flaws)
    cheap = cost_of([spots, metal], seen, escaped={"spots": each, "metal": 1.0})
    dear = cost_of([spots, metal], seen, escaped={"spots": each + more, "metal": 1.0})
    for one, other in zip((cheap.roll, *cheap.parts), (dear.roll, *dear.parts), strict=True):
        assert other.release >= one.release - 1e-9


@settings(deadline=None, max_examples=25)
@given(count=st.integers(0, 20), each=MONEY, scrap=MONEY)
def test_free_sheets_are_never_worse_than_none(count, each, scrap, cost_of, evidence, criterion, sheets):
    """Where looking costs nothing, looking first is no dearer than the cheaper of release and scrap now."""
    spots = criterion(Measurand.MARK_RATE, name="spots", limit=1.0)
    seen = evidence([n + 0.5 for n in range(count)], coverage=sheets)
    roll = cost_of([spots], seen, sheet=0.0, scrap_per_m2=scrap, escaped={"spots": each}).roll
    if each:
        assert roll.look <= min(roll.release, roll.scrap) * (1.0 + 1e-9)


def test_what_costs_nothing_costs_nothing(cost_of, evidence, spots, metal, sheets):
    """With all costs 0 every choice costs 0, and the criteria's is taken."""
    roll = cost_of(
        [spots, metal],
        evidence([1.0], coverage=sheets),
        scrap_per_m2=0.0,
        sheet=0.0,
        escaped={"spots": 0.0, "metal": 0.0},
    ).roll
    assert (roll.release, roll.release_low, roll.release_high, roll.scrap, roll.criteria) == (0.0,) * 5
    assert (roll.cheapest, roll.saves) == (Choice.CRITERIA, 0.0)
    assert math.isnan(roll.look)
