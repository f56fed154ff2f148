"""What the rewinder is told: each wound lane from its loose end, what is thrown out and why, and splices."""

from dataclasses import replace
from html import unescape

import pytest

from wideroll.report import CutHead, CutStatus, render_cut_sheet
from wideroll.report.cut_head import INCHES
from wideroll.report.cut_places import knife_sets, place_pieces
from wideroll.report.cut_rewinding import rewinding_grid, wound_lanes
from wideroll.report.cut_waste import waste_of
from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, CountLimit


def _lanes(plan, knife_set, run):
    return wound_lanes(plan, place_pieces(plan), knife_sets(plan)[knife_set - 1], run)


def _rows(lanes, units=None):
    grid = rewinding_grid(lanes) if units is None else rewinding_grid(lanes, units)
    return [(row[0].text, row[1].text, row[1].note) for row in grid.rows]


def _spot(from_m, to_m, across_mm=50.0):
    return Extent(along_from_m=from_m, along_to_m=to_m, across_from_mm=across_mm, across_to_mm=across_mm + 1.0)


def test_a_lane_is_told_from_its_loose_end(small_cut):
    """What was slit last comes first, from 0 on, with the counter at each cut and what is thrown out."""
    lane = _lanes(small_cut, 2, 1)[0]
    assert _rows(lane) == [
        ("12.00", "007-01", ""),
        ("16.00", "throw out", "hold: dirty stretch"),
        ("30.00", "006-01", ""),
    ]
    assert _rows(lane, INCHES)[0][0] == "39.37"


def test_parts_of_a_spliced_roll_say_what_they_are_spliced_to(small_cut):
    """The rewinder meets the last part first; each part before says to which it is spliced, and from which run."""
    assert _rows(_lanes(small_cut, 1, 2)[1]) == [
        ("15.00", "throw out", "left over: no piece fits"),
        ("30.00", "001-02", "part 3 of 3"),
    ]
    assert _rows(_lanes(small_cut, 1, 1)[1]) == [
        ("5.00", "001-02", "splice part 2 to part 3, from run 2"),
        ("10.00", "throw out", "cut out: streak"),
        ("30.00", "001-02", "splice part 1 to part 2"),
    ]


def test_second_quality_is_told_beside_the_number(small_cut):
    """A piece of second quality is marked in words and by its sign."""
    assert ("20.00", "004-03", "◇ second quality") in _rows(_lanes(small_cut, 1, 2)[2])


def test_lanes_that_are_rewound_alike_are_told_once(assessment):
    """39 lanes cut alike are one list, with the place that stands before each lane's number."""
    for knife_set, lanes in ((1, 37), (2, 39), (3, 39)):
        (alike,) = _lanes(replace(assessment.plan, pieces=_numbered(assessment.plan), avoid=()), knife_set, 1)
        assert len(alike.lanes) == lanes
        assert _rows(alike)[0][1] == f"00{knife_set}-lane"


def _numbered(plan):
    """The plan's pieces, numbered by place along and lane."""
    placed = place_pieces(plan)
    return [replace(one.piece, number=f"00{one.knife_set}-{one.lane:02d}", roll="") for one in placed]


def test_each_lane_is_told_from_end_to_end(small_cut, assessment):
    """Steps follow one another without gaps from 0 to the length of the run, and each piece is told once."""
    for plan in (small_cut, assessment.plan):
        told = []
        for knives in knife_sets(plan):
            for rank, run in enumerate(knives.runs, start=1):
                lanes = _lanes(plan, knives.number, rank)
                assert sorted(lane for each in lanes for lane in each.lanes) == list(range(1, len(run.lanes) + 1))
                for each in lanes:
                    ends = [0.0, *(step.until_m for step in each.steps)]
                    assert [step.from_m for step in each.steps] == pytest.approx(ends[:-1])
                    assert ends[-1] == pytest.approx(run.along_to_m - run.along_from_m)
                    told += [one.piece.number for step in each.steps for one in step.pieces]
        assert sorted(told) == sorted(piece.number for piece in plan.pieces)


