"""Killed while it appends, the record keeps what it acknowledged; the full count is run by hand."""

import os
import subprocess
import sys
from pathlib import Path

_SCRIPT = Path(__file__).with_name("kill_appends.py")


def test_a_killed_appender_loses_nothing_acknowledged():
    """Killed with signal 9 at a few random moments, on both databases, all that was acknowledged is there and holds."""
    done = subprocess.run(
        [sys.executable, str(_SCRIPT), "--kills", "8"],
        check=False,
        capture_output=True,
        text=True,
        timeout=240,
        env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("8 times two appenders killed") == 2
    assert done.stdout.count(" 0 lost, verify: holds") == 2
