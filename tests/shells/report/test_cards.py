"""An action card in words, as text and as a page."""

import re
from dataclasses import replace
from html import unescape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.repeats.model import ANOTHER
from wideroll.report.card_page import card_page
from wideroll.report.card_text import card_text
from wideroll.report.card_words import card_words, evidence_words, false_alarm_words, in_hundred
from wideroll.workflow import CAUTION, ActionCard
from wideroll.workflow.card_json import trial_card

CARD = ActionCard(
    plant="Little Mere, line 1",
    roll="W-7",
    number=2,
    at_m=1325.25,
    first_m=1204.31,
    last_m=1318.4,
    across_mm=412.3,
    spacing_m=0.62832,
    spacing_low_m=0.62795,
    spacing_high_m=0.62861,
    marks=14,
    print_probability=0.61,
    roller="R07 turner",
    probability=0.9812,
    others=(("R09 drum", 0.013),),
    log10_evidence=11.3,
    false_alarm=0.001,
    zone="drying",
    action="Clean R07 turner at the next stop.",
)
FIGURES = ["R07 TURNER", "zone drying", "98 in 100", "R09 drum (1 in 100)", "412 mm across the web", "1,204.3"]
NAMES = st.text(st.characters(codec="ascii"), min_size=1, max_size=120)


def _flat(text):
    """Without line ends and the spaces before a line."""
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("figure", [*FIGURES, "1 roll in 1,000", "10^11", "628.0 to 628.6 mm", "turns so far left one"])
def test_the_text_says_what_where_since_when_and_how_sure(figure):
    """Each figure of a card stands in its text."""
    assert figure in _flat(card_text(CARD))


def test_the_roller_and_what_to_do_come_first():
    """Roller, act and caution stand above place and figures."""
    text = card_text(CARD)
    places = [text.index(label) for label in ("ROLLER", "DO ", "CAUTION", "WHERE", "SINCE", "WHAT", "HOW SURE")]
    assert places == sorted(places)


@given(roller=NAMES, plant=NAMES, zone=NAMES, action=NAMES, roll=NAMES)
def test_no_line_is_wider_than_a_screen(roller, plant, zone, action, roll):
    """Whatever names a plant uses, lines have at most 80 signs, and none that moves a cursor."""
    text = card_text(replace(CARD, roller=roller, plant=plant, zone=zone, action=action, roll=roll))
    assert max(len(line) for line in text.split("\n")) <= 80
    assert all(line.isprintable() for line in text.split("\n"))


@given(probability=st.floats(0.0, 1.0))
def test_nothing_is_certain(probability):
    """A probability is never said to be 0 or 100 in 100, and what is said is within half of it."""
    said = in_hundred(probability)
    figure = int(re.search(r"(\d+) in 100", said)[1])
    assert 1 <= figure <= 99
    assert abs(figure - 100.0 * probability) <= 1.0


@given(probability=st.floats(1e-6, 0.5))
def test_false_alarms_are_rounded_to_the_unfavourable_side(probability):
    """One roll in so many is never said to be rarer than it is, nor more than a tenth more often."""
    one_in = int(re.search(r"1 roll in ([\d,]+)", false_alarm_words(probability))[1].replace(",", ""))
    assert probability * (1.0 - 1e-5) <= 1.0 / one_in
    assert one_in == 1 or 1.0 / one_in <= probability * (1.1 if probability < 0.1 else 2.0) * (1.0 + 1e-5)


@pytest.mark.parametrize(
    ("log10", "said"),
    [(1.0, "about 10 times"), (5.9, "about 790,000 times"), (6.0, "more than 10^6 times"), (250.7, "10^250 times")],
)
def test_evidence_has_its_figure(log10, said):
    """Small ones as a number of two digits, great ones as a power of ten, rounded down."""
    assert said in evidence_words(log10)


def test_a_roller_that_isnt_in_the_table_is_said_so():
    """No roller is named where none fits."""
    assert card_words(replace(CARD, roller=ANOTHER)).roller == "A roller that isn't in the table"


def test_a_test_card_cant_be_taken_for_another():
    """A card of number 0 says that it is a test and names no roller, place or figure."""
    text = card_text(trial_card("Little Mere, line 1", "W-7"))
    assert "TEST CARD" in text
    assert "THIS IS A TEST: DO NOTHING." in text
    assert not set(re.findall("ROLLER|WHERE|SINCE|HOW SURE", text))


def test_a_page_says_what_the_text_says():
    """Every part of the words stands on the page, the caution among them."""
    page = unescape(card_page([CARD]))
    words = card_words(CARD)
    for part in (words.roller, words.do, words.probability, words.where, words.since, words.what, words.chance):
        assert part in page
    assert CAUTION.removeprefix("Caution: nip ") in page


def test_a_page_has_nothing_from_outside():
    """No script, no address, and names are text whatever they hold."""
    page = card_page([replace(CARD, roller="<script>alert(1)</script>", zone="a & b")])
    assert "<script" not in page
    assert "a &amp; b" in page
    assert not re.findall(r"https?:|url\(|@import|src=", page)


def test_a_page_holds_each_card_once():
    """Several cards stand one after the other; the same cards give the same page."""
    cards = [CARD, replace(CARD, number=3)]
    assert re.findall(r"<h1>(.*?)</h1>", card_page(cards)) == ["Action card 2", "Action card 3"]
    assert card_page(cards) == card_page(cards)
