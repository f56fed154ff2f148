"""The decision sheet."""

import math
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from wideroll.release.model import Verdict
from wideroll.report import render_sheet
from wideroll.roll import Place
from wideroll.workflow.model import Batch, StripRoom

NAMESPACE = "http://www.w3.org/2000/svg"
ORDER = (
    "Why",
    "What was not looked at, and what is missing",
    "Map of the roll",
    "Strips",
    "Repeats",
    "Sightings",
    "Cut",
    "Where this comes from",
    "Signature",
)


class Outline(HTMLParser):
    """Headings, ids, labels that refer to ids, tables and whether tags close."""

    VOID = frozenset({"meta", "br", "link", "img", "hr", "input"})

    def __init__(self, page):
        super().__init__()
        self.headings, self.ids, self.labelled, self.open, self.tags = [], [], [], [], []
        self.attributes = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        """Keep the tag."""
        self.tags.append(tag)
        given = dict(attrs)
        self.attributes.append((tag, given))
        if "id" in given:
            self.ids.append(given["id"])
        self.labelled += (given.get("aria-labelledby") or "").split()
        if re.fullmatch(r"h\d", tag):
            self.headings.append([int(tag[1]), ""])
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        """Keep a tag that closes itself."""
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        """The last opened tag closes first."""
        assert self.open.pop() == tag

    def handle_data(self, data):
        """Keep the words of headings."""
        if self.open and re.fullmatch(r"h\d", self.open[-1]):
            self.headings[-1][1] += data


@pytest.fixture(scope="module")
def page(assessment):
    """The sheet of roll 4711."""
    return render_sheet(assessment)


def test_the_same_assessment_gives_the_same_bytes(assessment, page):
    """Rendered twice, the sheet is the same to the byte."""
    assert render_sheet(assessment) == page


def test_no_outside_address_and_no_script(page):
    """The sheet fetches nothing and runs nothing: the only address is the SVG namespace."""
    assert set(re.findall(r"\w+://[^\s\"'<>)]+", page)) == {NAMESPACE}
    assert "<script" not in page
    assert not re.search(r"(?:src|href)=\"(?!#)", page)
    assert "@import" not in page


@pytest.mark.parametrize("kind", ["assessment", "bare", "dense"])
def test_the_page_is_well_formed(kind, request):
    """Tags close in order, ids are unique, labels point to them, and headings descend one step at a time."""
    outline = Outline(render_sheet(request.getfixturevalue(kind)))
    assert outline.open == []
    assert len(outline.ids) == len(set(outline.ids))
    assert set(outline.labelled) <= set(outline.ids)
    levels = [level for level, _ in outline.headings]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert tuple(text for level, text in outline.headings if level == 2) == ORDER


def test_references_inside_the_figures_resolve(page):
    """Every clip, hatch and marker a figure refers to is in the page once."""
    ids = re.findall(r"id=\"([^\"]+)\"", page)
    wanted = set(re.findall(r"url\(#([^)]+)\)", page)) | set(re.findall(r"href=\"#([^\"]+)\"", page))
    assert wanted
    assert all(ids.count(one) == 1 for one in wanted)


def test_tables_have_scopes_and_captions(page):
    """Each table has a caption and scoped heads, and every figure says what it is."""
    outline = Outline(page)
    assert outline.tags.count("table") == outline.tags.count("caption")
    assert all("scope" in given for tag, given in outline.attributes if tag == "th")
    pictures = [given for tag, given in outline.attributes if tag == "svg"]
    assert len(pictures) == outline.tags.count("figcaption")
    assert all(given["role"] == "img" and given["aria-labelledby"] for given in pictures)


@pytest.mark.parametrize("kind", ["assessment", "bare"])
def test_every_criterion_has_its_row(kind, request):
    """No criterion of the product is left out, judged or not."""
    given = request.getfixturevalue(kind)
    text = render_sheet(given)
    for criterion in given.decision.criteria:
        assert re.search(rf"<th scope=\"row\">{re.escape(criterion.name)}<span", text)
    assert "Static marks" in text
    assert "not judged" in text


def test_hostile_words_are_escaped(assessment):
    """What people wrote is shown as they wrote it and never becomes part of the page."""
    evil = "<img src=x onerror=alert(1)>\"'&$x_1$"
    hostile = replace(
        assessment,
        card=replace(
            assessment.card,
            name="x</style><script>1</script>",
            batches=(Batch(name=evil, along_from_m=0.0, along_to_m=42.0),),
        ),
        plant=replace(assessment.plant, datum_edge=evil),
        decision=replace(assessment.decision, why=evil),
    )
    text = render_sheet(hostile)
    outline = Outline(text)
    assert outline.open == []
    assert "script" not in outline.tags
    assert "img" not in outline.tags
    assert "&lt;script&gt;alert(1)&lt;/script&gt; ring" in text


