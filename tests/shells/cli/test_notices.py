"""Where action cards go, from the command line."""

import json

import pytest

from wideroll.workflow.card_json import TEST_ACTION

FILE = '\n[[notices]]\nname = "terminal"\nkind = "file"\npath = "notices/cards.jsonl"\n'
NOBODY = '\n[[notices]]\nname = "desk"\nkind = "webhook"\nurl = "http://127.0.0.1:9/for-few"\n'


@pytest.fixture
def told(plant):
    """The tiny plant with a file for its cards."""
    with (plant / "plant.toml").open("a") as file:
        file.write(FILE)
    return plant


def test_a_plant_without_notices_says_so(run, plant):
    """Nothing to list is a sentence, and an empty list for machines."""
    code, out, _ = run("notices", plant, "--test")
    assert code == 0
    assert "plant.toml has no [[notices]]" in out
    assert json.loads(run("notices", plant, "--json")[1]) == {"schema": "wideroll/notices/1", "notices": []}


def test_listing_sends_nothing(run, told):
    """Without --test the notices are named and nothing is written."""
    code, out, _ = run("notices", told)
    assert (code, out) == (0, "terminal: file notices/cards.jsonl\n")
    assert not (told / "notices").exists()


def test_a_test_card_arrives_and_says_what_it_is(run, told):
    """With --test each notice gets a card that nobody can take for a real one, another id each time."""
    assert run("notices", told, "--test")[:2] == (0, "terminal: file notices/cards.jsonl: test card taken\n")
    run("notices", told, "--test")
    cards = [json.loads(line) for line in (told / "notices" / "cards.jsonl").read_text().splitlines()]
    assert [(card["test"], card["number"], card["action"]) for card in cards] == [(True, 0, TEST_ACTION)] * 2
    assert len({card["id"] for card in cards}) == 2
    assert not (told / "results").exists()


def test_one_that_fails_keeps_none_from_the_others(run, told, monkeypatch):
    """Each is tried; the exit code says that one failed, its line why, without what few may know."""
    monkeypatch.setattr("wideroll.notices.delivery.time.sleep", lambda _: None)
    with (told / "plant.toml").open("a") as file:
        file.write(NOBODY)
    code, out, _ = run("notices", told, "--test")
    assert code == 3
    assert "terminal: file notices/cards.jsonl: test card taken" in out
    assert "desk: webhook http://127.0.0.1:9: TEST CARD NOT TAKEN" in out
    assert "Connection refused" in out
    assert "for-few" not in out
    code, out, _ = run("notices", told, "--test", "--json")
    assert code == 3
    assert [one["arrived"] for one in json.loads(out)["notices"]] == [True, False]


def test_a_key_that_is_missing_fails_that_notice_alone(run, told):
    """A notice that can't be opened is said like one that can't be reached."""
    with (told / "plant.toml").open("a") as file:
        file.write(f'{NOBODY}secret_file = "desk.key"\n')
    code, out, _ = run("notices", told, "--test")
    assert code == 3
    assert "terminal: file notices/cards.jsonl: test card taken" in out
    assert "desk.key: the file with the secret must be readable" in out


def test_a_folder_that_is_no_plant_is_said(run, tmp_path):
    """Without a plant.toml there is one clear error."""
    code, _, said = run("notices", tmp_path)
    assert code == 3
    assert "plant.toml: the file must be there" in said
