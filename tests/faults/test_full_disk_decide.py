"""Where the results of a decision don't fit on the disk, nothing is half written, and the same command goes on."""

import os
import resource
import signal
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


def _decide(root, longest=None):
    """Decide in a process of its own that may write no longer file; its exit code and what it said."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        sys.stdout = sys.stderr = os.fdopen(write, "w", buffering=1)
        if longest is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (longest, longest))
        os._exit(main(["decide", str(root), ROLL, "--who", "R. Engineer"]))
    os.close(write)
    with os.fdopen(read, "rb") as told:
        said = told.read().decode()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said


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


def test_a_decision_that_does_not_fit_is_made_later(plant):
    """At several lengths that no file may pass: exit code 3, one error that says so, no decision; then it goes on."""
    for longest in _LONGEST:
        code, said = _decide(plant, longest)
        assert (code, "Error: " in said, "Traceback" in said) == (InputError.exit_code, True, False), said
        assert "space" in said
        assert not (plant / "results" / ROLL / "decision.json").exists()
        assert not list(plant.rglob("*.part"))
    assert "decision" not in [act for act, _ in _events(plant)]
    code, said = _decide(plant)
    assert code == 0, said
    before, files = _events(plant), results(plant)
    see(plant, 1)
    code, said = _decide(plant, 30_000)
    assert code == InputError.exit_code, said
    assert _events(plant)[: len(before)] == before
    see(plant, 0)
    assert _decide(plant)[0] == 0
    assert results(plant) == files
    assert main(["record", "verify", str(plant)]) == 0
