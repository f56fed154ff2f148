"""A request that no slitter could be set to is refused with one clear message."""

import math
from dataclasses import replace

import pytest

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting import (
    Avoid,
    ByLength,
    ByMetre,
    CountLimit,
    CutRules,
    FinishedLength,
    SlitWidth,
    Spliced,
    greedy_cut,
    plan_cut,
)

WEB = Extent(along_from_m=0.0, along_to_m=42.0, across_from_mm=0.0, across_to_mm=1380.0)
FILM = SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.0))


@pytest.mark.parametrize("make", [plan_cut, greedy_cut])
@pytest.mark.parametrize(
    ("widths", "says"),
    [
        ((), "widths: at least one"),
        ((replace(FILM, width_mm=1365.0),), "1364 mm between the edge trims"),
        ((replace(FILM, width_mm=0.0),), "width 35 mm: width_mm: must be finite and greater than 0"),
        ((replace(FILM, width_mm=math.nan),), "width_mm: must be finite"),
        ((replace(FILM, tolerance_mm=-0.025),), "tolerance_mm: must be finite and at least 0"),
        ((replace(FILM, tolerance_mm=50.0),), r"tolerance_mm: must be less than the width \(34.975 mm\)"),
        ((replace(FILM, finish=ByMetre(value_per_m=-1.0)),), "value_per_m: must be finite and at least 0"),
        ((replace(FILM, finish=ByMetre(value_per_m=math.inf)),), "value_per_m: must be finite"),
        ((replace(FILM, width_mm=34.97583, tolerance_mm=0.0),), "must be whole micrometres"),
        ((FILM, replace(FILM, width_mm=16.0)), "each name only once"),
    ],
)
def test_widths_that_make_no_sense_are_refused(make, widths, says):
    """The message names the width, the rule and the value."""
    with pytest.raises(ArgumentError, match=says):
        make(WEB, avoid=[], widths=widths)


@pytest.mark.parametrize(
    ("rules", "says"),
    [
        (CutRules(knife_step_mm=0.0), "knife_step_mm: must be finite and greater than 0"),
        (CutRules(knife_step_mm=0.0001), "knife_step_mm: must be whole micrometres"),
        (CutRules(edge_trim_mm=-1.0), "edge_trim_mm: must be finite and at least 0"),
        (CutRules(edge_trim_mm=700.0), "at least one must fit"),
        (CutRules(edge_trim_mm=700.0), "edge trims of 700 mm, which leave nothing of a web of 1380 mm"),
        (CutRules(trim_between_mm=-0.1), "trim_between_mm"),
        (CutRules(least_strip_mm=-1.0), "least_strip_mm"),
        (CutRules(least_piece_m=-5.0), "least_piece_m"),
        (CutRules(setup_m=-2.0), "setup_m"),
        (CutRules(setup_m=math.nan), "setup_m"),
        (CutRules(most_cross_cuts=-1), "most_cross_cuts: must not be negative"),
    ],
)
def test_rules_that_make_no_sense_are_refused(rules, says):
    """The message names the rule of the slitter and the value."""
    with pytest.raises(ArgumentError, match=says):
        plan_cut(WEB, avoid=[], widths=[FILM], rules=rules)


def test_a_web_without_area_is_refused():
    """There is nothing to plan on a roll of no length."""
    with pytest.raises(ArgumentError, match="whole: must have area"):
        plan_cut(replace(WEB, along_to_m=0.0), avoid=[], widths=[FILM])


def test_a_width_that_does_not_fit_beside_one_that_does_is_not_used():
    """Widths too wide for this web are left out as long as another fits."""
    plan = plan_cut(
        WEB, avoid=[], widths=[replace(FILM, name="wide", width_mm=1400.0, finish=ByMetre(value_per_m=99.0)), FILM]
    )
    assert {piece.width for piece in plan.pieces} == {"35 mm"}
    assert len(plan.pieces) == 38


LENGTH = FinishedLength(length_m=30.5, value=30.0)
SPLICED = Spliced(length_m=30.5, value=30.0, most_splices=2, least_between_m=5.0)


