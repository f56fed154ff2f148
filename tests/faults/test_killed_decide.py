"""Killed while it takes in and decides, a plant is as if nothing had happened once the command was run again."""

import os
import subprocess
import sys
from pathlib import Path

_SCRIPT = Path(__file__).with_name("kill_decides.py")


def test_a_killed_decide_is_run_again_as_if_undisturbed():
    """Killed at a few random moments on both databases: nothing is lost, results are the same, the record verifies."""
    done = subprocess.run(
        [sys.executable, str(_SCRIPT), "--kills", "2"],
        check=False,
        capture_output=True,
        text=True,
        timeout=900,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("2 times killed") == 2
    assert done.stdout.count(" 0 wrong, verify: holds") == 2
