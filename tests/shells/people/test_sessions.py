"""Sessions and tokens: known by a secret of which only a hash is kept, and ending when they should."""

from dataclasses import replace

import pytest

from wideroll.errors import InputError
from wideroll.people import (
    Lengths,
    change_person,
    close_session,
    list_tokens,
    make_token,
    open_session,
    read_log,
    revoke_token,
    session_of,
    set_password,
    token_of,
)

_LENGTHS = Lengths(idle_s=3600, whole_s=7200)


@pytest.fixture
def look(database, hand):
    """The session of a secret so many seconds after its beginning."""
    return lambda secret, after=0: session_of(database, secret, lengths=_LENGTHS, now_s=hand.now_s + after)


@pytest.fixture
def secret(database, hand):
    """The secret of a session of the examiner."""
    return open_session(database, "birch", how="password", lengths=_LENGTHS, now_s=hand.now_s)


def test_a_session_is_its_persons(database, look, secret):
    """The secret leads to the person and no other does; the file holds only its hash."""
    assert look(secret).person.name == "birch"
    assert look(secret[:-1]) is None
    assert look("") is None
    assert look(secret * 1000) is None
    assert all(secret.encode() not in path.read_bytes() for path in database.path.parent.glob("desk.db*"))


def test_a_session_ends_when_it_lies_unused(look, secret):
    """After the idle time it is gone; used in between, it goes on."""
    assert look(secret, 3000) is not None
    assert look(secret, 6500) is not None
    assert look(secret, 6501 + 3600) is None


def test_a_session_ends_however_busy(look, secret):
    """After the whole time it is gone though it was used all along, and stays gone."""
    assert all(look(secret, after) is not None for after in range(0, 7201, 1800))
    assert look(secret, 7201) is None
    assert look(secret, 7200) is None


def test_a_session_ends_with_logout_disabling_and_another_password(database, hand, cheap, look):
    """None of the person's sessions outlives being disabled or a change of password."""
    ends = {
        "logout": lambda secret: close_session(database, secret),
        "disabled": lambda _: change_person(database, hand, "birch", disabled=True),
        "password": lambda _: set_password(database, hand, "birch", "another grey lamp", cost=cheap),
    }
    for why, end in ends.items():
        secret = open_session(database, "birch", how="password", lengths=_LENGTHS, now_s=hand.now_s)
        assert look(secret) is not None
        end(secret)
        change_person(database, hand, "birch", disabled=False)
        assert look(secret) is None, why


def test_other_roles_count_at_once(database, hand, look, secret):
    """A session holds no roles of its own."""
    change_person(database, hand, "birch", roles=["reader"])
    assert look(secret).person.roles == ("reader",)


@pytest.fixture
def token(database, hand):
    """A token that reads and examines for the examiner, for a week."""
    return make_token(database, hand, name="bench", person="birch", scopes=["examine", "read"], days=7)


def test_a_token_acts_for_its_person_within_its_scopes(database, hand, token):
    """It leads to the person and the scopes; only its hash is kept; making it stands in the log."""
    card, person = token_of(database, token, now_s=hand.now_s)
    assert (card.name, card.scopes, card.made_by, person.name) == ("bench", ("read", "examine"), "W. Cedar", "birch")
    assert token_of(database, token + "x", now_s=hand.now_s) is None
    assert token_of(database, token * 99, now_s=hand.now_s) is None
    assert all(token.encode() not in path.read_bytes() for path in database.path.parent.glob("desk.db*"))
    assert read_log(database)[0].what == "token bench for read, examine, 7 days"


def test_a_token_ends(database, hand, token):
    """At its day, when it is revoked, and with its person."""
    assert token_of(database, token, now_s=hand.now_s + 7 * 86400) is None
    change_person(database, hand, "birch", disabled=True)
    assert token_of(database, token, now_s=hand.now_s) is None
    change_person(database, hand, "birch", disabled=False)
    assert token_of(database, token, now_s=hand.now_s) is not None
    revoke_token(database, hand, "BENCH")
    revoke_token(database, replace(hand, now_s=hand.now_s + 9), "bench")
    assert token_of(database, token, now_s=hand.now_s) is None
    assert [one.revoked_s for one in list_tokens(database)] == [hand.now_s]
    assert [line.what for line in read_log(database)].count("token bench revoked") == 1


@pytest.mark.usefixtures("token")
@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"name": "bench"}, "token"),
        ({"name": "no good"}, "token"),
        ({"person": "nobody"}, "name"),
        ({"scopes": ["decide"]}, "scopes"),
        ({"scopes": ["administer"]}, "scopes"),
        ({"scopes": []}, "scopes"),
        ({"days": 0}, "days"),
        ({"days": 367}, "days"),
    ],
)
def test_a_token_cannot_be_more_than_its_person(database, hand, change, where):
    """No name twice, nobody unknown, nothing the person mayn't, never to administer, and not for ever."""
    given = {"name": "other", "person": "birch", "scopes": ["read"], "days": 7} | change
    with pytest.raises(InputError) as caught:
        make_token(database, hand, **given)
    assert caught.value.where == where
    assert len(list_tokens(database)) == 1


@pytest.mark.usefixtures("token")
def test_an_unknown_token_cannot_be_revoked(database, hand):
    """The error names those that there are."""
    with pytest.raises(InputError, match="must be one of: bench"):
        revoke_token(database, hand, "branch")
