"""Sheets as PDF: what they say, that they are tagged, and that no text of theirs is ever run."""

import io
import json
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.record import append_event, canonical_bytes, digest, sign_checkpoint
from wideroll.release.model import Verdict
from wideroll.report import CutHead, CutStatus, cut_head_of
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.pdf import (
    Certified,
    PdfSheet,
    PrintedCard,
    Sealed,
    cards_pdf,
    certificate_pdf,
    cut_pdf,
    decision_pdf,
    typeset,
    typesetting,
)
from wideroll.report.pdf.letters import shown, with_breaks
from wideroll.report.pdf.parts import caution, do, heading, pairs, steps, table, verdict, words
from wideroll.workflow.card_json import card_bytes, trial_card

pypdf = pytest.importorskip("pypdf")
pytest.importorskip("typst")

HOSTILE = r'#panic("x") $a^$ *b* `c` _d_ \e "f" @g <h> // = + - [i] {j} #import "k"'
SAID = {"who": "R. Engineer", "version": "0.1.0"}
DOCUMENT = '{"roll": "W-7", "verdict": "cut out", "unit": "µé"}\n'.encode()
DECIDED = append_event(
    None,
    act="decision",
    when_utc="2026-03-01T08:00:07+00:00",
    body={"roll": "W-7", "inputs": "ab" * 32, "outputs": {"decision.json": digest(DOCUMENT)}},
    **SAID,
)
SEALED = Sealed(decision=DECIDED, document=DOCUMENT)
HEAD = CutHead(roll="W-7", status=CutStatus.RELEASED, product="Sheet 100", plant="Little Mere", datum_edge="drive side")


def read(data):
    """The file, opened."""
    return pypdf.PdfReader(io.BytesIO(data), strict=True)


@cache
def pages_of(data):
    """The words of each page."""
    return tuple(page.extract_text() for page in read(data).pages)


def text_of(data):
    """All words of all pages, without line ends and places to break."""
    return " ".join("\n".join(pages_of(data)).replace("\u200b", "").split())


def tags_of(data):
    """The kinds of structure elements."""
    found = set()

    def walk(node):
        node = node.get_object()
        if isinstance(node, list):
            for one in node:
                walk(one)
        elif isinstance(node, dict):
            if "/S" in node:
                found.add(node["/S"])
            if "/K" in node:
                walk(node["/K"])

    walk(read(data).trailer["/Root"]["/StructTreeRoot"])
    return found


def alternatives_of(data):
    """What figures say to those who can't see them."""
    objects = (read(data).get_object(number) for number in range(1, len(read(data).xref[0]) + 1))
    return [str(one["/Alt"]) for one in objects if isinstance(one, dict) and "/Alt" in one]


@pytest.fixture(scope="module")
def certified(assessment):
    """The roll of the assessment, released but for its parts that are cut out."""
    decision = replace(assessment.decision, verdict=Verdict.CUT_OUT)
    head = replace(cut_head_of(assessment), status=CutStatus.RELEASED)
    return Certified(
        card=assessment.card,
        whole=assessment.whole,
        decision=decision,
        plan=assessment.plan,
        head=head,
        sealed=SEALED,
    )


@pytest.fixture(scope="module")
def certificate(certified):
    """Its certificate."""
    return certificate_pdf(certified)


@pytest.fixture(scope="module")
def sheet(assessment):
    """The decision sheet of the assessment."""
    return decision_pdf(assessment, SEALED)


def test_the_same_sheet_is_the_same_bytes(assessment, sheet):
    """A sheet that is set twice gives one file, to the byte."""
    assert decision_pdf(assessment, SEALED) == sheet


def test_a_sheet_is_tagged_and_says_its_language_title_and_date(sheet, assessment):
    """A screen reader finds headings, tables with heads, and figures; title, language and date are the sheet's own."""
    file = read(sheet)
    root = file.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert {"/Document", "/H1", "/H2", "/P", "/Table", "/TR", "/TH", "/TD", "/Figure", "/Caption"} <= tags_of(sheet)
    assert file.metadata.title == f"Decision sheet of roll {assessment.card.name}"
    assert file.metadata.author == "R. Engineer"
    assert file.metadata.creation_date.isoformat() == "2026-03-01T08:00:07+00:00"
    xmp = root["/Metadata"].get_object().get_data().decode()
    assert "<pdfaid:part>3</pdfaid:part>" in xmp
    assert "<pdfuaid:part>1</pdfuaid:part>" in xmp


