"""The action cards of a roll from the command line."""

import json
from dataclasses import replace

import pytest

from wideroll.store import save_card
from wideroll.workflow.card_json import card_json, trial_card

ONE = replace(trial_card("Little Mere, line 1", "T-1"), number=1, roller="R1 coating roll", action="Clean it.")
CARDS = (ONE, replace(ONE, number=2, action="Clean it again."))


@pytest.fixture
def told(plant):
    """The tiny plant, whose roll has two cards."""
    for card in CARDS:
        save_card(plant / "results" / "T-1", card)
    return plant


def test_all_cards_are_shown_the_last_one_last(run, told):
    """Without a number each card stands on the screen, in order."""
    code, out, _ = run("card", told, "T-1")
    assert code == 0
    assert 0 < out.index("ACTION CARD 1") < out.index("ACTION CARD 2")


def test_one_card_is_shown_by_its_number(run, told):
    """With a number only that card is shown."""
    code, out, _ = run("card", told, "T-1", 2)
    assert code == 0
    assert "Clean it again." in out
    assert "ACTION CARD 1" not in out


def test_cards_come_as_json(run, told):
    """The document holds the cards as they are kept and delivered."""
    code, out, _ = run("card", told, "T-1", "--json")
    assert code == 0
    assert json.loads(out) == {"schema": "wideroll/action-cards/1", "cards": [card_json(card) for card in CARDS]}


def test_a_page_is_written_whole(run, told, tmp_path):
    """--page leaves a file to print and says where."""
    code, _, said = run("card", told, "T-1", 1, "--page", tmp_path / "card.html")
    assert code == 0
    assert str(tmp_path / "card.html") in said
    assert (tmp_path / "card.html").read_text().rstrip().endswith("</html>")


def test_a_roll_without_cards_says_so(run, plant, tmp_path):
    """No card is a sentence and an empty list, and no page."""
    code, out, _ = run("card", plant, "T-1", "--page", tmp_path / "card.html")
    assert (code, out) == (0, "No action card was raised for roll T-1.\n")
    assert not (tmp_path / "card.html").exists()
    assert json.loads(run("card", plant, "T-1", "--json")[1])["cards"] == []


def test_a_number_or_roll_that_isnt_there_is_said(run, told):
    """The error names the cards there are, or the rolls."""
    code, _, said = run("card", told, "T-1", 7)
    assert code == 3
    assert "must be one of: 1, 2, got 7" in said
    code, _, said = run("card", told, "T-9")
    assert code == 3
    assert "must be one of: T-1" in said
