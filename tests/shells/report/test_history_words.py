"""Each act of a record is told in words."""

import pytest

from wideroll.report.history_words import act_words
from wideroll.store import acts

_TOLD = {
    acts.TAKE_IN: ({"roll": "W-1", "files": {"rolls/W-1/roll.toml": "a"}}, "took in the roll: roll.toml"),
    acts.READING: (
        {"roll": "W-1", "files": {}, "gone": ["rolls/W-1/strips/x.csv"]},
        "gone of strips and measured properties: strips/x.csv",
    ),
    acts.SIGHTING: (
        {"roll": "W-1", "files": {f"rolls/W-1/examination/{n}.png": "a" for n in range(6)}},
        "took in what examiners saw: examination/0.png, examination/1.png, examination/2.png and 3 more files",
    ),
    acts.CALIBRATION: ({"files": {"examiners.toml": "a"}}, "took in calibrations of the plant: examiners.toml"),
    acts.DECISION: (
        {"verdict": "hold", "why": "No strips.", "supersedes": 3, "because": ["a changed", "b went"]},
        "decided: hold. No strips. Supersedes event 3: a changed; b went",
    ),
    acts.CUT: (
        {"roll": "W-1", "rolls": ["W-1", "W-2"]},
        "recorded the cut for the order book, planned together with W-2",
    ),
    acts.CARD: ({"roll": "W-1", "card": 1, "roller": "R3"}, "action card 1 raised: R3"),
    acts.CARD_CLOSED: ({"card": 1, "cause": "dirt", "done": "wiped"}, "closed action card 1: cause: dirt; done: wiped"),
    acts.COMPLAINT: ({"case": "C-1", "step": "asked"}, "complaint C-1: retained samples asked for"),
    acts.RECALL: ({"case": "C-1", "rolls": ["1", "2"]}, "wrote a recall list of 2 finished rolls for complaint C-1"),
    acts.CARD_TAKEN: ({"roll": "W-1", "card": 2}, "took action card 2"),
    acts.CARD_GIVEN_BACK: ({"roll": "W-1", "card": 2}, "gave action card 2 back"),
    acts.BASE_PERIOD: ({"base": "spring-2026"}, "froze the limits of base period spring-2026"),
    "checkpoint": ({"events": 4, "event": None, "says": "seen"}, "signed events 1 to 4: seen"),
    "something new": ({}, "something new"),
}


@pytest.mark.parametrize("act", _TOLD)
def test_an_act_is_told_in_words(act):
    """What was done stands there in one line."""
    body, words = _TOLD[act]
    assert act_words(act, body) == words


def test_every_act_has_its_words():
    """No act of the record is left without words of its own."""
    names = {getattr(acts, name) for name in acts.__all__ if name != "EVIDENCE"}
    assert names - set(_TOLD) == set()
    assert [name for name in sorted(names) if act_words(name, {}) == name] == []
