"""The action cards of a roll from the command line."""

import json
import shutil
from dataclasses import replace

import pytest

from wideroll.acts.card_acts import close_card, closings_of, raise_cards
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
    cards = [card_json(card) for card in CARDS]
    assert json.loads(out) == {"schema": "wideroll/action-cards/1", "cards": cards, "taken": [], "closed": []}


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


_CLOSING = ("--close", "--cause", "dirt on R1", "--done", "wiped at standstill", "--who", "C. Operator")


def test_a_closed_card_says_what_was_found_and_done(run, told):
    """Closing is an event by the one named; the card is shown with it, its caution too, and its file is as it was."""
    before = (told / "results" / "T-1" / "cards" / "002.json").read_bytes()
    code, out, err = run("card", told, "T-1", 2, *_CLOSING)
    assert (code, "closed in event 2" in err) == (0, True)
    for words in ("CAUTION", "by C. Operator", "CAUSE     dirt on R1", "DONE      wiped at standstill"):
        assert words in out
    assert (told / "results" / "T-1" / "cards" / "002.json").read_bytes() == before
    (closed,) = json.loads(run("card", told, "T-1", "--json")[1])["closed"]
    assert (closed["card"], closed["cause"], closed["who"], closed["event"]) == (2, "dirt on R1", "C. Operator", 2)
    assert run("record", "verify", told)[0] == 0
    assert "closed action card 2: cause: dirt on R1" in run("history", told, "T-1")[1]


def test_a_taken_card_says_who_has_it(run, told):
    """Taking is an event; another may take it over; given back nobody has it; each once, and all of it is history."""
    code, out, err = run("card", told, "T-1", 1, "--take", "--who", "C. Operator")
    assert (code, "taken in event 2" in err, "TAKEN     by C. Operator" in out) == (0, True, True)
    code, _, err = run("card", told, "T-1", 1, "--take", "--who", "C. Operator")
    assert (code, "C. Operator has had it since" in err) == (3, True)
    assert "TAKEN     by D. Relief" in run("card", told, "T-1", 1, "--take", "--who", "D. Relief")[1]
    (taken,) = json.loads(run("card", told, "T-1", "--json")[1])["taken"]
    assert (taken["card"], taken["who"], taken["event"]) == (1, "D. Relief", 3)
    assert "TAKEN" not in run("card", told, "T-1", 1, "--give-back", "--who", "D. Relief")[1]
    code, _, err = run("card", told, "T-1", 1, "--give-back")
    assert (code, "only a card that somebody has" in err) == (3, True)
    history = run("history", told, "T-1")[1]
    assert "took action card 1" in history
    assert "gave action card 1 back" in history
    assert run("record", "verify", told)[0] == 0


def test_a_closed_card_is_not_taken(run, told):
    """What is closed needs nobody: taking it says who closed it and records nothing."""
    assert run("card", told, "T-1", 1, *_CLOSING)[0] == 0
    code, _, err = run("card", told, "T-1", 1, "--take")
    assert (code, "C. Operator closed it" in err) == (3, True)
    assert "2 events" in run("record", "verify", told)[1]


def test_a_card_is_closed_once(run, told):
    """Who closes it again is told who did before, and nothing is recorded."""
    assert run("card", told, "T-1", 1, *_CLOSING)[0] == 0
    code, _, err = run("card", told, "T-1", 1, *_CLOSING[:-1], "A. Second")
    assert (code, "C. Operator closed it" in err) == (3, True)
    assert "2 events" in run("record", "verify", told)[1]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((7, *_CLOSING), 3, "must be one of: 1, 2"),
        ((1, "--close", "--cause", " ", "--done", "wiped"), 2, "must say something"),
        ((1, "--close", "--cause", "dirt"), 2, "must say something"),
        ((1, "--cause", "dirt"), 2, "goes with --close"),
        (_CLOSING, 2, "needs the number"),
        (("--take",), 2, "needs the number"),
        ((1, "--take", *_CLOSING), 2, "goes alone"),
    ],
)
def test_a_closing_that_says_too_little_is_refused(run, told, words, code, said):
    """An unknown card, no cause, nothing done or no number is an error, and nothing is recorded."""
    got, _, err = run("card", told, "T-1", *words)
    assert (got, said in " ".join(err.split())) == (code, True)
    assert not (told / "wideroll.db").exists()


def test_a_changed_card_is_found_and_not_closed(run, told):
    """A card's file that isn't the one recorded fails the proof, which names it, and stops the closing."""
    raise_cards(told, "T-1", CARDS, who="C. Operator", now=True)
    assert run("record", "verify", told)[0] == 0
    path = told / "results" / "T-1" / "cards" / "001.json"
    path.write_text(path.read_text().replace("Clean it.", "Leave it."))
    code, _, err = run("card", told, "T-1", 1, *_CLOSING)
    assert (code, "the one that the record names" in err) == (4, True)
    code, _, err = run("record", "verify", told)
    assert (code, "event 1" in err, "cards/001.json isn't what was sealed" in err) == (4, True, True)


def test_a_card_is_recorded_once_and_anew_where_the_roll_began_anew(told):
    """Cards kept from before are recorded where they aren't yet; another of the same number, raised now, is open."""
    results = told / "results" / "T-1"
    assert len(raise_cards(told, "T-1", CARDS, who="C. Operator", now=False)) == 2
    assert raise_cards(told, "T-1", CARDS, who="C. Operator", now=False) == ()
    close_card(told, "T-1", ONE, cause="dirt", done="wiped", who="C. Operator")
    shutil.rmtree(results / "cards")
    other = replace(ONE, action="Look at it.")
    save_card(results, other)
    assert raise_cards(told, "T-1", [other], who="C. Operator", now=False) == ()
    assert len(raise_cards(told, "T-1", [other], who="C. Operator", now=True)) == 1
    assert closings_of(told, "T-1") == {}
