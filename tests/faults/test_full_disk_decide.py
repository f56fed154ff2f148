"""Where the results of a decision don't fit on the disk, nothing is half written, and the same command goes on."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from kill_decides import ROLL, results, see, write_plant

from wideroll.cli import main
from wideroll.errors import InputError
from wideroll.store import RecordStore

_LONGEST = (1_000, 30_000)
"""Bytes that a file may have: too few for the record itself, for the sheet of the decision."""


_DECIDE = """
import json, os, resource, signal, sys
from wideroll.cli import main
root, roll = sys.argv[1:]
for line in sys.stdin:
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(write, 1)
        os.dup2(write, 2)
        if int(line):
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (int(line), int(line)))
        code = main(["decide", root, roll, "--who", "R. Engineer"])
        sys.stdout.flush()
        os._exit(code)
    os.close(write)
    with os.fdopen(read) as told:
        said = told.read()
    print(json.dumps([os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said]), flush=True)
"""


@pytest.fixture
def decide(plant):
    """Decides in a process of its own that may write no longer file; its exit code and what it said."""
    order = [sys.executable, "-c", _DECIDE, str(plant), ROLL]
    with subprocess.Popen(order, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1) as process:

        def one(longest=0):
            process.stdin.write(f"{longest}\n")
            return json.loads(process.stdout.readline())

        yield one
        process.stdin.close()


@pytest.fixture(scope="module")
def plant(tmp_path_factory):
    """A tiny plant."""
    root = tmp_path_factory.mktemp("full") / "plant"
    write_plant(root, None)
    return root


def _events(root):
    with RecordStore(f"sqlite:///{root / 'wideroll.db'}") as record:
        assert record.verify().intact
        return [(row.act, row.digest) for row in record.rows()]


def test_a_decision_that_does_not_fit_is_made_later(plant, decide):
    """At several lengths that no file may pass: exit code 3, one error that says so, no decision; then it goes on."""
    for longest in _LONGEST:
        code, said = decide(longest)
        assert (code, "Error: " in said, "Traceback" in said) == (InputError.exit_code, True, False), said
        assert "space" in said
        assert not (plant / "results" / ROLL / "decision.json").exists()
        assert not list(plant.rglob("*.part"))
    assert "decision" not in [act for act, _ in _events(plant)]
    code, said = decide()
    assert code == 0, said
    before, files = _events(plant), results(plant)
    see(plant, 1)
    code, said = decide(30_000)
    assert code == InputError.exit_code, said
    assert _events(plant)[: len(before)] == before
    see(plant, 0)
    assert decide()[0] == 0
    assert results(plant) == files
    assert main(["record", "verify", str(plant)]) == 0
