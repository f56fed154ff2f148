"""The cut in tables: pieces, waste, knives, yield and wishes."""

from dataclasses import replace
from itertools import pairwise

import pytest

from wideroll.report.cut_grids import cut_grid, regions_grid, run_grid, waste_grid
from wideroll.report.cut_head import INCHES
from wideroll.report.cut_places import knife_sets, place_pieces, waste_of
from wideroll.report.cut_words import kept_sentence, proof_words, work_sentence, worth_sentence
from wideroll.report.cut_yield import counts_grid, losses_grid, wishes_grid, yield_grid
from wideroll.report.knife_grids import knives_grid, sets_grid
from wideroll.slitting.model import KnifeAt
from wideroll.slitting.wishes import WishPrice


def _texts(grid):
    return [[cell.text for cell in row] for row in grid.rows]


def test_knives_stand_lane_by_lane_from_the_datum_edge(assessment):
    """Each knife is at the border of a lane; from one to the next lies the lane's width, then the edge trim."""
    knives = knife_sets(assessment.plan)[-1]
    grid = knives_grid(assessment.plan, knives)
    cells = [row[start : start + 3] for start in range(0, len(grid.columns), 3) for row in grid.rows]
    places = [(float(at.text), after.text) for number, at, after in cells if number.text]
    assert len(places) == len(knives.lanes) + 1
    assert places[0] == (8.0, "34.975  lane 01")
    assert places[-1] == (1372.025, "7.975  edge trim")
    assert all(b - a == pytest.approx(34.975) for (a, _), (b, _) in pairwise(places))


def test_like_pieces_side_by_side_share_a_row(assessment):
    """39 lanes cut alike are one row of the list, with their lanes together."""
    rows = _texts(cut_grid(assessment.plan))
    assert len(rows) == 3
    assert [row[4] for row in rows] == ["all 37", "all 39", "all 39"]
    assert [row[1] for row in rows] == ["0.00 to 21.80", "23.80 to 32.00", "34.00 to 42.00"]


def test_labels_that_end_with_their_lanes_are_drawn_together(small_cut):
    """Several rolls whose numbers differ by the lane alone stand as one label; a single one in full."""
    whole = small_cut.whole
    twin = replace(small_cut.pieces[1], number="001-02", roll="001-02", width="35 mm")
    twin = replace(twin, extent=replace(twin.extent, along_from_m=70.0))
    plan = replace(small_cut, pieces=(small_cut.pieces[0], twin), rolls=(), whole=whole)
    assert [row[0] for row in _texts(cut_grid(plan))] == ["001-lane"]
    assert [row[4] for row in _texts(cut_grid(plan))] == ["01, 02"]


def test_a_run_lists_what_is_cut_in_it(small_cut):
    """Pieces of a run stand in the slitter's order, parts of a spliced roll under its number, seconds by word."""
    first, _ = knife_sets(small_cut)
    grid = run_grid(small_cut, place_pieces(small_cut), first, 2)
    assert [row[0] for row in _texts(grid)] == ["003-01", "001-02", "003-03", "004-03", "005-03"]
    assert grid.rows[1][0].note == "part 3 of 3"
    assert grid.rows[3][-2].text == "◇ second"
    assert "run 2 of 2" in grid.caption


def test_what_is_cut_out_is_told_with_its_reason(small_cut):
    """Between the pieces each stretch of each lane is cut out, for what lies there or because no piece fits."""
    first, then = knife_sets(small_cut)
    assert _texts(waste_grid(small_cut, first, 1)) == [["20.00 to 25.00", "5.00", "02", "cut out: streak", "☐"]]
    assert [row[3] for row in _texts(waste_grid(small_cut, first, 2))] == ["left over: no piece fits"]
    assert [row[:3] for row in _texts(waste_grid(small_cut, then, 1))] == [
        ["62.00 to 92.00", "30.00", "02"],
        ["76.00 to 80.00", "4.00", "01"],
    ]


def test_pieces_and_waste_fill_the_lanes(small_cut, assessment):
    """In each run pieces and what is cut out together are as long as its lanes."""
    for plan in (small_cut, assessment.plan):
        placed = place_pieces(plan)
        for knives in knife_sets(plan):
            for rank, run in enumerate(knives.runs, start=1):
                kept = sum(p.piece.extent.length_m for p in placed if (p.knife_set, p.run) == (knives.number, rank))
                lost = sum((one.along_to_m - one.along_from_m) * len(one.lanes) for one in waste_of(plan, run))
                assert kept + lost == pytest.approx(len(run.lanes) * (run.along_to_m - run.along_from_m))


