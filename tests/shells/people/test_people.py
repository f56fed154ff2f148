"""Who may use the desk: people, their passwords, and the log of changes."""

import sqlite3
import stat
from contextlib import closing
from dataclasses import replace

import pytest

from wideroll.errors import InputError
from wideroll.people import (
    ROLES,
    Attempts,
    Cost,
    DeskDatabase,
    Logged,
    Patience,
    acts_of,
    add_person,
    change_person,
    check_password,
    desk_database,
    find_person,
    list_people,
    people_there,
    read_log,
    set_password,
    write_log,
)


def test_only_its_owner_can_read_the_file(database):
    """The file of people and what lies beside it while it is open are for the owner's eyes alone."""
    found = list(database.path.parent.glob("desk.db*"))
    assert len(found) == 3
    assert {stat.S_IMODE(path.stat().st_mode) for path in found} == {0o600}


def test_no_file_is_made_where_none_is_wanted(tmp_path):
    """A plant without people has no file of them until one is added."""
    assert desk_database(tmp_path) is None
    made = desk_database(tmp_path, make=True)
    assert not people_there(made)
    made.close()


def test_a_file_of_a_newer_version_is_left_alone(tmp_path):
    """A form that this version doesn't know is refused, not guessed at."""
    with closing(sqlite3.connect(tmp_path / "desk.db")) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(InputError, match="got 99"):
        DeskDatabase(tmp_path / "desk.db")


def test_a_file_that_is_no_database_is_told(tmp_path):
    """Damage ends as an error that names the file, not as a traceback."""
    (tmp_path / "desk.db").write_bytes(b"no database at all" * 100)
    with pytest.raises(InputError, match=r"desk\.db: the file of people"):
        DeskDatabase(tmp_path / "desk.db")


def test_every_role_may_read_and_only_the_administrator_changes_people():
    """The table of roles: everybody reads; examining, measuring, deciding and acting are told apart."""
    assert all("read" in acts for acts in ROLES.values())
    assert [role for role, acts in ROLES.items() if "administer" in acts] == ["administrator"]
    assert [role for role, acts in ROLES.items() if "decide" in acts] == ["engineer"]
    assert acts_of(["no such role"]) == frozenset()


def test_who_was_added_is_listed_without_the_password(database):
    """The list names people, roles and whether there is a password; the file holds only its argon2id hash."""
    assert [(one.name, one.shown, one.roles, one.has_password) for one in list_people(database)] == [
        ("alder", "M. Alder", ("administrator",), True),
        ("birch", "K. Birch", ("examiner",), True),
    ]
    [(kept,), (other,)] = database.rows("SELECT hash FROM people")
    assert kept.startswith("$argon2id$")
    assert kept != other
    assert all(b"grey web" not in path.read_bytes() for path in database.path.parent.glob("desk.db*"))


@pytest.mark.parametrize(
    ("name", "shown", "roles", "where"),
    [
        ("Birch", "Somebody", ["reader"], "name"),
        ("../etc", "Somebody", ["reader"], "name"),
        ("", "Somebody", ["reader"], "name"),
        ("cedar", "k. birch", ["reader"], "shown"),
        ("cedar", "birch", ["reader"], "shown"),
        ("cedar", "W.\u202eCedar", ["reader"], "shown"),
        ("cedar", "  ", ["reader"], "shown"),
        ("cedar", "W. Cedar", ["king"], "roles"),
        ("cedar", "W. Cedar", [], "roles"),
    ],
)
def test_a_person_who_could_be_taken_for_another_is_refused(database, hand, cheap, name, shown, roles, where):
    """Names are told apart whatever their letters' size, can be printed, and roles are known; else nothing changes."""
    with pytest.raises(InputError) as caught:
        add_person(database, hand, name=name, shown=shown, roles=roles, cost=cheap)
    assert caught.value.where == where
    assert len(list_people(database)) == 2


@pytest.mark.parametrize("password", ["short", "aaaabbbbccccdddd", "k. birch and more", "birch under lamp", "x" * 300])
def test_a_weak_password_is_refused_and_never_told(database, hand, cheap, password):
    """A password must be long, of several letters, and not the name; the error doesn't repeat it."""
    with pytest.raises(InputError) as caught:
        set_password(database, hand, "birch", password, cost=cheap)
    assert caught.value.where == "password"
    assert password not in str(caught.value)


def test_the_right_password_is_the_only_one(database, cheap):
    """The person comes back for the right password in any size of the name's letters, nobody for any other."""
    assert check_password(database, " BIRCH ", "grey web under lamp", cost=cheap).name == "birch"
    assert check_password(database, "birch", "grey web under lamp ", cost=cheap) is None
    assert check_password(database, "nobody", "grey web under lamp", cost=cheap) is None


def test_a_password_is_the_same_however_it_was_typed(database, hand, cheap):
    """Letters put together from an accent and a letter are those typed at once."""
    set_password(database, hand, "birch", "caf\u00e9 under grey lamp", cost=cheap)
    assert check_password(database, "birch", "cafe\u0301 under grey lamp", cost=cheap) is not None


