"""A request that no slitter could be set to is refused with one clear message."""

import math
from dataclasses import replace

import pytest

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.slitting import ByMetre, CutRules, SlitWidth, greedy_cut, plan_cut

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
        (CutRules(trim_between_mm=-0.1), "trim_between_mm"),
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
