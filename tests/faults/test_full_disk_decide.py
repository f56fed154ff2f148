"""Where the results of a decision don't fit on the disk, nothing is half written, and the same command goes on."""

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
import resource, signal, sys
from wideroll.cli import main
root, roll, longest = sys.argv[1:]
if longest:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(longest), int(longest)))
sys.exit(main(["decide", root, roll, "--who", "R. Engineer"]))
"""


def _decide(root, longest=None):
    """Decide in a process of its own that may write no longer file; its exit code and what it said."""
    said = subprocess.run(
        [sys.executable, "-c", _DECIDE, str(root), ROLL, str(longest or "")],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    return said.returncode, said.stdout


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
