"""The commands for the people of the desk."""

import io
import json

import pytest

from wideroll.cli import main
from wideroll.people import Cost, DeskDatabase, check_password

_CHEAP = Cost(rounds=1, memory_kib=8192, threads=1)


@pytest.fixture
def home(tmp_path):
    """A plant's folder with an administrator, and passwords that are cheap to work out."""
    (tmp_path / "plant.toml").touch()
    (tmp_path / "desk.toml").write_text("[password]\nrounds = 1\nmemory_mib = 8\nthreads = 1\n")
    (tmp_path / "first.txt").write_text("grey web under lamp\nnot this line\n")
    add = ["people", "add", str(tmp_path), "m.alder", "--as", "M. Alder", "--role", "administrator"]
    assert main([*add, "--password", str(tmp_path / "first.txt"), "--who", "W. Cedar"]) == 0
    return tmp_path


def _run(capsys, *arguments):
    capsys.readouterr()
    code = main([str(one) for one in arguments])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_a_password_comes_from_a_file_or_standard_input(home, capsys, monkeypatch):
    """The first line counts, the rest doesn't; no option takes the password itself."""
    database = DeskDatabase(home / "desk.db")
    assert check_password(database, "m.alder", "grey web under lamp", cost=_CHEAP) is not None
    monkeypatch.setattr("sys.stdin", io.StringIO("another grey lamp\n"))
    assert _run(capsys, "people", "password", home, "m.alder")[0] == 0
    assert check_password(database, "m.alder", "another grey lamp", cost=_CHEAP) is not None
    database.close()
    code, _, said = _run(capsys, "people", "password", home, "m.alder", "--password", home / "none.txt")
    assert code == 3
    assert "none.txt: the file with the password must be readable" in said


def test_people_and_tokens_are_listed(home, capsys):
    """Table and JSON name people, roles and tokens, and hold neither password nor token."""
    _run(capsys, "people", "add", home, "k.birch", "--as", "K. Birch", "--role", "examiner", "--role", "technician")
    code, secret, _ = _run(capsys, "people", "token", home, "bench", "--for", "k.birch", "--scope", "read")
    assert code == 0
    assert secret.startswith("wideroll_")
    assert secret.count("\n") == 1
    _run(capsys, "people", "disable", home, "k.birch")
    document = json.loads(_run(capsys, "people", "list", home, "--json")[1])
    assert document["schema"] == "wideroll/people/1"
    assert [(one["name"], one["roles"], one["disabled"]) for one in document["people"]] == [
        ("k.birch", ["examiner", "technician"], True),
        ("m.alder", ["administrator"], False),
    ]
    assert document["tokens"][0]["scopes"] == ["read"]
    table = _run(capsys, "people", "list", home)[1]
    assert "K. Birch" in table
    assert "no longer" in table
    assert secret.strip() not in table + json.dumps(document)


def test_each_change_stands_in_the_log(home, capsys):
    """Who changed what and whom, the newest first; by kind, too."""
    _run(capsys, "people", "add", home, "k.birch", "--role", "examiner", "--who", "W. Cedar")
    _run(capsys, "people", "roles", home, "k.birch", "--role", "reader", "--who", "W. Cedar")
    _run(capsys, "people", "token", home, "bench", "--for", "k.birch", "--who", "W. Cedar")
    _run(capsys, "people", "token", home, "bench", "--revoke", "--who", "W. Cedar")
    _run(capsys, "people", "disable", home, "k.birch", "--who", "W. Cedar")
    _run(capsys, "people", "disable", home, "k.birch", "--undo", "--who", "W. Cedar")
    lines = json.loads(_run(capsys, "people", "log", home, "--json", "--kind", "change")[1])["log"]
    assert [line["what"].split(" (")[0] for line in lines] == [
        "let in again",
        "disabled",
        "token bench revoked",
        "token bench for read, 90 days",
        "roles: reader",
        "added k.birch as examiner, without a password",
        "added M. Alder as administrator, with a password",
    ]
    assert {line["who"] for line in lines} == {"W. Cedar"}
    assert {line["address"] for line in lines} == {"command"}
    assert "let in again" in _run(capsys, "people", "log", home)[1]
    assert json.loads(_run(capsys, "people", "log", home, "--json", "--kind", "refused")[1])["log"] == []


def test_an_empty_plant_says_that_nobody_logs_in(tmp_path, capsys):
    """Before the first person the list says so, and makes no file."""
    (tmp_path / "plant.toml").touch()
    assert "without a login" in _run(capsys, "people", "list", tmp_path)[1]
    assert not (tmp_path / "desk.db").exists()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["add", "{}", "k.birch", "--role", "king"], 3, "must be at least one of"),
        (["add", "{}", "k birch", "--role", "reader"], 3, "1 to 64 letters"),
        (["add", "{}", "m.alder", "--role", "reader"], 3, "nobody else may have the name"),
        (["roles", "{}", "nobody", "--role", "reader"], 3, "must be somebody here: m.alder"),
        (["disable", "{}", "m.alder"], 3, "somebody must be left"),
        (["token", "{}", "bench"], 2, "a new token needs --for"),
        (["token", "{}", "bench", "--for", "m.alder", "--scope", "decide"], 3, "must be within what m.alder may"),
        (["token", "{}", "bench", "--for", "m.alder", "--days", "900"], 3, "must be 1 to 366"),
        (["token", "{}", "bench", "--revoke"], 3, "must be one of: none yet"),
        (["log", "{}", "--kind", "all"], 2, "must be one of: change, login, refused"),
        (["list", "{}/nowhere"], 3, "a plant's folder holds a plant.toml"),
    ],
)
def test_what_cannot_be_done_says_why(home, capsys, arguments, code, words):
    """Each wrong input ends with its exit code, and one message with the mend."""
    got, out, said = _run(capsys, "people", *(one.format(home) for one in arguments))
    assert got == code
    assert words in " ".join(said.replace("│", " ").split())
    assert out == ""


def test_the_first_person_must_be_able_to_add_others(tmp_path, capsys):
    """A first person who is no administrator, or can't log in, would lock everybody out: refused."""
    (tmp_path / "plant.toml").touch()
    for role in ("reader", "administrator"):
        code, _, said = _run(capsys, "people", "add", tmp_path, "m.alder", "--role", role)
        assert code == 3
        assert "the first person must be an administrator with a password" in said