@pytest.mark.parametrize("make", [plan_cut, greedy_cut])
@pytest.mark.parametrize(
    ("finish", "names"),
    [
        (ByMetre(value_per_m=1.0, second_per_m=1.5), "second_per_m: second quality must not be worth more"),
        (ByMetre(value_per_m=math.nan), "value_per_m"),
        (ByMetre(value_per_m=1.0, second_per_m=-0.1), "second_per_m"),
        (ByMetre(value_per_m=1.0, second_per_m=math.nan), "second_per_m"),
        (ByLength(lengths=()), "lengths: at least one"),
        (ByLength(lengths=(LENGTH, replace(LENGTH, value=29.0))), "lengths: each name only once"),
        (ByLength(lengths=(replace(LENGTH, length_m=0.0),)), "length_m: must be finite and greater than 0"),
        (ByLength(lengths=(replace(LENGTH, length_m=-1.0),)), "length_m"),
        (ByLength(lengths=(replace(LENGTH, length_m=math.inf),)), "length_m"),
        (ByLength(lengths=(replace(LENGTH, value=math.nan),)), "30.5 m: value"),
        (
            ByLength(lengths=(replace(LENGTH, second_value=31.0),)),
            "second_value: second quality must not be worth more",
        ),
        (replace(SPLICED, length_m=0.0), "length_m"),
        (replace(SPLICED, value=math.nan), "value"),
        (replace(SPLICED, most_splices=-1), "most_splices: must not be negative"),
        (replace(SPLICED, least_between_m=0.0), "least_between_m"),
        (replace(SPLICED, least_between_m=math.nan), "least_between_m"),
        (replace(SPLICED, loss_per_splice=-1.0), "loss_per_splice"),
    ],
)
def test_a_way_of_selling_that_makes_no_sense_is_refused(make, finish, names):
    """The message names the width and which of its values is wrong."""
    with pytest.raises(ArgumentError, match=names) as refused:
        make(WEB, avoid=[], widths=[replace(FILM, finish=finish)])
    assert "35 mm" in refused.value.where


@pytest.mark.parametrize("make", [plan_cut, greedy_cut])
@pytest.mark.parametrize(
    ("rules", "names"),
    [
        (CutRules(setup_minutes=-1.0), "setup_minutes"),
        (CutRules(stop_minutes=math.nan), "stop_minutes"),
        (CutRules(value_per_minute=math.inf), "value_per_minute"),
        (CutRules(value_per_minute=-1.0), "value_per_minute"),
        (CutRules(most_run_m=0.0), "most_run_m"),
        (CutRules(most_run_m=-5.0), "most_run_m"),
        (CutRules(most_run_m=math.nan), "most_run_m"),
        (CutRules(most_diameter_mm=300.0), "thickness_mm"),
        (CutRules(most_diameter_mm=70.0, core_diameter_mm=76.0, thickness_mm=0.14), "most_diameter_mm"),
        (CutRules(most_diameter_mm=math.nan, thickness_mm=0.14), "most_diameter_mm"),
        (CutRules(thickness_mm=-0.1), "thickness_mm"),
    ],
)
def test_time_and_winding_that_make_no_sense_are_refused(make, rules, names):
    """The message names the rule; a greatest diameter needs the film's thickness, and a core that is smaller."""
    with pytest.raises(ArgumentError, match=names):
        make(WEB, avoid=[], widths=[FILM], rules=rules)


@pytest.mark.parametrize("make", [plan_cut, greedy_cut])
def test_limits_on_marks_are_checked(make):
    """A limit below 0 is refused by its name, and so are two limits of one name."""
    limit = CountLimit(name="spots", most=-1, marks=())
    with pytest.raises(ArgumentError, match="count limit spots: most: must not be negative"):
        make(WEB, avoid=[], widths=[FILM], counts=[limit])
    with pytest.raises(ArgumentError, match="counts: each name only once"):
        make(WEB, avoid=[], widths=[FILM], counts=[replace(limit, most=1), replace(limit, most=2)])


def test_an_inverted_or_unbounded_region_is_refused():
    """A rectangle whose end lies before its start, or isn't a number, can't be made."""
    for changed in ({"along_from_m": 43.0}, {"across_to_mm": -1.0}, {"along_to_m": math.nan}):
        with pytest.raises(ArgumentError, match="extent a"):
            Avoid(extent=replace(WEB, **changed), reason="dirt")


def test_a_length_longer_than_the_roll_is_allowed_and_not_cut():
    """A finished length that no roll of this size gives is left aside; with no other, nothing is cut."""
    short, long = LENGTH, FinishedLength(length_m=305.0, value=400.0)
    both = plan_cut(WEB, avoid=[], widths=[replace(FILM, finish=ByLength(lengths=(short, long)))])
    assert {roll.length_m for roll in both.rolls} == {30.5}
    assert len(both.rolls) == 1364 // 34.975
    for finish in (ByLength(lengths=(long,)), replace(SPLICED, length_m=305.0)):
        plan = plan_cut(WEB, avoid=[], widths=[replace(FILM, finish=finish)])
        assert (plan.pieces, plan.rolls, plan.net) == ((), (), 0.0)
