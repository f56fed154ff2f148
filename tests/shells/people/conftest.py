"""A desk's file of people, with passwords that are cheap to work out."""

import pytest

from wideroll.people import Cost, DeskDatabase, Hand, add_person


@pytest.fixture
def cheap():
    """The least that a password may cost to work out."""
    return Cost(rounds=1, memory_kib=8, threads=1)


@pytest.fixture
def hand():
    """Who makes changes, at a moment of no matter."""
    return Hand(who="W. Cedar", address="command", now_s=1_790_000_000)


@pytest.fixture
def database(tmp_path, hand, cheap):
    """A new file of people, with an administrator and an examiner."""
    made = DeskDatabase(tmp_path / "desk.db")
    for name, shown, role in (("alder", "M. Alder", "administrator"), ("birch", "K. Birch", "examiner")):
        add_person(made, hand, name=name, shown=shown, roles=[role], password="grey web under lamp", cost=cheap)
    yield made
    made.close()