def test_every_page_is_a4_and_numbered(sheet):
    """Each page is A4, and says which of how many it is and what it is a page of."""
    pages = read(sheet).pages
    assert len(pages) > 3
    for number, (page, said) in enumerate(zip(pages, pages_of(sheet), strict=True), start=1):
        assert [round(float(side)) for side in page.mediabox[2:]] == [595, 842]
        assert f"{number} of {len(pages)}" in said
        assert "(event 1)" in said


def test_the_records_are_attached_to_the_byte(sheet, certificate):
    """The decision's document and its event can be taken out again, and the one names the digest of the other."""
    for data in (sheet, certificate):
        files = {name: content[0] for name, content in read(data).attachments.items()}
        assert files["decision.json"] == DOCUMENT
        event = json.loads(files["event-1.json"])
        assert event["body"]["outputs"]["decision.json"] == digest(files["decision.json"])
        assert digest(canonical_bytes({k: v for k, v in event.items() if k != "digest"})) == event["digest"]
        assert event["digest"] == DECIDED.digest
        assert DECIDED.digest in text_of(data).replace(" ", "")


def test_the_decision_sheet_stands_in_the_order_it_is_needed(sheet, assessment):
    """Verdict, why, what wasn't looked at, map, caution before the series, costs or strips, and the record last."""
    text = text_of(sheet)
    heads = ["HOLD", "Criteria and what was found", "What was and was not looked at", "Map of the roll"]
    heads += ["CAUTION", "Repeat 1:", "Strips: check minus aim", "Where this comes from", "digest of the event"]
    places = [text.index(head) for head in heads]
    assert places == sorted(places)
    assert assessment.decision.why in text


def test_figures_say_what_they_show(sheet):
    """Each figure has its words for those who can't see it."""
    said = alternatives_of(sheet)
    assert len(said) >= 4
    assert all(len(one) > 20 for one in said)


def test_the_certificate_tells_what_is_released_and_what_is_not(certificate, certified):
    """Each part that isn't released stands with its reason, and each criterion with its limit."""
    text = text_of(certificate)
    assert "RELEASED BUT FOR PARTS" in text
    assert certified.decision.regions
    for region in certified.decision.regions:
        assert region.why in text
    for criterion in certified.decision.criteria:
        assert criterion.name in text
    for batch in certified.card.batches:
        assert batch.name in text


def test_the_certificate_places_every_finished_roll(certified, small_cut):
    """Each piece of each finished roll stands with where it was coated, along and across."""
    text = text_of(certificate_pdf(replace(certified, plan=small_cut, head=HEAD)))
    for roll in small_cut.rolls:
        assert roll.number in text
    for piece in small_cut.pieces:
        box = piece.extent
        assert f"{box.along_from_m:.2f} to {box.along_to_m:.2f}" in text
        assert f"{box.across_from_mm:.3f} to {box.across_to_mm:.3f}" in text


def test_the_certificate_says_when_nobody_signed(certified, certificate):
    """Without a signature it says so; with one it says whose, and a sign-off of another event isn't taken for one."""
    assert "Not signed" in text_of(certificate)
    own, other = (
        sign_checkpoint(bytes(32), 2, DECIDED.digest, when_utc="2026-03-02T10:00:00Z", says="seen", event=event, **SAID)
        for event in (1, 2)
    )
    signed = certificate_pdf(replace(certified, sealed=replace(SEALED, signatures=(own, other))))
    text = text_of(signed)
    assert "Not signed" not in text
    assert "signs off event 1: seen" in text
    assert "signs off event 2, not this decision: seen" in text
    assert own.key in text.replace(" ", "")
    assert read(signed).metadata.creation_date.isoformat() == "2026-03-02T10:00:00+00:00"


@pytest.mark.parametrize("verdict", [Verdict.HOLD, Verdict.REJECT])
def test_there_is_no_certificate_of_what_is_not_released(certified, verdict):
    """On hold and rejected rolls get none."""
    with pytest.raises(ArgumentError, match="a roll that is released"):
        certificate_pdf(replace(certified, decision=replace(certified.decision, verdict=verdict)))


def test_the_cut_sheet_begins_with_the_caution(small_cut):
    """What can hurt stands before the knives; every finished roll's number is there, and cut.json goes with it."""
    data = cut_pdf(small_cut, HEAD, SEALED, document=DOCUMENT)
    text = text_of(data)
    assert text.index("CAUTION") < text.index("RELEASED") < text.index("Where the knives stand")
    assert text.index("Where the knives stand") < text.index("At the rewinder")
    assert read(data).attachments["cut.json"][0] == DOCUMENT


