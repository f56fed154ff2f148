import json
import sqlite3
from importlib import import_module
from pathlib import Path

import pytest

from wideroll.acts import deciding, whoever
from wideroll.cli import deciding as decide_command
from wideroll.cli import main
from wideroll.scan import MarkFinder
from wideroll.store import write_demo_plant

ROLL = "T-1"
DEMO = import_module("wideroll.cli.demo")  # the package's own name demo is the command


_NO_RESULT = {"inputs.json", "sealing.lock", "backup.lock"}


def _results(plant: Path) -> dict[str, bytes]:
    """All result files, but the memory of hashes, which is only ever right, and the locks."""
    root = plant / "results"
    files = (path for path in root.rglob("*") if path.is_file() and path.name not in _NO_RESULT)
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in sorted(files)}


def _events(plant: Path) -> int:
    path = plant / "wideroll.db"
    if not path.exists():
        return 0
    with sqlite3.connect(path) as connection:
        count = connection.execute("select count(*) from events where act = 'decision'").fetchone()[0]
    connection.close()
    return int(count)


@pytest.fixture
def interrupt(monkeypatch: pytest.MonkeyPatch):
    """Press Ctrl-C at the n-th call of a function."""

    def interrupt(owner: object, name: str, *, at: int = 1) -> None:
        real = getattr(owner, name)
        calls = 0

        def pressed(*args: object, **kwargs: object) -> object:
            nonlocal calls
            calls += 1
            if calls == at:
                raise KeyboardInterrupt
            return real(*args, **kwargs)

        monkeypatch.setattr(owner, name, pressed)

    return interrupt


