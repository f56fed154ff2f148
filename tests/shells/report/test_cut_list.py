"""The cut as CSV and JSON: one small plan, followed by hand."""

import csv
import io
import json
from dataclasses import replace

import pytest

from wideroll.report import CutHead, CutStatus, cut_json, cut_list_csv, units_of
from wideroll.report.cut_words import proof_words
from wideroll.roll import ShopUnits
from wideroll.slitting.model import CrossCutAt, KnifeAt, WithoutWidth
from wideroll.slitting.wishes import WishPrice

HEAD = CutHead(roll="W-7", status=CutStatus.RELEASED, datum_edge="drive side")
GOLDEN = """\
roll,status,label,piece,finished_roll,part,parts,width,quality,order,knife_set,run,lane,slitter_from_m,slitter_to_m,\
coated_from_m,coated_to_m,rewinder_from_m,rewinder_to_m,across_from_mm,across_to_mm,length_m,value,marks: small spots
W-7,released,W-7/001-01,001-01,001-01,1,1,35 mm,first,,1,1,1,\
0.000,30.000,70.000,100.000,0.000,30.000,5.000,39.975,30.000,30.000,1
W-7,released,W-7/001-02,001-02,001-02,1,3,35 mm spliced,first,,1,1,2,\
0.000,20.000,80.000,100.000,10.000,30.000,39.975,74.950,20.000,20.000,0
W-7,released,W-7/001-03,001-03,001-03,1,1,16 mm,first,,1,1,3,\
0.000,30.000,70.000,100.000,0.000,30.000,80.000,95.950,30.000,12.000,0
W-7,released,W-7/001-02,002-02,001-02,2,3,35 mm spliced,first,,1,1,2,\
25.000,30.000,70.000,75.000,0.000,5.000,39.975,74.950,5.000,5.000,0
W-7,released,W-7/003-01,003-01,003-01,1,1,35 mm,first,,1,2,1,\
30.000,60.000,40.000,70.000,0.000,30.000,5.000,39.975,30.000,30.000,0
W-7,released,W-7/001-02,003-02,001-02,3,3,35 mm spliced,first,,1,2,2,\
30.000,45.000,55.000,70.000,15.000,30.000,39.975,74.950,15.000,15.000,0
W-7,released,W-7/003-03,003-03,003-03,1,1,16 mm,first,,1,2,3,\
30.000,40.000,60.000,70.000,20.000,30.000,80.000,95.950,10.000,4.000,0
W-7,released,W-7/004-03,004-03,004-03,1,1,16 mm,second,,1,2,3,\
40.000,50.000,50.000,60.000,10.000,20.000,80.000,95.950,10.000,1.000,0
W-7,released,W-7/005-03,005-03,005-03,1,1,16 mm,first,,1,2,3,\
50.000,60.000,40.000,50.000,0.000,10.000,80.000,95.950,10.000,4.000,0
W-7,released,W-7/006-01,006-01,006-01,1,1,16 mm,first,,2,1,1,\
62.000,76.000,24.000,38.000,16.000,30.000,5.000,20.950,14.000,5.600,0
W-7,released,W-7/007-01,007-01,007-01,1,1,16 mm,first,,2,1,1,\
80.000,92.000,8.000,20.000,0.000,12.000,5.000,20.950,12.000,4.800,0
W-7,released,W-7/008-01,008-01,008-01,1,1,16 mm,first,,2,2,1,\
92.000,100.000,0.000,8.000,0.000,8.000,5.000,20.950,8.000,3.200,0
"""


def test_the_list_is_as_written_by_hand(small_cut):
    """Seconds, splices, stops and a change of knives stand in the list as somebody following the plan would write."""
    assert cut_list_csv(small_cut, HEAD).replace("\r\n", "\n") == GOLDEN


def test_each_line_says_whose_it_is_and_whether_it_may_be_slit(assessment):
    """Roll and status stand on each line, and slitter and coated metres add up to the roll."""
    text = cut_list_csv(assessment.plan, CutHead(roll="4711", status=CutStatus.PROVISIONAL))
    lines = list(csv.DictReader(io.StringIO(text)))
    assert {line["piece"] for line in lines} == {piece.number for piece in assessment.plan.pieces}
    assert all(float(line["slitter_from_m"]) + float(line["coated_to_m"]) == pytest.approx(42.0) for line in lines)
    assert {(line["roll"], line["status"]) for line in lines} == {("4711", "provisional: on hold")}


def test_a_rejected_roll_has_a_list_without_pieces():
    """Where nothing may be cut there are the heads of the columns, and in the document no pieces."""
    head = replace(HEAD, status=CutStatus.REJECTED)
    assert len(cut_list_csv(None, head).splitlines()) == 1
    assert cut_json(None, head)["pieces"] == []
    assert cut_json(None, head)["status"] == "rejected"


def test_shop_units_stand_in_the_heads(small_cut):
    """In inches the columns say ft and in, and hold the same places."""
    head = replace(HEAD, units=units_of(ShopUnits.INCHES))
    line = next(csv.DictReader(io.StringIO(cut_list_csv(small_cut, head))))
    assert (line["slitter_to_ft"], line["across_to_in"], line["length_ft"]) == ("98.425", "1.5738", "98.425")
    assert (line["rewinder_from_ft"], line["rewinder_to_ft"]) == ("0.000", "98.425")
    assert not any(name.endswith(("_m", "_mm")) for name in line)


