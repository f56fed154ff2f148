"""Cards are kept as told and read back the same."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import InputError
from wideroll.store import load_cards, save_card
from wideroll.workflow import ActionCard
from wideroll.workflow.card_json import CARD_SCHEMA, trial_card

_NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
_SHARES = st.floats(0.0, 1.0)
CARDS = st.builds(
    ActionCard,
    plant=st.text(max_size=40),
    roll=st.text(max_size=40),
    number=st.integers(1, 2000),
    marks=st.integers(0, 10**6),
    **dict.fromkeys(("at_m", "first_m", "last_m", "across_mm"), _NUMBERS),
    **dict.fromkeys(("spacing_m", "spacing_low_m", "spacing_high_m", "log10_evidence"), _NUMBERS),
    **dict.fromkeys(("print_probability", "probability", "false_alarm"), _SHARES),
    roller=st.text(max_size=40),
    others=st.lists(st.tuples(st.text(max_size=40), _SHARES), max_size=4).map(tuple),
    zone=st.text(max_size=40),
    action=st.text(max_size=200),
    caution=st.text(max_size=200),
)


@given(card=CARDS)
def test_a_card_comes_back_as_it_was(tmp_path_factory, card):
    """Whatever a card holds, reading it back gives an equal one."""
    folder = tmp_path_factory.mktemp("results")
    save_card(folder, card)
    assert load_cards(folder) == (card,)


def test_cards_come_in_order(tmp_path):
    """The first card first, also beyond 999; a roll without cards has none."""
    one = trial_card("Little Mere, line 1", "W-1")
    assert load_cards(tmp_path) == ()
    for number in (1000, 2, 10, 1):
        save_card(tmp_path, replace(one, number=number))
    assert [card.number for card in load_cards(tmp_path)] == [1, 2, 10, 1000]


def test_a_card_that_was_told_stays(tmp_path):
    """Keeping a card again changes nothing; another one of its number is refused and the first stays."""
    card = trial_card("Little Mere, line 1", "W-1")
    path = save_card(tmp_path, card)
    before = path.read_bytes()
    assert save_card(tmp_path, card) == path
    with pytest.raises(InputError, match=r"000\.json: a card that was raised is never replaced"):
        save_card(tmp_path, replace(card, action="Another."))
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "must be whole JSON"),
        ("[]", "field schema: must be wideroll/action-card/1"),
        ('{"schema": "wideroll/action-card/2"}', "got 'wideroll/action-card/2'"),
        (json.dumps({"schema": CARD_SCHEMA, "roll": "W-1"}), "must have the fields of ActionCard"),
        (json.dumps({"schema": CARD_SCHEMA, "others": [{"roller": "R"}]}), "must have the fields of ActionCard"),
    ],
)
def test_a_file_that_is_no_card_is_named(tmp_path, text, said):
    """Half a file or another schema is one error that names the file."""
    (tmp_path / "cards").mkdir()
    (tmp_path / "cards" / "001.json").write_text(text)
    with pytest.raises(InputError, match=r"001\.json") as caught:
        load_cards(tmp_path)
    assert said in str(caught.value)