def test_unknown_names_cost_the_same_work(database, hand, cheap, monkeypatch):
    """For a name nobody has, or one without a password, one password is worked out, as for any other."""
    from argon2 import PasswordHasher  # noqa: PLC0415

    add_person(database, hand, name="line", shown="Line watch", roles=["reader"], cost=cheap)
    check_password(database, "nobody", "warm up", cost=cheap)
    asked = []
    right = PasswordHasher.verify
    monkeypatch.setattr(PasswordHasher, "verify", lambda *given: asked.append(given[1]) or right(*given))
    for name in ("birch", "nobody", "line"):
        assert check_password(database, name, "a wrong password", cost=cheap) is None
    assert len(asked) == 3
    assert len({kept.rpartition("$")[0].rpartition("$")[0] for kept in asked}) == 1


def test_a_password_is_kept_anew_at_todays_cost(database, cheap):
    """Whoever logs in after the cost was raised has the password kept at the new one."""
    dearer = replace(cheap, rounds=2)
    assert check_password(database, "birch", "grey web under lamp", cost=dearer) is not None
    [(kept,)] = database.rows("SELECT hash FROM people WHERE name = 'birch'")
    assert "t=2" in kept


def test_who_is_disabled_cannot_come_in(database, hand, cheap):
    """A disabled person's password opens nothing, until they are let in again."""
    change_person(database, hand, "birch", disabled=True)
    assert check_password(database, "birch", "grey web under lamp", cost=cheap) is None
    change_person(database, hand, "birch", disabled=False)
    assert check_password(database, "birch", "grey web under lamp", cost=cheap) is not None


@pytest.mark.parametrize("change", [{"disabled": True}, {"roles": ["reader"]}])
def test_somebody_is_left_who_may_administer(database, hand, change):
    """The last administrator can neither be disabled nor lose the role; with a second one they can."""
    with pytest.raises(InputError, match="somebody must be left"):
        change_person(database, hand, "alder", **change)
    change_person(database, hand, "birch", roles=["examiner", "administrator"])
    change_person(database, hand, "alder", **change)


def test_every_change_is_in_the_log_with_who_made_it(database, hand, cheap):
    """Adding, roles, password, disabling: one line each, newest first, with who, whom and from where."""
    change_person(database, hand, "birch", roles=["technician", "examiner"])
    set_password(database, hand, "birch", "another grey lamp", cost=cheap)
    change_person(database, hand, "birch", disabled=True)
    lines = read_log(database, kind="change")
    assert [line.what for line in lines] == [
        "disabled",
        "another password",
        "roles: examiner, technician (were examiner)",
        "added K. Birch as examiner, with a password",
        "added M. Alder as administrator, with a password",
    ]
    assert {(line.who, line.address) for line in lines} == {("W. Cedar", "command")}


def test_a_change_that_fails_leaves_neither_person_nor_line(database, hand, cheap):
    """What is refused is not half done."""
    before = read_log(database)
    with pytest.raises(InputError):
        add_person(database, hand, name="cedar", shown="K. Birch", roles=["reader"], cost=cheap)
    assert find_person(database, "cedar") is None
    assert read_log(database) == before


@pytest.mark.parametrize("statement", ["DELETE FROM log", "UPDATE log SET who = 'nobody'"])
def test_the_log_of_changes_cannot_be_changed(database, statement):
    """The database itself refuses to drop or change a line about people."""
    with pytest.raises(sqlite3.IntegrityError):
        database.change(statement)


def test_a_flood_of_refusals_does_not_grow_the_log_for_ever(database, hand):
    """Of refusals the newest fifty thousand stay; changes to people stay whatever comes."""
    database.change("INSERT INTO log VALUES (59998, 0, 'refused', '', 'old', '', '')")
    database.change("INSERT INTO log VALUES (9, 0, 'refused', '', 'older', '', '')")
    for _ in range(2):
        write_log(database, Logged(kind="refused", who="", what="x", about="", address=""), now_s=hand.now_s)
    assert [line.number for line in read_log(database)] == [60000, 59999, 59998, 2, 1]


def test_a_line_of_the_log_is_one_line(database, hand):
    """What a stranger sends can't steer a terminal or begin a line of its own, and is cut."""
    line = Logged(kind="refused", who="\x1b[2J\nalder", what="x" * 9999, about="", address="")
    write_log(database, line, now_s=hand.now_s)
    [newest] = read_log(database, most=1)
    assert newest.who == "\\u001b[2J\\u000aalder"
    assert len(newest.what) == 400


def test_tries_must_wait_longer_each_time():
    """Three are free, then the wait doubles up to its longest; a right one, or an hour, makes all good."""
    tries = Attempts(Patience(free=3, first_wait_s=10, longest_wait_s=30, forgotten_s=100))
    assert [tries.begin("birch", now) for now in (0, 0, 0)] == [0, 0, 0]
    assert tries.begin("birch", 4) == 6
    assert tries.begin("birch", 10) == 0
    assert tries.begin("birch", 11) == 19
    assert tries.begin("birch", 30) == 0
    assert tries.begin("birch", 31) == 29
    assert tries.begin("alder", 31) == 0
    tries.right("birch")
    assert tries.begin("birch", 32) == 0
    assert [Attempts(Patience(free=1)).begin("a", now) for now in (0, 9999)] == [0, 0]


def test_two_programs_share_one_file(database, hand):
    """What the command line adds, the running desk sees at once."""
    with closing(DeskDatabase(database.path)) as other:
        add_person(other, hand, name="cedar", shown="W. Cedar", roles=["reader"], cost=Cost())
    assert find_person(database, "cedar").shown == "W. Cedar"