def test_our_own_bug_is_said_to_be_one(plant: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error nobody foresaw ends with 70, in one line that calls it a bug; --debug adds the traceback."""

    def broken(*_: object) -> None:
        message = "by a bug"
        raise ZeroDivisionError(message)

    monkeypatch.setattr(deciding, "assess_roll", broken)
    code, out, err = run("decide", plant, ROLL)
    assert (code, out) == (70, "")
    assert err.splitlines()[-1] == "Bug in wideroll: ZeroDivisionError: by a bug. Run again with --debug."
    code, out, err = run("--debug", "decide", plant, ROLL)
    assert (code, out) == (70, "")
    assert "Traceback (most recent call last)" in err
    assert "in broken" in err
    assert "Traceback" not in run("decide", plant, ROLL)[2], "--debug holds for one command"


def test_debug_shows_where_an_input_error_came_from(tmp_path: Path, run) -> None:
    """--debug shows the traceback of an input error too, and the message and exit code stay the same."""
    code, out, err = run("--debug", "decide", tmp_path, ROLL)
    assert (code, out) == (3, "")
    assert "Traceback" in err
    assert err.splitlines()[-1].startswith("Error: ")


def test_a_path_out_of_reach_is_not_our_bug(plant: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A path that the system refuses is the input's fault, with its name."""

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied", "/locked/plant.toml")

    monkeypatch.setattr(decide_command, "take_in_hand", refuse)
    code, out, err = run("decide", plant, ROLL)
    assert (code, out) == (3, "")
    assert err.startswith("Error: /locked/plant.toml: must be within reach, got 'Permission denied'.")


def test_ctrl_c_while_scanning_leaves_nothing_half_done(plant: Path, decided: Path, run, interrupt) -> None:
    """Stopped in the middle of the scan: 130, no results; the same command then does what it would have done."""
    interrupt(MarkFinder, "feed", at=2)
    code, out, err = run("decide", plant, ROLL)
    assert (code, out) == (130, "")
    assert "Stopped. The same command goes on from here." in err
    assert "scan 500 lines: stopped" in err
    assert "Traceback" not in err
    assert _results(plant) == {}
    assert _events(plant) == 0
    assert run("decide", plant, ROLL)[0] == 0
    assert _results(plant) == _results(decided)
    assert _events(plant) == 1


@pytest.mark.parametrize("name", ["write_json", "write_whole", "record_decision", "render_sheet"])
@pytest.mark.parametrize("at", [1, 2])
def test_ctrl_c_while_writing_leaves_no_decision_without_a_record(
    plant: Path, decided: Path, run, interrupt, name: str, at: int
) -> None:
    """Wherever writing is stopped, a decision that stands on disk is in the record, and the rerun completes both."""
    interrupt(deciding, name, at=at)
    code = run("decide", plant, ROLL)[0]
    if code == 0:
        assert at == 2, "this function is called once"
        return
    assert code == 130
    assert not list((plant / "results").rglob("*.part"))
    if (plant / "results" / ROLL / "decision.json").exists():
        assert _events(plant) == 1
    code, _, err = run("decide", plant, ROLL)
    assert code == 0
    assert "scan 500" not in err, "the scan was kept"
    assert _results(plant) == _results(decided)
    assert _events(plant) == 1


def test_a_damaged_result_is_made_anew_and_told(decided_plant: Path, decided: Path, run) -> None:
    """Half a file in the results, however it came there, is noticed, made anew and told on standard error."""
    marks = decided_plant / "results" / ROLL / "marks.parquet"
    marks.write_bytes(marks.read_bytes()[:50])
    (decided_plant / "results" / ROLL / "sheet.html").unlink()
    code, _, err = run("decide", decided_plant, ROLL)
    assert code == 0
    assert "marks.parquet was damaged" in err
    assert _results(decided_plant) == _results(decided)


def test_who_decides_is_known_before_the_work(plant: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nobody is logged in, the record's question comes first; with --who it is answered."""

    def nobody() -> str:
        raise KeyError

    monkeypatch.setattr(whoever.getpass, "getuser", nobody)
    code, out, err = run("decide", plant, ROLL)
    assert (code, out) == (3, "")
    assert "Give --who NAME." in err
    assert "scan" not in err
    assert run("decide", plant, ROLL, "--who", "R. Engineer")[0] == 0
    with sqlite3.connect(plant / "wideroll.db") as connection:
        assert connection.execute("select distinct who from events").fetchall() == [("R. Engineer",)]
    connection.close()


def test_a_refused_decision_changes_nothing(decided_plant: Path, run) -> None:
    """A fault found after a decision was made leaves that decision, its files and the record as they were."""
    before, events = _results(decided_plant), _events(decided_plant)
    readings = decided_plant / "rolls" / ROLL / "strips" / "readings.csv"
    readings.write_text(readings.read_text().replace("S-1;7;", "S-1;6;"))
    code, out, err = run("decide", decided_plant, ROLL)
    assert (code, out) == (3, "")
    assert "readings.csv, line 8, column step" in err
    assert (_results(decided_plant), _events(decided_plant)) == (before, events)


def test_the_record_holds_what_was_decided(decided: Path) -> None:
    """One decision, one event: roll, verdict and the inputs' fingerprint as in decision.json."""
    document = json.loads((decided / "results" / ROLL / "decision.json").read_text())
    with sqlite3.connect(decided / "wideroll.db") as connection:
        ((act, body),) = connection.execute("select act, body from events where act = 'decision'").fetchall()
    connection.close()
    assert act == "decision"
    assert {key: json.loads(body)[key] for key in ("roll", "verdict", "inputs")} == {
        "roll": ROLL,
        "verdict": document["verdict"],
        "inputs": document["fingerprint"],
    }


def test_an_interrupted_demo_is_written_again(tmp_path: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A demo stopped while its plant was written is known by its marker, and the same command starts it again."""
    reached: list[str] = []

    def write(root: Path, **_: object) -> bool:
        def stop(roll: str, *_: object) -> None:
            reached.append(roll)
            raise KeyboardInterrupt

        return write_demo_plant(root, small=True, advance=stop)

    root = tmp_path / "demo"
    monkeypatch.setattr(DEMO, "write_demo_plant", write)
    for times in (1, 2):
        code, _, err = run("demo", root, "--small")
        assert code == 130
        assert "Stopped." in err
        assert reached == ["W-2041"] * times
        assert (root / "demo-unfinished.txt").is_file()
        assert not (root / "demo.json").exists()
    (root / "demo-unfinished.txt").unlink()
    code, out, err = run("demo", root, "--small")
    assert (code, out) == (3, "")
    assert "must be new or empty" in err


def test_a_demo_stops_where_its_command_failed(tmp_path: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """When a command of the demo fails, the demo ends with its exit code, and --debug holds for the commands in it."""
    given: list[list[str]] = []

    def fail(words: list[str]) -> int:
        given.append(list(words))
        return 70

    monkeypatch.setattr(DEMO, "write_demo_plant", lambda *_, **__: False)
    monkeypatch.setattr(DEMO, "main", fail)
    assert run("demo", tmp_path)[0] == 70
    assert run("--debug", "demo", tmp_path)[0] == 70
    assert [words[0] for words in given] == ["decide", "--debug"]


def test_a_closed_pipe_is_no_error(plant: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """When whoever reads the output stops reading, as head does, that isn't reported as a bug."""
    with (tmp_path / "out").open("w", encoding="utf-8") as out:

        def closed(*_: object) -> None:
            raise BrokenPipeError

        monkeypatch.setattr("sys.stdout", out)
        monkeypatch.setattr(decide_command, "print_table", closed)
        assert main(["decide", str(plant), ROLL]) == 0
