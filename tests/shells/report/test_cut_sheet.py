"""The cut sheet for the slitter, and the picture on it."""

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from itertools import pairwise
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from wideroll.report import CutHead, CutStatus, cut_caption, cut_head_of, draw_cut, render_cut_sheet, units_of
from wideroll.report.canvas import width_in_along
from wideroll.report.cut_marks import scene_of
from wideroll.report.cut_picture import detail_stretches
from wideroll.report.cut_regions import arranged_flags, place_numbers
from wideroll.roll import Extent, ShopUnits
from wideroll.slitting.model import Avoid, CrossCutAt, KnifeAt
from wideroll.slitting.wishes import WishPrice

SVG = "{http://www.w3.org/2000/svg}"
HEAD = CutHead(roll="W-7", status=CutStatus.RELEASED, product="Sheet 100", plant="Little Mere", datum_edge="drive side")


def words(svg):
    """The texts of a drawing."""
    return ["".join(text.itertext()) for text in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314  (drawn here)


class Tags(HTMLParser):
    """The tags of a page, and those left open."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.open = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Note a tag that opens."""
        del attrs
        self.tags.append(tag)
        if tag not in {"meta", "br", "img", "link"} and "svg" not in self.open:
            self.open.append(tag)

    def handle_endtag(self, tag):
        """Note a tag that closes."""
        if tag in self.open:
            assert self.open.pop() == tag or tag == "svg"


@pytest.fixture(scope="module")
def page(small_cut):
    """The sheet of the small cut."""
    return render_cut_sheet(small_cut, HEAD)


def test_the_caution_comes_first(page):
    """Before anything that is to be done stands what can hurt, and that site procedure rules."""
    caution = page.index("Caution</strong>")
    assert caution < page.index("Released") < page.index("Knife set 1 of 2")
    for word in ("web moves", "nips", "rotary knives", "guards", "lock out", "dark", "site procedure", "local code"):
        assert word in page


def test_the_sheet_goes_through_the_web_as_the_slitter_does(page):
    """Sets, runs, stops, changes and lost web come in the order of the slitter's counter."""
    text = unescape(page)
    told = [
        "Knife set 1 of 2: slitter 0.00 to 60.00 m",
        "At slitter 30.00 m: stop, cut all lanes and take the wound rolls off. The knives stay.",
        "At slitter 60.00 m: stop, cut all lanes, take the wound rolls off and set the knives anew (set 2).",
        "2.00 m of web is lost; go on at slitter 62.00 m.",
        "Knife set 2 of 2: slitter 62.00 to 100.00 m",
        "At slitter 92.00 m: stop",
        "This was the last knife set.",
        "What it yields",
    ]
    places = [text.index(one) for one in told]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("status", "word"),
    [(CutStatus.PROVISIONAL, "PROVISIONAL"), (CutStatus.WHAT_IF, "WHAT-IF"), (CutStatus.REJECTED, "REJECTED")],
)
def test_what_may_not_be_slit_says_so_on_each_page_and_picture(small_cut, status, word):
    """A list that nobody may slit by warns in the banner, in the head of each printed page and in the picture."""
    head = replace(HEAD, status=status)
    page = render_cut_sheet(small_cut, head)
    assert re.search(rf'@top-left {{ content: "{word}: [^"]*don\'t slit"', page)
    assert any(word in one for one in words(draw_cut(small_cut, head)))
    assert "@top-left" not in render_cut_sheet(small_cut, HEAD)


def test_the_page_is_whole_and_sends_for_nothing(page):
    """Tags close, there is no script, and no outside address."""
    tags = Tags(page)
    assert tags.open == []
    assert "script" not in tags.tags
    assert "http" not in page.replace("http://www.w3.org/", "")


def test_names_are_escaped(small_cut):
    """What people wrote as names and reasons never becomes part of the page."""
    evil = "<img src=x onerror=alert(1)>\"'&$x_1$</style>"
    avoid = (replace(small_cut.avoid[0], reason=evil), *small_cut.avoid[1:])
    head = replace(HEAD, roll=evil, product=evil, plant=evil, datum_edge=evil)
    tags = Tags(render_cut_sheet(replace(small_cut, avoid=avoid), head))
    assert "img" not in tags.tags
    assert tags.open == []


def test_the_same_plan_gives_the_same_bytes(small_cut, page):
    """Nothing on the sheet depends on when or where it is made."""
    assert render_cut_sheet(small_cut, HEAD) == page