def test_what_was_not_looked_at_is_said(page):
    """The parts the scanner missed stand in the table with their reason, and the map shows them."""
    assert "scanner blinded by a reflection" in page
    assert "all between its 3 samples" in page
    assert ">not looked at<" in page


def test_void_runs_and_strips_to_repeat_are_said(page):
    """A void run is named with its reason and the strips to repeat."""
    row = re.search(r"<th scope=\"row\">P-302</th>.*?</tr>", page, re.DOTALL)
    assert row is not None
    assert "void" in row[0]
    assert "B-2" in row[0]


def test_a_roller_is_never_named_without_the_caution(page, bare):
    """Before the first roller stands the caution; without a repeat there is none."""
    assert page.index("Caution</strong>") < page.index("guide G4")
    for word in ("nip points", "lock it out", "site procedure", "local code", "licensed practice"):
        assert word in page
    assert "Caution</strong>" not in render_sheet(bare)


def test_the_sheet_can_be_signed(assessment):
    """The last block names roll, product, verdict, the fingerprint of the inputs and the software, with blank lines."""
    text = render_sheet(assessment, fingerprint="ab" * 32)
    block = text[text.index('id="signature"') :]
    for said in ("4711", "Heron 200", "hold", "ab" * 32, "wideroll 0.1.0", "Name", "Date", "Signature"):
        assert said in block
    assert "not given" in render_sheet(assessment)


def test_the_datum_edge_is_the_coaters(page):
    """The sheet says whose side the datum edge's name is, and that the edge stays when the web turns round."""
    assert "datum edge (operator side at the coater)" in page
    assert "still the same edge of the film" in page


@pytest.mark.parametrize(
    ("both", "total", "low", "high", "said"),
    [
        (3, 4.0, 3.0, 11.5, "too few to say"),
        (20, 23.0, 23.0, 23.0, "can't be said"),
        (20, math.nan, math.nan, math.nan, "too few to say"),
        (20, 23.0, 23.0, math.inf, "too few to say"),
        (20, 25.0, 23.0, 31.0, "(23.0 to 31.0)"),
    ],
)
def test_what_escaped_both_is_estimated_only_from_enough(assessment, both, total, low, high, said):
    """From few sightings, or without an interval, no number of marks that escaped both is given."""
    seen = assessment.examination
    matching = replace(seen.matching, matches=seen.matching.matches * both, total=total, total_low=low, total_high=high)
    text = unescape(render_sheet(replace(assessment, examination=replace(seen, matching=matching))))
    assert said in text
    assert ("escaped both: too few" in text) == (said == "too few to say")
    assert "23.0 exactly" not in text


def test_the_cut_of_a_held_roll_is_provisional(assessment, page):
    """A plan for a roll on hold says that it isn't to be slit yet; for a released one it doesn't."""
    assert "Provisional" in page
    free = replace(assessment, decision=replace(assessment.decision, verdict=Verdict.RELEASE))
    assert "provisional" not in render_sheet(free).lower()


def test_a_roll_of_which_nothing_is_known_says_so(bare):
    """Without scan, strips, sheets and plan every part says that it has nothing, and nothing looks good."""
    text = render_sheet(bare)
    assert "not looked at: no scan" in text
    assert "No strips were read" in text
    assert "No sightings" in text
    assert "No cut is planned" in text
    assert "● release" not in text


def test_of_many_strips_the_worst_of_each_batch_is_drawn(assessment):
    """With more than six usable strips only the furthest from aim in each batch is drawn; the table has all."""
    first, second, worst, _ = assessment.strip_room.results
    spread = [
        replace(first, strip=replace(first.strip, name=f"A-{n}", place=Place(along_m=float(n), across_mm=690.0)))
        for n in range(1, 7)
    ]
    room = StripRoom(results=(*spread, replace(second, strip=replace(second.strip, name="A-9")), worst))
    text = render_sheet(replace(assessment, strip_room=room))
    drawn = set(re.findall(r"Curves of strip ([\w-]+)", text))
    assert drawn == {"A-9", "B-1"}
    assert all(f'scope="row">A-{n}<' in text for n in range(1, 7))


def test_a_long_list_of_findings_is_cut_short_openly(assessment):
    """Of very many findings of one criterion the worst are shown, the rest is counted and given below."""
    local = assessment.decision.findings[1]
    many = tuple(
        replace(local, extent=replace(local.extent, along_to_m=9.0 + n / 10.0), margin=-float(n)) for n in range(40)
    )
    text = render_sheet(replace(assessment, decision=replace(assessment.decision, findings=many)))
    assert "28 more are not in this table" in text
    assert "All findings" in text


def test_the_sheet_shows_the_cut_s_yield_and_says_where_its_list_is(page):
    """Picture, yield and losses of the cut stand on the sheet; the list is named, not repeated."""
    assert "cut.html" in page
    assert "Yield by width" in page
    assert "Web that becomes no piece" in page
    assert "Cut list, in the order" not in page
