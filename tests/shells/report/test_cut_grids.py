"""The cut in tables: pieces, waste, knives, yield and wishes."""

from dataclasses import replace
from itertools import pairwise

import pytest

from wideroll.report.cut_grids import cut_grid, regions_grid, run_grid
from wideroll.report.cut_head import INCHES
from wideroll.report.cut_places import knife_sets, place_pieces
from wideroll.report.cut_words import kept_sentence, proof_words, work_sentence, worth_sentence
from wideroll.report.cut_yield import counts_grid, losses_grid, wishes_grid, yield_grid
from wideroll.report.grid import printable
from wideroll.report.knife_grids import all_knives_grid, knives_grid, sets_grid
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
    assert grid.rows[3][-1].text == "◇ second"
    assert "run 2 of 2" in grid.caption


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
    assert [row[:4] for row in rows][-2] == ["16 mm", "second", "1", "1"]
    assert rows[0][4:7] == ["60.00", "2.10", "17.5 %"]


def test_what_is_yielded_adds_up_as_shown(small_cut):
    """Values, areas and shares are rounded so that the rows make up the total, which is that of the sentence."""
    values = {"35 mm": 1619.4, "35 mm spliced": 82.45, "16 mm": 70.95}
    pieces = tuple(
        replace(piece, value=values[piece.width] / sum(one.width == piece.width for one in small_cut.pieces))
        for piece in small_cut.pieces
    )
    plan = replace(small_cut, pieces=pieces, value=sum(values.values()))
    grid = yield_grid(plan, currency="GBP")
    rows = _texts(grid)
    assert grid.columns[-1].head == "value, GBP"
    assert rows[-1][0] == "in all"
    assert rows[-1][-1] == "1773"
    assert worth_sentence(plan, "GBP").startswith("Value 1773 GBP")
    assert [row[-1] for row in rows[:2]] == ["1619", "83"]
    for column in (2, 3, 4, 5, 6, 7):
        numbers = [float(row[column].removesuffix(" %")) for row in rows]
        assert sum(numbers[:-1]) == pytest.approx(numbers[-1])
    lost = [float(row[-1].removesuffix(" %")) for row in _texts(losses_grid(small_cut))]
    assert sum(lost[:-1]) == pytest.approx(lost[-1])


def test_a_single_row_needs_no_total(assessment):
    """Where one width in one quality is all, no row repeats it."""
    assert [row[0] for row in _texts(yield_grid(assessment.plan))] == ["35"]


def test_all_knives_stand_in_a_row_for_each_set(small_cut):
    """The terminal's table has each set's knives from the datum edge."""
    rows = _texts(all_knives_grid(small_cut))
    assert [row[3].split() for row in rows] == [
        ["5.000", "39.975", "74.950", "80.000", "95.950"],
        ["5.000", "20.950", "55.925"],
    ]
    assert rows[1][:3] == ["2", "62.00 to 100.00", "2"]


def test_large_numbers_are_readable_in_a_terminal(small_cut):
    """The thin space of a number over 10 000 and the fixed space of a layout are no control characters."""
    long = replace(small_cut, value=71_511.0)
    assert printable(worth_sentence(long)) == worth_sentence(long)
    assert printable(_texts(sets_grid(small_cut))[0][-1]) == _texts(sets_grid(small_cut))[0][-1]


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


def test_a_knife_off_the_scale_is_said_to_be_one():
    """A negative cost isn't left unexplained."""
    knife = KnifeAt(across_mm=0.5)
    (row,) = _texts(wishes_grid([WishPrice(wishes=(knife,), net_without=0.0, net_with=100.0, off_scale=(knife,))]))
    assert row[0] == "a knife at 0.500 mm; not on the knife scale, so it adds a place and may gain"
    assert row[3] == "−100.00"


def test_sentences_say_work_worth_and_proof(small_cut):
    """Rolls, stops, minutes, cost and how far the bound lies are said with their numbers."""
    assert work_sentence(small_cut) == (
        "10 finished rolls (1 spliced, 1 of second quality) in 12 pieces, with 2 knife sets and 2 stops; "
        "about 16 minutes for knives and stops."
    )
    assert "Value 134.6 less 8.0 for the slitter's time (16 minutes) is net 126.6" in worth_sentence(small_cut)
    assert proof_words(small_cut) == (
        "no cut under the same rules can net more than 140.0: at most 9.6 % of that is missed; "
        "1 place for setting the knives anew left untried"
    )
    assert "worth 134.6 (net of the slitter's time 126.6)" in kept_sentence(small_cut)
    assert "proven best" in proof_words(replace(small_cut, optimal=True))
    assert kept_sentence(replace(small_cut, pieces=())) == "No piece can be cut from this roll."


def test_a_plan_without_pieces_has_its_tables(small_cut):
    """Where nothing can be kept each table says so instead of being broken."""
    empty = replace(small_cut, pieces=(), rolls=(), runs=())
    assert cut_grid(empty).rows == ()
    assert sets_grid(empty).rows == ()
    assert yield_grid(empty).rows == ()
    assert "nothing is slit" in sets_grid(empty).empty