def test_a_what_if_shows_what_the_wishes_cost(small_cut):
    """The wishes stand on the sheet with their prices, and are drawn."""
    wishes = (KnifeAt(across_mm=39.975), CrossCutAt(along_m=40.0))
    plan, head = replace(small_cut, wishes=wishes), replace(HEAD, status=CutStatus.WHAT_IF)
    page = render_cut_sheet(plan, head, [WishPrice(wishes=wishes[:1], net_without=130.0, net_with=126.6)])
    assert "What the wishes cost" in page
    assert "a knife at 39.975 mm" in page
    assert "as wished" in words(draw_cut(plan, head))
    assert "as wished" not in words(draw_cut(small_cut, HEAD))


def test_a_rejected_roll_has_a_sheet_that_says_nothing_is_cut():
    """Without a plan the sheet stands, with its status and no list."""
    page = render_cut_sheet(None, replace(HEAD, status=CutStatus.REJECTED))
    assert "Nothing of this roll is cut." in page
    assert "Knife set" not in page


def test_the_picture_names_pieces_parts_and_seconds(small_cut):
    """Pieces carry their numbers, parts of a spliced roll its number with their place in it, seconds their sign."""
    drawn = words(draw_cut(small_cut, HEAD))
    assert {"001-01 · 35 mm", "001-02 1/3", "001-02 3/3", "knife set 1", "knife set 2"} <= set(drawn)
    assert any(word.startswith("◇") and "004-03" in word for word in drawn)
    assert "1 cut out: streak · 2 cut out: haze (second quality) · 3 hold: dirty stretch" in drawn
    keys = {"stop: rolls taken off", "knives set anew", "spliced into one roll", "◇ piece of second quality"}
    assert keys | {"avoided, as numbered", "downgraded, as numbered"} <= set(drawn)


def test_reasons_are_numbered_once(assessment):
    """Pieces carry number and width, avoided parts the number of their reason, and both scales are there."""
    drawn = words(draw_cut(assessment.plan, cut_head_of(assessment)))
    assert {"P001 · 35", "P115 · 35", "1", "2", "←  slitter, m", "avoided, as numbered"} <= set(drawn)
    assert {"knife set 1", "knife set 3", "1 dirty stretch · 2 streak"} <= set(drawn)


def test_a_narrow_lane_carries_its_number(assessment):
    """A lane of 16 mm is labelled, in smaller letters than a wide one."""
    plan = assessment.plan
    narrow = replace(plan.pieces[0].extent, across_from_mm=8.0, across_to_mm=23.95)
    pieces = (replace(plan.pieces[0], number="001-01", width="16", extent=narrow), *plan.pieces[1:])
    sizes = {
        "".join(text.itertext()): float(re.search(r"([\d.]+)px", text.get("style"))[1])
        for text in ET.fromstring(draw_cut(replace(plan, pieces=pieces), HEAD)).iter(f"{SVG}text")  # noqa: S314
    }
    assert 5.0 <= sizes["001-01 · 16"] < sizes["P002 · 35"]


def test_slitter_metres_run_against_coated_metres(assessment):
    """On the slitter's scale 0 stands over the tail."""
    zeros = [
        (float(text.get("x")), float(text.get("y")))
        for text in ET.fromstring(draw_cut(assessment.plan, HEAD)).iter(f"{SVG}text")  # noqa: S314
        if "".join(text.itertext()) == "0" and "middle" in text.get("style", "")
    ]
    top, bottom = sorted(zeros, key=lambda place: place[1])[:2]
    assert top[0] - bottom[0] > 400.0


def test_the_picture_is_drawn_in_the_shops_units(small_cut):
    """In inches the scales say feet and inches: 100 m of 120 mm end before 330 ft and 5 in."""
    drawn = words(draw_cut(small_cut, replace(HEAD, units=units_of(ShopUnits.INCHES))))
    assert {"←  slitter, ft", "across, in", "head  ←  along, coated ft  →  tail"} <= set(drawn)
    scale = [float(word) for word in drawn if word.replace(".", "").isdigit()]
    assert 250.0 < max(scale) <= 328.1


def test_a_cut_without_pieces_is_drawn_and_said(assessment):
    """When nothing can be kept the picture still shows what is avoided."""
    empty = replace(assessment.plan, pieces=(), runs=(), value=0.0)
    assert cut_caption(empty) == "No piece can be cut from this roll."
    assert "1 dirty stretch · 2 streak" in words(draw_cut(empty, HEAD))


def test_an_unproven_cut_says_by_how_much_it_could_be_better(assessment):
    """A cut that isn't proven best names the bound."""
    assert "can net more than 2000" in cut_caption(replace(assessment.plan, optimal=False, bound=2000.0))


