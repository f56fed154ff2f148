"""Starting the desk where others can reach it."""

import pytest

from wideroll.people import Cost, DeskDatabase, Hand, add_person
from wideroll.server.serving import main


@pytest.fixture
def plant(tmp_path):
    """A plant's folder with nothing in it, whose desk is to listen on the network."""
    (tmp_path / "plant.toml").touch()
    (tmp_path / "desk.toml").write_text('listen = "0.0.0.0"\n')
    return tmp_path


def test_on_a_network_the_desk_needs_people(plant, capsys):
    """Where nobody would have to log in, it doesn't start."""
    assert main([str(plant), "--port", "0"]) == 3
    assert "needs people, so that everybody says who they are" in capsys.readouterr().err


def test_on_a_network_the_desk_needs_https(plant, capsys):
    """Where passwords could be overheard, it doesn't start."""
    database = DeskDatabase(plant / "desk.db")
    hand = Hand(who="W. Cedar", address="command", now_s=0)
    cost = Cost(rounds=1, memory_kib=8, threads=1)
    given = {"name": "alder", "shown": "M. Alder", "roles": ["administrator"], "password": "grey web under lamp"}
    add_person(database, hand, cost=cost, **given)
    database.close()
    assert main([str(plant), "--port", "0"]) == 3
    assert "needs https, so that nobody overhears passwords" in capsys.readouterr().err


def test_a_fault_in_desk_toml_is_told_at_the_start(plant, capsys):
    """The desk doesn't start on rules that it would have to guess."""
    (plant / "desk.toml").write_text("[sessions]\nhours = 3\n")
    assert main([str(plant), "--port", "0"]) == 3
    assert "sessions.hours: there is no such field" in capsys.readouterr().err
