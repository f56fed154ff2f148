"""Expected costs as a table and in words."""

import io
import math
from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.console import Console

from wideroll.release import Choice, CostTable, Escaped, PartCosts, Verdict
from wideroll.report import costs_table, render_sheet
from wideroll.report.cost_grids import cost_words, costs_grid
from wideroll.report.machine import decision_json
from wideroll.roll import Extent

WHOLE = Extent(along_from_m=0.0, along_to_m=42.0, across_from_mm=0.0, across_to_mm=1380.0)


def _part(**given):
    parts = {
        "extent": WHOLE,
        "verdict": Verdict.CUT_OUT,
        "area_m2": 58.0,
        "release": 92.9,
        "release_low": 68.6,
        "release_high": 160.7,
        "criteria": 53.5,
        "rest": math.nan,
        "scrap": 231.8,
        "look": 41.25,
        "sheets": 3,
        "escaped": (Escaped(criterion="Spots", per="mark", number=169.0, cost=92.8),),
        "unknown": (),
        "unknown_rest": (),
        "cheapest": Choice.LOOK,
        "saves": 12.25,
    }
    return PartCosts(**(parts | given))


def _table(**given):
    parts = {"currency": "GBP", "sheet": 6.0, "sheet_m2": 0.4, "strip": math.nan, "parts": (), "not_costed": ()}
    return CostTable(**({"roll": _part()} | parts | given))


@pytest.fixture(scope="module")
def held():
    """A part that waits, for what has no cost."""
    return _part(
        extent=replace(WHOLE, along_to_m=6.3),
        verdict=Verdict.HOLD,
        criteria=0.0,
        unknown=("Strips",),
        unknown_rest=("Strips",),
        cheapest=None,
        saves=math.nan,
    )


def test_what_is_cheaper_than_the_criteria_is_said_and_that_they_rule():
    """The choice, how much it saves, and who decides stand in one sentence."""
    assert cost_words(_table())[0] == (
        "By cost alone, to look at 3 more sheets first would be cheaper for the roll by 12.2 GBP; the criteria rule."
    )


def test_criteria_that_are_cheapest_are_said_to_be():
    """Where no choice is cheaper, that is said too."""
    words = cost_words(_table(roll=_part(cheapest=Choice.CRITERIA, saves=0.0)))
    assert words[0] == "By cost, too, no other choice for the roll is cheaper than to follow the criteria."


def test_a_hold_is_no_end(held):
    """On hold the words say that nothing is sold, and what would end it."""
    roll = _part(verdict=Verdict.HOLD, criteria=0.0, cheapest=Choice.SCRAP, saves=3.0)
    assert cost_words(_table(roll=roll))[0] == (
        "On hold nothing is sold. Of what may end it, to scrap it costs least, 3.0 GBP less than the next; "
        "the criteria rule."
    )
    assert "waits, nothing is sold" in {cell.note for cell in costs_grid(_table(parts=(held,))).rows[1]}


def test_what_is_not_known_is_never_a_number(held):
    """A release whose cost isn't known in full is a least one, names what is missing, and has no cheapest choice."""
    cells = costs_grid(_table(parts=(held,))).rows[1]
    assert "at least 92.9" in {cell.text for cell in cells}
    assert "68.6 to 160.7; without Strips" in {cell.note for cell in cells}
    assert cells[-1].text == "can't be said"


def test_what_has_no_cost_is_named():
    """Criteria without a cost aren't silently 0, and a strip's cost is said where it is given."""
    words = cost_words(_table(not_costed=("Bands", "Metal"), strip=9.0))
    assert "No cost is given for Bands, Metal: not in these sums, which isn't to say 0." in words
    assert "A further strip costs 9.0 GBP; what it would tell isn't weighed." in words


def test_many_parts_are_cut_short(held):
    """Of very many parts the first are shown, those on hold before others, and the rest are counted."""
    parts = tuple(_part(extent=replace(WHOLE, along_from_m=float(n))) for n in range(10, 30))
    grid = costs_grid(_table(parts=(*parts, held)))
    assert (len(grid.rows), grid.left_out) == (8, 14)
    assert grid.rows[1][0].note == "▲ hold"


def test_costs_fit_100_columns(held):
    """In a terminal of 100 columns the table is whole, with the column for the rest too."""
    table = _table(roll=_part(rest=60.0, verdict=Verdict.HOLD), parts=(held, _part()))
    out = io.StringIO()
    Console(file=out, width=100, no_color=True, force_terminal=False).print(costs_table(table))
    assert max(cell_len(line) for line in out.getvalue().splitlines()) <= 100
    assert Choice.REST.value.split(",", maxsplit=1)[0] in out.getvalue()


def test_costs_stand_in_the_sheet_and_the_document(assessment):
    """Where a product has costs the sheet has a section and the document a table; else neither."""
    with_costs = replace(assessment, costs=_table())
    assert "<h2>Expected costs</h2>" in render_sheet(with_costs)
    assert decision_json(with_costs)["costs"]["roll"]["cheapest"] == "look further first"
    assert "<h2>Expected costs</h2>" not in render_sheet(assessment)
    assert decision_json(assessment)["costs"] is None