def test_short_pieces_get_pictures_of_their_own_stretches(assessment):
    """Where the whole picture can't hold the labels, stretches from tail to head are drawn too, and hold more."""
    plan = assessment.plan
    assert detail_stretches(plan) == ()
    pieces = tuple(
        replace(
            piece,
            number=f"{rank:03d}-{lane:02d}",
            extent=replace(piece.extent, along_from_m=41.0 - rank, along_to_m=42.0 - rank),
        )
        for lane, piece in enumerate(plan.pieces[:37], start=1)
        for rank in range(20)
    )
    short = replace(plan, pieces=pieces)
    stretches = detail_stretches(short)
    assert (stretches[0][1], stretches[-1][0]) == (42.0, 0.0)
    assert all(before[0] == after[1] for before, after in pairwise(stretches))
    whole, part = (scene_of(short, stretch) for stretch in (None, stretches[0]))
    assert not any(whole.label(one)[0] for one in whole.pieces)
    assert sum(bool(part.label(one)[0]) for one in part.pieces) > len(part.pieces) // 2
    assert render_cut_sheet(short, HEAD).count("<figure>") == len(stretches) + 1


def test_with_very_many_regions_no_leader_crosses_the_web(assessment):
    """60 small regions have their numbers beside them, or none where a label would be hidden, and no leaders."""
    spots = tuple(
        Avoid(
            extent=Extent(along_from_m=at, along_to_m=at + 0.05, across_from_mm=20.0 * n, across_to_mm=20.0 * n + 5.0),
            reason="large spots",
        )
        for n, at in enumerate(0.65 * rank for rank in range(60))
    )
    svg = draw_cut(replace(assessment.plan, avoid=spots), HEAD)
    numbers = [word for word in words(svg) if word == "1"]
    assert 10 < len(numbers) <= 60


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("stretch", [None, (14.0, 28.0)])
def test_numbers_of_regions_stand_whole_and_hide_no_label(assessment, seed, stretch):
    """A region's number lies wholly inside the picture, on no label of a piece and on no other number."""
    draw = np.random.Generator(np.random.PCG64(seed))
    avoid = []
    for rank in range(25):
        at, low = draw.uniform(0.0, 40.0), draw.choice([0.0, 1370.0, draw.uniform(0.0, 1340.0)])
        extent = Extent(
            along_from_m=at,
            along_to_m=min(at + draw.choice([0.1, 1.0, 12.0]), 42.0),
            across_from_mm=low,
            across_to_mm=min(low + draw.choice([4.0, 40.0, 400.0]), 1380.0),
        )
        avoid.append(Avoid(extent=extent, reason=f"reason {rank % 12}", downgrade=rank % 3 == 0))
    scene = scene_of(replace(assessment.plan, avoid=tuple(avoid)), stretch)
    numbers = place_numbers(scene)
    assert len(numbers) >= len(scene.regions()) / 2
    boxes = [_box_of(scene, one) for one in numbers.values()]
    for rank, box in enumerate(boxes):
        assert scene.web.along_from_m - 1e-9 <= box[0] <= box[1] <= scene.web.along_to_m + 1e-9
        assert scene.web.across_from_mm - 1e-9 <= box[2] <= box[3] <= scene.web.across_to_mm + 1e-9
        assert not any(_meet(box, other) for other in (*scene.label_boxes(), *boxes[:rank]))
    flags = arranged_flags(scene, numbers)
    assert not flags or len(flags) + len(numbers) <= len(scene.regions())


def _box_of(scene, one):
    half_m, half_mm = width_in_along(scene.web, f"{one.number} ") / 2.0, scene.tall_mm(7.5) / 2.0
    return one.along_m - half_m, one.along_m + half_m, one.across_mm - half_mm, one.across_mm + half_mm


def _meet(box, other):
    tiny = 1e-6
    along = box[0] < other[1] - tiny and box[1] > other[0] + tiny
    return along and box[2] < other[3] - tiny and box[3] > other[2] + tiny


def test_a_number_stands_on_free_film_where_there_is_some(small_cut):
    """Downgraded film holds pieces and waste: the number of its reason stands on the waste."""
    haze = Avoid(
        extent=Extent(along_from_m=40.0, along_to_m=70.0, across_from_mm=0.0, across_to_mm=120.0),
        reason="haze",
        downgrade=True,
    )
    plan = replace(small_cut, avoid=(haze,))
    (one,) = place_numbers(scene_of(plan, None)).values()
    on_piece = [
        piece.number
        for piece in plan.pieces
        if piece.extent.along_from_m < one.along_m < piece.extent.along_to_m
        and piece.extent.across_from_mm < one.across_mm < piece.extent.across_to_mm
    ]
    assert on_piece == []


def test_the_decision_sheet_says_where_the_list_is(assessment):
    """The head of the cut list is the decision's: a roll on hold has a provisional one."""
    assert cut_head_of(assessment).status is CutStatus.PROVISIONAL
    assert cut_head_of(assessment).datum_edge == "operator side"