def test_the_sets_and_what_is_lost_between_them_cover_the_web(small_cut):
    """The table of knife sets goes through the whole web in the slitter's order, stops and lost web named."""
    rows = _texts(sets_grid(small_cut))
    assert [row[:4] for row in rows] == [
        ["1", "0.00 to 60.00", "40.00 to 100.00", "30.00"],
        ["–", "60.00 to 62.00", "38.00 to 40.00", ""],
        ["2", "62.00 to 100.00", "0.00 to 38.00", "92.00"],
    ]
    assert rows[0][4] == "all of it"
    assert rows[2][4] == "62.00 to 76.00; 80.00 to 100.00"
    assert "lost" in rows[1][-1]


def test_tables_speak_the_shops_units(small_cut):
    """In inches every place, length and area is in feet, inches and square feet, and the heads say so."""
    knives = knife_sets(small_cut)[0]
    assert _texts(run_grid(small_cut, place_pieces(small_cut), knives, 1, INCHES))[0][1] == "0.00 to 98.43"
    assert _texts(knives_grid(small_cut, knives, INCHES))[0][:3] == ["1", "0.1969", "1.3770  lane 01"]
    for grid in (cut_grid(small_cut, INCHES), sets_grid(small_cut, INCHES), regions_grid(small_cut, INCHES)):
        heads = " ".join(column.head for column in grid.columns)
        assert ", ft" in heads
        assert ", m" not in heads
    assert _texts(losses_grid(small_cut, INCHES))[0][1] == "10.8"


def test_yield_tells_first_from_second(small_cut):
    """The yield has a row for each width and quality, with the share of the web."""
    rows = _texts(yield_grid(small_cut))
    assert [row[:4] for row in rows][-1] == ["16 mm", "second", "1", "1"]
    assert rows[0][4:7] == ["60.00", "2.10", "17.5 %"]


def test_marks_carried_stand_beside_the_limit(small_cut):
    """The fullest roll's marks stand beside what is allowed."""
    assert _texts(counts_grid(small_cut)) == [["small spots", "2", "1", "1"]]


def test_wishes_are_priced_alone_and_together():
    """Each wish has its cost; with several, the last row is all together."""
    one, two = KnifeAt(across_mm=10.0), KnifeAt(across_mm=20.0)
    prices = [
        WishPrice(wishes=wishes, net_without=1000.0, net_with=net)
        for wishes, net in (((one,), 990.0), ((two,), 1000.0), ((one, two), 980.0))
    ]
    rows = _texts(wishes_grid(prices))
    assert [row[0] for row in rows] == ["a knife at 10.000 mm", "a knife at 20.000 mm", "all together"]
    assert [row[3] for row in rows] == ["10.0", "0.0", "20.0"]


def test_sentences_say_work_worth_and_proof(small_cut):
    """Rolls, stops, minutes, cost and how far the bound lies are said with their numbers."""
    assert work_sentence(small_cut) == (
        "10 finished rolls (1 spliced, 1 of second quality) in 12 pieces, with 2 knife sets and 2 stops; "
        "about 16 minutes for knives and stops."
    )
    assert "Value 134.6 less 8.0 for the slitter's time (16 minutes) is net 126.6" in worth_sentence(small_cut)
    assert proof_words(small_cut) == (
        "no cut under the same rules can be worth more than 140.0, 9.6 % more; "
        "1 place for setting the knives anew left untried"
    )
    assert "proven best" in proof_words(replace(small_cut, optimal=True))
    assert kept_sentence(replace(small_cut, pieces=())) == "No piece can be cut from this roll."


def test_a_plan_without_pieces_has_its_tables(small_cut):
    """Where nothing can be kept each table says so instead of being broken."""
    empty = replace(small_cut, pieces=(), rolls=(), runs=())
    assert cut_grid(empty).rows == ()
    assert sets_grid(empty).rows == ()
    assert yield_grid(empty).rows == ()
    assert "nothing is slit" in sets_grid(empty).empty