def test_what_people_name_stays_in_its_cell(small_cut):
    """A comma or a quotation mark in a name doesn't move a column."""
    odd = replace(small_cut, counts=(replace(small_cut.counts[0], name='spots, "small"'),))
    rows = list(csv.DictReader(io.StringIO(cut_list_csv(odd, replace(HEAD, roll="a,b")))))
    assert rows[0]['marks: spots, "small"'] == "1"
    assert {row["roll"] for row in rows} == {"a,b"}


def test_the_document_holds_the_plan(small_cut):
    """Rolls, pieces, knife sets, stops and figures are in the document, and it is JSON."""
    made = json.loads(json.dumps(cut_json(small_cut, HEAD), allow_nan=False))
    assert (made["schema"], made["status"], made["what_if"]) == ("wideroll/cut/2", "released", False)
    assert (made["value"], made["cost"], made["net"], made["optimal"], made["left_out"]) == (
        134.6,
        8.0,
        126.6,
        False,
        1,
    )
    first, second = made["knife_sets"]
    assert first["knives_mm"] == [5.0, 39.975, 74.95, 80.0, 95.95]
    assert first["stops"] == [{"slitter_m": 30.0, "coated_m": 70.0}]
    assert (second["slitter_from_m"], second["slitter_to_m"]) == (62.0, 100.0)
    assert [run["run"] for run in second["runs"]] == [1, 2]
    spliced = next(roll for roll in made["rolls"] if roll["splices"])
    assert spliced["label"] == "W-7/001-02"
    assert spliced["pieces"] == ["001-02", "002-02", "003-02"]
    assert made["rolls"][0]["marks"] == {"small spots": 1}
    assert [width["finish"]["sold"] for width in made["widths"]] == ["by length", "spliced", "by the metre"]


def test_the_document_tells_what_is_thrown_out(small_cut):
    """Each stretch thrown out has its lanes, reasons and places; with the pieces it fills each wound lane."""
    made = cut_json(small_cut, HEAD)
    assert made["waste"][0] == {
        "knife_set": 1,
        "run": 1,
        "lanes": [2],
        "reasons": ["cut out: streak"],
        "slitter_from_m": 20.0,
        "slitter_to_m": 25.0,
        "coated_from_m": 75.0,
        "coated_to_m": 80.0,
        "rewinder_from_m": 5.0,
        "rewinder_to_m": 10.0,
    }
    told = [(one["knife_set"], one["run"], lane, one) for one in made["waste"] for lane in one["lanes"]]
    told += [(one["knife_set"], one["run"], one["lane"], one) for one in made["pieces"]]
    for knives in made["knife_sets"]:
        for run in knives["runs"]:
            for lane in knives["lanes"]:
                place = (knives["set"], run["run"], lane["lane"])
                ends = sorted((one["rewinder_from_m"], one["rewinder_to_m"]) for *at, one in told if tuple(at) == place)
                assert [end for _, end in ends[:-1]] == pytest.approx([start for start, _ in ends[1:]])
                assert (ends[0][0], ends[-1][1]) == (0.0, run["slitter_to_m"] - run["slitter_from_m"])


def test_the_document_adds_up(small_cut):
    """Value and area of pieces, rolls and yield are the same sums, and each piece is in the roll that names it."""
    made = cut_json(small_cut, HEAD)
    for name in ("pieces", "rolls", "yield"):
        assert sum(one["value"] for one in made[name]) == pytest.approx(small_cut.value)
        assert sum(one["length_m"] for one in made[name]) == pytest.approx(194.0)
    named = {number: roll["number"] for roll in made["rolls"] for number in roll["pieces"]}
    assert named == {piece["number"]: piece["roll"] for piece in made["pieces"]}
    assert [(one["width"], one["quality"], one["rolls"], one["pieces"]) for one in made["yield"]] == [
        ("35 mm", "first", 2, 2),
        ("35 mm spliced", "first", 1, 3),
        ("16 mm", "first", 6, 6),
        ("16 mm", "second", 1, 1),
    ]


def test_a_what_if_says_so_and_what_it_costs(small_cut):
    """Each kind of wish stands in the document with its words, and the prices with the last for all together."""
    wishes = (KnifeAt(across_mm=612.5), CrossCutAt(along_m=40.0), WithoutWidth(name="16 mm"))
    prices = [WishPrice(wishes=one, net_without=130.0, net_with=120.0) for one in ((wishes[0],), wishes)]
    made = cut_json(replace(small_cut, wishes=wishes), replace(HEAD, status=CutStatus.WHAT_IF), prices)
    assert made["what_if"] is True
    assert [(one["kind"], one["words"]) for one in made["wishes"]] == [
        ("knife at", "a knife at 612.500 mm"),
        ("cross-cut at", "a cross-cut at coated 40.00 m"),
        ("without width", "no lane of 16 mm"),
    ]
    assert [(len(one["wishes"]), one["cost"]) for one in made["prices"]] == [(1, 10.0), (3, 10.0)]


def test_a_finished_roll_says_which_order_it_is_for(small_cut):
    """In a plan for the order book each line and each roll names its order; the plan gives no bound of its own."""
    rolls = (replace(small_cut.rolls[0], order="O-7"), *small_cut.rolls[1:])
    plan = replace(small_cut, rolls=rolls, of_book=True, bound=None, optimal=False)
    lines = list(csv.DictReader(io.StringIO(cut_list_csv(plan, HEAD))))
    assert [line["piece"] for line in lines if line["order"] == "O-7"] == list(rolls[0].pieces)
    made = cut_json(plan, HEAD)
    assert [roll["order"] for roll in made["rolls"]] == ["O-7", *[None] * (len(rolls) - 1)]
    assert (made["of_book"], made["bound"], made["optimal"]) == (True, None, False)
    assert "other rolls of the order book" in proof_words(plan)