def test_pieces_and_waste_fill_the_lanes(small_cut, assessment):
    """In each run pieces and what is thrown out together are as long as its lanes."""
    for plan in (small_cut, assessment.plan):
        placed = place_pieces(plan)
        for knives in knife_sets(plan):
            for rank, run in enumerate(knives.runs, start=1):
                kept = sum(p.piece.extent.length_m for p in placed if (p.knife_set, p.run) == (knives.number, rank))
                lost = sum((one.along_to_m - one.along_from_m) * len(one.lanes) for one in waste_of(plan, run))
                assert kept + lost == pytest.approx(len(run.lanes) * (run.along_to_m - run.along_from_m))


def _reasons(plan, knife_set=1, run=2):
    return [one.reasons for one in waste_of(plan, knife_sets(plan)[knife_set - 1].runs[run - 1])]


def test_what_is_thrown_out_is_told_with_its_reason(small_cut):
    """Between the pieces each stretch of each lane is thrown out, for what lies there or because no piece fits."""
    assert _reasons(small_cut, 1, 1) == [("cut out: streak",)]
    assert _reasons(small_cut, 1, 2) == [("left over: no piece fits",)]
    assert [
        (one.along_from_m, one.along_to_m, one.lanes) for one in waste_of(small_cut, knife_sets(small_cut)[1].runs[0])
    ] == [
        (8.0, 38.0, (2,)),
        (20.0, 24.0, (1,)),
    ]


def test_marks_are_the_reason_only_where_a_piece_would_fit(small_cut):
    """Film long enough for a part that carries counted marks is left for these; shorter film isn't."""
    counts = (CountLimit(name="small spots", most=0, marks=(_spot(45.0, 45.1),)),)
    assert _reasons(replace(small_cut, counts=counts)) == [("left over: a roll would carry too many marks",)]
    beside = (CountLimit(name="small spots", most=0, marks=(_spot(45.0, 45.1, 100.0),)),)
    assert _reasons(replace(small_cut, counts=beside)) == [("left over: no piece fits",)]
    broken = tuple(Avoid(extent=_spot(at, at + 0.1), reason="cut out: large spots") for at in (44.0, 48.0, 52.0))
    assert _reasons(replace(small_cut, counts=counts, avoid=broken)) == [
        ("cut out: large spots", "left over: no piece fits")
    ]


def test_downgraded_film_says_whether_the_width_is_sold_as_second(small_cut):
    """Of a width without a second quality downgraded film is lost for that; else for what hinders a piece."""
    haze = Avoid(extent=_spot(40.0, 55.0), reason="second quality: haze", downgrade=True)
    plan = replace(small_cut, avoid=(haze,))
    assert _reasons(plan) == [("second quality: haze, not sold of this width",)]
    over = replace(haze, extent=_spot(0.0, 40.0, 21.0))
    assert ("second quality: haze, not sold of this width",) in _reasons(replace(plan, avoid=(over,)), 2, 1)
    bulk = replace(haze, extent=_spot(20.0, 24.0, 6.0))
    assert ("second quality: haze, no piece fits",) in _reasons(replace(plan, avoid=(bulk,)), 2, 1)


def test_of_a_book_film_may_be_left_as_nobody_wants_it(small_cut):
    """A plan for the order book leaves clean film that no order is for, so it doesn't say that no piece fits."""
    plan = replace(small_cut, of_book=True, bound=None, avoid=())
    assert _reasons(plan) == [("left over: no piece fits that is wanted",)]


def test_the_sheet_tells_the_rewinder_where_to_begin(small_cut):
    """The sheet says that the loose end is the end of the run, and lists the later run of a set first."""
    page = unescape(render_cut_sheet(small_cut, CutHead(roll="W-7", status=CutStatus.RELEASED)))
    told = [
        "At the rewinder",
        "What was slit last lies outermost",
        "Set 1, run 2 of 2: wound from slitter 30.00 to 60.00 m",
        "Set 1, run 1 of 2: wound from slitter 0.00 to 30.00 m",
        "splice part 1 to part 2",
        "Set 2, run 2 of 2: wound from",
    ]
    places = [page.index(one) for one in told]
    assert places == sorted(places)