def test_a_cut_list_that_may_not_be_slit_by_says_so_on_each_page(small_cut):
    """Provisional lists carry the warning at the head of each page."""
    head = replace(HEAD, status=CutStatus.PROVISIONAL)
    pages = pages_of(cut_pdf(small_cut, head, SEALED, document=DOCUMENT))
    assert len(pages) > 1
    assert all(head.warning in page for page in pages)


def test_cards_begin_with_the_caution_one_to_a_page():
    """Each card has its page, on which the caution stands before the roller; its JSON goes with it."""
    card = replace(trial_card("Little Mere", "W-1"), number=1, roller="R07 lay-on roller", action="Clean it.")
    closed = replace(DECIDED, act="card closed", who="M. Fitter", body={"cause": "dirt", "done": "wiped it"})
    data = cards_pdf([PrintedCard(card=card, closed=closed), PrintedCard(card=replace(card, number=2))])
    first, second = pages_of(data)
    assert first.index("CAUTION") < first.index("R07 lay-on roller") < first.index("Clean it.")
    assert "M. Fitter" in first
    assert "wiped it" in first
    assert "wiped it" not in second
    assert read(data).attachments["card-001.json"][0] == card_bytes(card)


def test_a_card_that_no_event_tells_of_bears_no_date():
    """Nothing is dated by the clock."""
    data = cards_pdf([PrintedCard(card=trial_card("Little Mere", "W-1"))])
    assert "/CreationDate" not in read(data).metadata
    assert "THIS IS A TEST: DO NOTHING." in text_of(data)


def _everywhere(text):
    """A sheet that says one text in each of its parts."""
    grid = Grid(caption=text, columns=(Column(head=text), Column(head="n", number=True)), rows=())
    rows = ((Cell(text=text, note=text, tone="strong"), Cell(text="1.5")),)
    parts = [heading(text), words(text), caution(text), do(text), verdict(Verdict.HOLD, text, text)]
    parts += [pairs([(text, text)], mono=[text]), steps([text]), table(grid), table(replace(grid, rows=rows))]
    return PdfSheet(title=text, about=text, author=text, when_utc="", foot=text, warning=text, parts=parts)


def test_no_text_is_taken_for_markup():
    """Signs that mean something to the typesetter stand on the page as they were written."""
    data = typeset(_everywhere(HOSTILE))
    said = text_of(data).replace(" ", "")
    assert said.count(HOSTILE.replace(" ", "")) >= 12
    assert read(data).metadata.title == HOSTILE


@settings(max_examples=15)
@given(st.text(st.characters(exclude_categories=()), max_size=60))
def test_any_text_can_be_set(text):
    """Whatever letters, control characters or halves of pairs a name holds, there is a sheet."""
    assert typeset(_everywhere(f"x{text}")).startswith(b"%PDF-1.7")


def test_letters_that_no_font_has_are_shown_as_such():
    """A letter out of reach becomes a sign for it, and is never left out."""
    assert shown("ab\u5377c\x1b") == "ab\ufffdc\ufffd"
    assert len(shown("\U0001f600\u4e00" * 9)) == 18


@given(st.text(st.characters(codec="ascii", exclude_characters=" "), min_size=25, max_size=90))
def test_long_words_can_break(word):
    """A word longer than a column has places to break, and is otherwise unchanged."""
    broken = with_breaks(word)
    assert broken.replace("\u200b", "") == word
    assert max(map(len, broken.split("\u200b"))) <= 12


def test_a_long_table_has_its_head_on_each_page():
    """Whoever reads page three of a table needn't turn back to learn what the columns are."""
    grid = Grid(
        caption="many",
        columns=(Column(head="criterion"), Column(head="found", number=True)),
        rows=tuple((Cell(text=f"row {number}"), Cell(text=f"{number}.5")) for number in range(150)),
    )
    data = typeset(replace(_everywhere("x"), parts=[table(grid)]))
    pages = pages_of(data)
    assert len(pages) >= 3
    assert all("criterion" in page and "found" in page for page in pages)


def test_without_the_typesetter_the_mend_is_said(monkeypatch):
    """Where the extra isn't installed, the message says how to get it."""
    monkeypatch.setitem(__import__("sys").modules, "typst", None)
    with pytest.raises(InputError, match=r"wideroll\[pdf\]"):
        typesetting.typeset(_everywhere("x"))
