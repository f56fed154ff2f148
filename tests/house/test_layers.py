"""The layers are held by a machine."""

import subprocess
import sys
from pathlib import Path

_ROOT = Path(__file__).parents[2]


def test_imports_keep_the_contracts():
    """Every contract of import-linter holds: layers, types before maths, pure rooms, one scheduler, no cycles."""
    run = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"],
        cwd=_ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert "0 broken" in run.stdout
